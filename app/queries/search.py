"""Finding a sheet: by number or part of it, plant, collector and field number, place, last hands, or consignment."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import and_, bindparam, select
from sqlalchemy.orm import Session

from app.db.models import FormerNumber, Sheet, Specimen, table_of
from app.db.near import near_plants
from app.db.prepared import prepared
from app.domain.folding import folded, folded_plant
from app.domain.language import mark, say
from app.domain.numbers import Pattern, shown
from app.domain.reading import Exact, Partial, read
from app.queries.lines import detail_of, line_rows, place_of, stage_words
from app.queries.names import collectors_like, consignments_like, plants_beginning, plants_by_words
from app.queries.search_asked import Asked, Seekers, ids, shared_out
from app.queries.search_places import in_bundle, in_cabinet, in_stack, last_had

SHEET = table_of(Sheet)
LONGEST_QUERY = 120
# Past every letter and digit that a number is made of.
AFTER_ALL = "~"

_BY_NUMBERS = prepared(
    select(SHEET.c.id).where(SHEET.c.number.in_(bindparam("numbers", expanding=True))).order_by(SHEET.c.number)
)
_FORMER = prepared(select(FormerNumber.sheet_id).where(FormerNumber.number.in_(bindparam("numbers", expanding=True))))
_RANGE = prepared(
    select(SHEET.c.id)
    .where(SHEET.c.number >= bindparam("low"), SHEET.c.number < bindparam("high"))
    .order_by(SHEET.c.number)
    .limit(bindparam("most"))
)
_BY_FIELD_NUMBER = prepared(
    select(SHEET.c.id).where(SHEET.c.record_number == bindparam("record")).order_by(SHEET.c.id).limit(bindparam("most"))
)
_BY_COLLECTOR_AND_NUMBER = prepared(
    select(SHEET.c.id)
    .where(and_(SHEET.c.collector_id == bindparam("key"), SHEET.c.record_number == bindparam("record")))
    .limit(bindparam("most"))
)
_BY_COLLECTOR = prepared(select(SHEET.c.id).where(SHEET.c.collector_id == bindparam("key")).limit(bindparam("most")))
_BY_PLANT = prepared(select(SHEET.c.id).where(SHEET.c.plant_name_id == bindparam("key")).limit(bindparam("most")))
_BY_CONSIGNMENT = prepared(
    select(SHEET.c.id).where(SHEET.c.consignment_id == bindparam("key")).limit(bindparam("most"))
)


_OF_SPECIMEN = select(SHEET.c.specimen_id).where(
    SHEET.c.id.in_(bindparam("found", expanding=True)), SHEET.c.specimen_id.is_not(None)
)
_PARTS = prepared(
    select(SHEET.c.id, SHEET.c.specimen_id, SHEET.c.part, Specimen.sheets)
    .join(Specimen, Specimen.id == SHEET.c.specimen_id)
    .where(SHEET.c.specimen_id.in_(_OF_SPECIMEN))
    .order_by(SHEET.c.part, SHEET.c.id)
)


@dataclass(frozen=True, slots=True)
class Hit:
    """One sheet that was found, and by what; `part` says which sheet of its specimen it is ("1 of 2"), where it has more."""

    number: str
    shown: str
    plant: str
    detail: str
    place: str
    stage: str
    stage_words: str
    why: str
    part: str


def find(
    session: Session, q: str, patterns: Sequence[Pattern], limit: int = 12, *, by_hands: bool = False
) -> list[Hit]:
    """The sheets that are meant by what was typed, the likeliest first: a number before names, near names last.

    Sheets of one specimen come together. `by_hands` lets a worker's name find the sheets that they had last.
    """
    parts: dict[int, str] = {}
    found = _with_parts(session, _found(session, q, patterns, limit, by_hands), parts, limit)
    rows = line_rows(session, list(found))
    return [
        Hit(row.number, shown(row.number, patterns), row.plant or "", detail_of(row), place_of(row), row.stage or "",
            stage_words(row.stage, row.closed_as), found[row.id], parts.get(row.id, ""))
        for row in rows
    ]  # fmt: skip


def matching(session: Session, q: str, patterns: Sequence[Pattern], limit: int) -> list[int]:
    """The ids of the sheets that are meant by what was typed, the likeliest first."""
    return list(_found(session, q, patterns, limit))


def _found(session: Session, q: str, patterns: Sequence[Pattern], limit: int, by_hands: bool = False) -> dict[int, str]:
    text = q.strip()[:LONGEST_QUERY]
    asked = Asked(session, text, folded(text), folded_plant(text), read(text, patterns), patterns, limit, by_hands)
    if not asked.key:
        return {}
    return _sheets_of(asked, CODES if isinstance(asked.reading, Exact) else NUMBERS + NAMES)


def _with_parts(session: Session, found: dict[int, str], parts: dict[int, str], most: int) -> dict[int, str]:
    """What was found, the other sheets of each specimen behind the one that was; `parts` is told which is which."""
    rows = session.execute(_PARTS, {"found": list(found)}).all() if found else []
    together: dict[int, list[int]] = {}
    for row in rows:
        together.setdefault(row.specimen_id, []).append(row.id)
        parts[row.id] = say("{part} of {sheets}", part=row.part, sheets=row.sheets) if row.sheets > 1 else ""
    of = {sheet_id: many for many in together.values() for sheet_id in many}
    ordered = dict.fromkeys(each for first in found for each in (first, *of.get(first, ())))
    return {each: found.get(each, SAME_SPECIMEN) for each in list(ordered)[:most]}


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
    return ids(asked, _BY_NUMBERS, numbers=numbers) if numbers else ()


def _former(asked: Asked) -> Iterable[int]:
    numbers = _meant(asked)
    return ids(asked, _FORMER, numbers=numbers) if numbers else ()


def _part(asked: Asked) -> Iterable[int]:
    """Numbers whose digits, behind the zeros in front, begin with what was typed: one range of the index for each."""
    typed = asked.key.replace(" ", "").upper()
    for low in dict.fromkeys(low for pattern in asked.patterns for low in _beginnings(typed, pattern)):
        yield from ids(asked, _RANGE, low=low, high=low + AFTER_ALL, most=asked.most)


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
    return ids(asked, _BY_FIELD_NUMBER, record=record, most=asked.most) if any(map(str.isdigit, record)) else ()


def _collector_and_number(asked: Asked) -> Iterable[int]:
    words = asked.text.replace(" no. ", " ").split()
    if len(words) < 2 or not any(map(str.isdigit, words[-1])):
        return
    for key in collectors_like(asked.session, folded(" ".join(words[:-1]))):
        yield from ids(asked, _BY_COLLECTOR_AND_NUMBER, key=key, record=words[-1], most=asked.most)


def _plant(asked: Asked) -> Iterable[int]:
    keys = [] if asked.is_number else plants_beginning(asked.session, asked.plant, asked.most)
    return shared_out(asked, _BY_PLANT, keys)


def _plant_words(asked: Asked) -> Iterable[int]:
    keys = [] if asked.is_number else plants_by_words(asked.session, asked.plant, asked.most)
    return shared_out(asked, _BY_PLANT, keys)


def _near_plant(asked: Asked) -> Iterable[int]:
    return shared_out(asked, _BY_PLANT, near_plants(asked.session, asked.plant, asked.most))


def _collector(asked: Asked) -> Iterable[int]:
    return shared_out(asked, _BY_COLLECTOR, [] if asked.is_number else collectors_like(asked.session, asked.key))


def _consignment(asked: Asked) -> Iterable[int]:
    return shared_out(asked, _BY_CONSIGNMENT, consignments_like(asked.session, asked.key))


SAME_SPECIMEN = mark("same specimen")
NUMBERS: Seekers = ((mark("number"), _exact), (mark("former number"), _former))
PLACES: Seekers = ((mark("bundle"), in_bundle), (mark("stack"), in_stack), (mark("cabinet"), in_cabinet))
CODES = NUMBERS + PLACES
NAMES: Seekers = (
    (mark("field number"), _collector_and_number),
    (mark("field number"), _field_number),
    (mark("part of the number"), _part),
    (mark("plant name"), _plant),
    (mark("words of the plant name"), _plant_words),
    (mark("collector"), _collector),
    (mark("consignment"), _consignment),
    *PLACES,
    (mark("last hands"), last_had),
    (mark("plant name, one letter different"), _near_plant),
)
