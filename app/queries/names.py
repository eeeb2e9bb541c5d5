"""Names that begin as somebody typed them: of plants, of collectors, of consignments."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import ColumnElement, Row, and_, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.db.models import Collector, Consignment, PlantName
from app.domain.folding import folded

MOST_NAMES = 12
# Past every letter that a folded key holds, so that a beginning is a range of the index.
AFTER_ALL = "\U0010ffff"


def plants_like(session: Session, key: str, limit: int = MOST_NAMES) -> list[int]:
    """The plant names whose words begin with these words, in their order: whole beginnings first, then "ger syl"."""
    return _names_like(session, PlantName.id, PlantName.search_key, key, limit)


def collectors_like(session: Session, key: str, limit: int = MOST_NAMES) -> list[int]:
    """The collectors whose names, or any word of them, begin like this."""
    return _names_like(session, Collector.id, Collector.search_key, key, limit)


def consignments_like(session: Session, key: str) -> list[int]:
    """The consignments whose code or name begins like this; there are few of them, so all are looked at."""
    rows = session.execute(select(Consignment.id, Consignment.code, Consignment.name).order_by(Consignment.id.desc()))
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


def _names_like(
    session: Session, row_id: InstrumentedAttribute[int], column: InstrumentedAttribute[str], key: str, limit: int
) -> list[int]:
    if not key:
        return []
    range_ = select(row_id, column).where(column >= key, column < key + AFTER_ALL).order_by(column).limit(limit)
    found = _distinct(session.execute(range_).all(), key, limit)
    if len(found) >= limit:
        return found
    # Names are counted in thousands, not sheets: looking at each of them is quick enough.
    rows = session.execute(
        select(row_id, column).where(and_(*each_word(column, key))).order_by(column).limit(20 * limit)
    )
    further = [row for row in rows.all() if words_begin(row[1], key)]
    return list(dict.fromkeys([*found, *_distinct(further, key, limit)]))[:limit]


def _distinct(rows: Sequence[Row[int, str]], key: str, limit: int) -> list[int]:
    """The whole name first, then names that begin with the first word, then the rest, each by the alphabet."""
    first = key.split()[0]
    ranked = sorted(rows, key=lambda row: (row[1] != key, not row[1].startswith(first), row[1]))
    return [row[0] for row in ranked][:limit]
