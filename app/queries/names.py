"""Names that begin as somebody typed them: of plants, of collectors, of consignments."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, Table, bindparam, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.db.models import Collector, Consignment, PlantName, table_of
from app.db.prepared import prepared
from app.domain.folding import folded

MOST_NAMES = 12
# Past every letter that a folded key holds, so that a beginning is a range of the index.
AFTER_ALL = "\U0010ffff"
# So many names with a word that begins as the longest word asked for are looked at for the other words.
MOST_LOOKED_AT = 5000


def _beginning(names: Table) -> Select[Any]:
    key = names.c.search_key
    within = (key >= bindparam("low"), key < bindparam("high"))
    return prepared(select(names.c.id, key).where(*within).order_by(key).limit(bindparam("most")))


def _with_word(names: Table) -> Select[Any]:
    """Names are counted in thousands, not sheets: looking at each of them is quick enough."""
    key = names.c.search_key
    word = or_(key.like(bindparam("first")), key.like(bindparam("inside")))
    return prepared(select(names.c.id, key).where(word).order_by(key).limit(MOST_LOOKED_AT))


PLANTS, COLLECTORS = table_of(PlantName), table_of(Collector)
_BEGINNING = {table: _beginning(table) for table in (PLANTS, COLLECTORS)}
_WITH_WORD = {table: _with_word(table) for table in (PLANTS, COLLECTORS)}
_CONSIGNMENTS = prepared(select(Consignment.id, Consignment.code, Consignment.name).order_by(Consignment.id.desc()))


def plants_beginning(session: Session, key: str, limit: int) -> list[int]:
    """The plant names that begin like this; the whole name first."""
    return _begin(session, PLANTS, key, limit)


def plants_by_words(session: Session, key: str, limit: int) -> list[int]:
    """The plant names whose words begin with these words, in their order: "ger syl", "sylvaticum"."""
    return _have_words(session, PLANTS, key, limit)


def collectors_like(session: Session, key: str) -> list[int]:
    """The collectors whose names, or any word of them, begin like this: their ids, MOST_NAMES at the most."""
    found = _begin(session, COLLECTORS, key, MOST_NAMES)
    if len(found) >= MOST_NAMES:
        return found
    return list(dict.fromkeys([*found, *_have_words(session, COLLECTORS, key, MOST_NAMES)]))[:MOST_NAMES]


def consignments_like(session: Session, key: str) -> list[int]:
    """The consignments whose code or name begins like this; there are few of them, so all are looked at."""
    rows = session.execute(_CONSIGNMENTS)
    fits = (row.id for row in rows if folded(row.code).startswith(key) or words_begin(folded(row.name), key))
    return [found for _, found in zip(range(MOST_NAMES), fits, strict=False)]


def words_begin(name: str, key: str) -> bool:
    """Whether the words of a folded name begin with the words of a folded key, in the same order."""
    words = iter(name.split())
    return all(any(word.startswith(asked) for word in words) for asked in key.split())


def each_word(column: InstrumentedAttribute[str], key: str) -> list[ColumnElement[bool]]:
    """The conditions that each word of a folded key begins a word of a folded name, in whatever order."""
    return [
        or_(column.startswith(word, autoescape=True), column.contains(f" {word}", autoescape=True))
        for word in key.split()
    ]


def _begin(session: Session, names: Table, key: str, limit: int) -> list[int]:
    if not key:
        return []
    values = {"low": key, "high": key + AFTER_ALL, "most": limit}
    return _distinct(session.execute(_BEGINNING[names], values).all(), key, limit)


def _have_words(session: Session, names: Table, key: str, limit: int) -> list[int]:
    if not key:
        return []
    # A folded key holds letters and digits only, so nothing in it is a sign of the pattern.
    word = max(key.split(), key=len)
    rows = session.execute(_WITH_WORD[names], {"first": f"{word}%", "inside": f"% {word}%"})
    return _distinct([row for row in rows.all() if words_begin(row[1], key)], key, limit)


def _distinct(rows: Sequence[Row[int, str]], key: str, limit: int) -> list[int]:
    """The whole name first, then names that begin with the first word, then the rest, each by the alphabet."""
    first = key.split()[0]
    ranked = sorted(rows, key=lambda row: (row[1] != key, not row[1].startswith(first), row[1]))
    return [row[0] for row in ranked][:limit]
