"""Finding a sheet: by number, part of a number, plant name, collector and field number, or consignment."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import Select, and_, bindparam, select
from sqlalchemy.orm import Session

from app.db.models import FormerNumber, Sheet, table_of
from app.domain.folding import folded
from app.domain.numbers import Pattern, shown
from app.domain.reading import Exact, Partial, Reading, read
from app.queries.lines import detail_of, line_rows, place_of, stage_words
from app.queries.names import collectors_like, consignments_like, plants_like

SHEET = table_of(Sheet)
LONGEST_QUERY = 120
# Past every letter and digit that a number is made of.
AFTER_ALL = "~"

_BY_NUMBERS = (
    select(SHEET.c.id).where(SHEET.c.number.in_(bindparam("numbers", expanding=True))).order_by(SHEET.c.number)
)
_FORMER = select(FormerNumber.sheet_id).where(FormerNumber.number.in_(bindparam("numbers", expanding=True)))
_RANGE = (
    select(SHEET.c.id)
    .where(SHEET.c.number >= bindparam("low"), SHEET.c.number < bindparam("high"))
    .order_by(SHEET.c.number)
    .limit(bindparam("most"))
)
_BY_FIELD_NUMBER = (
    select(SHEET.c.id).where(SHEET.c.record_number == bindparam("record")).order_by(SHEET.c.id).limit(bindparam("most"))
)
_BY_COLLECTOR_AND_NUMBER = (
    select(SHEET.c.id)
    .where(and_(SHEET.c.collector_id == bindparam("key"), SHEET.c.record_number == bindparam("record")))
    .limit(bindparam("most"))
)
_BY_COLLECTOR = select(SHEET.c.id).where(SHEET.c.collector_id == bindparam("key")).limit(bindparam("most"))
_BY_PLANT = select(SHEET.c.id).where(SHEET.c.plant_name_id == bindparam("key")).limit(bindparam("most"))
_BY_CONSIGNMENT = select(SHEET.c.id).where(SHEET.c.consignment_id == bindparam("key")).limit(bindparam("most"))


@dataclass(frozen=True, slots=True)
class Hit:
    """One sheet that was found, and by what."""

    number: str
    shown: str
    plant: str
    detail: str
    place: str
    stage: str
    stage_words: str
    why: str


@dataclass(frozen=True, slots=True)
class Asked:
    """What is searched for: as it was typed, folded, and read as a number; and how many are wanted."""

    session: Session
    text: str
    key: str
    reading: Reading
    patterns: Sequence[Pattern]
    most: int

    @property
    def is_number(self) -> bool:
        """Whether it is nothing but digits, as no name is."""
        return self.key.isdigit()


Seekers = tuple[tuple[str, Callable[[Asked], Iterable[int]]], ...]


def find(session: Session, q: str, patterns: Sequence[Pattern], limit: int = 12) -> list[Hit]:
    """The sheets that are meant by what was typed, the likeliest first: a number before names, names before consignments.

    One wrong letter in a name finds nothing here.
    """
    found = _found(session, q, patterns, limit)
    rows = line_rows(session, list(found))
    return [
        Hit(row.number, shown(row.number, patterns), row.plant or "", detail_of(row), place_of(row), row.stage or "",
            stage_words(row.stage, row.closed_as), found[row.id])
        for row in rows
    ]  # fmt: skip


def matching(session: Session, q: str, patterns: Sequence[Pattern], limit: int) -> list[int]:
    """The ids of the sheets that are meant by what was typed, the likeliest first."""
    return list(_found(session, q, patterns, limit))


def _found(session: Session, q: str, patterns: Sequence[Pattern], limit: int) -> dict[int, str]:
    text = q.strip()[:LONGEST_QUERY]
    asked = Asked(session, text, folded(text), read(text, patterns), patterns, limit)
    if not asked.key:
        return {}
    return _sheets_of(asked, NUMBERS) if isinstance(asked.reading, Exact) else _sheets_of(asked, NUMBERS + NAMES)


def _sheets_of(asked: Asked, seekers: Seekers) -> dict[int, str]:
    found: dict[int, str] = {}
    for why, seek in seekers:
        if len(found) >= asked.most:
            break
        for sheet_id in seek(asked):
            if len(found) < asked.most:
                found.setdefault(sheet_id, why)
    return found


def _meant(asked: Asked) -> list[str]:
    """The numbers that were typed whole, or that it could be once zeros, prefix or check character are filled in."""
    if isinstance(asked.reading, Exact):
        return [asked.reading.text]
    return list(asked.reading.could_be) if isinstance(asked.reading, Partial) else []


def _exact(asked: Asked) -> Iterable[int]:
    numbers = _meant(asked)
    return _ids(asked, _BY_NUMBERS, numbers=numbers) if numbers else ()


def _former(asked: Asked) -> Iterable[int]:
    numbers = _meant(asked)
    return _ids(asked, _FORMER, numbers=numbers) if numbers else ()


def _part(asked: Asked) -> Iterable[int]:
    """Numbers whose digits, behind the zeros in front, begin with what was typed: one range of the index for each."""
    typed = asked.key.replace(" ", "").upper()
    for low in dict.fromkeys(low for pattern in asked.patterns for low in _beginnings(typed, pattern)):
        yield from _ids(asked, _RANGE, low=low, high=low + AFTER_ALL, most=asked.most)


def _beginnings(typed: str, pattern: Pattern) -> list[str]:
    rest = typed.removeprefix(pattern.prefix)
    if not rest:
        return [pattern.prefix]
    digits = rest if rest.isdigit() else rest[:-1] if pattern.check and rest[:-1].isdigit() else ""
    if not (digits and digits.isascii()) or len(digits) > pattern.width:
        return []
    zeros = range(pattern.width - len(digits), -1, -1)
    return [
        f"{pattern.prefix}{'0' * count}{rest}"
        for count in zeros
        if rest == digits or len(digits) + count == pattern.width
    ]


def _field_number(asked: Asked) -> Iterable[int]:
    record = asked.text.removeprefix("no.").strip()
    return _ids(asked, _BY_FIELD_NUMBER, record=record, most=asked.most) if any(map(str.isdigit, record)) else ()


def _collector_and_number(asked: Asked) -> Iterable[int]:
    words = asked.text.replace(" no. ", " ").split()
    if len(words) < 2 or not any(map(str.isdigit, words[-1])):
        return
    for key in collectors_like(asked.session, folded(" ".join(words[:-1]))):
        yield from _ids(asked, _BY_COLLECTOR_AND_NUMBER, key=key, record=words[-1], most=asked.most)


def _plant(asked: Asked) -> Iterable[int]:
    if asked.is_number:
        return ()
    return _shared_out(asked, _BY_PLANT, plants_like(asked.session, asked.key, asked.most))


def _collector(asked: Asked) -> Iterable[int]:
    if asked.is_number:
        return ()
    return _shared_out(asked, _BY_COLLECTOR, collectors_like(asked.session, asked.key))


def _consignment(asked: Asked) -> Iterable[int]:
    return _shared_out(asked, _BY_CONSIGNMENT, consignments_like(asked.session, asked.key))


def _shared_out(asked: Asked, statement: Select[int], keys: Sequence[int]) -> Iterable[int]:
    """Sheets of each name that fits, some of every one, so that a common name does not hide the others."""
    each = max(asked.most // max(len(keys), 1), 1)
    for key in keys:
        yield from _ids(asked, statement, key=key, most=each)
    for key in keys:
        yield from _ids(asked, statement, key=key, most=asked.most)


def _ids(asked: Asked, statement: Select[int], **values: object) -> list[int]:
    return list(asked.session.execute(statement, values).scalars())


NUMBERS: Seekers = (("number", _exact), ("former number", _former))
NAMES: Seekers = (
    ("field number", _collector_and_number),
    ("field number", _field_number),
    ("part of the number", _part),
    ("plant name", _plant),
    ("collector", _collector),
    ("consignment", _consignment),
)
