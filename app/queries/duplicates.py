"""Duplicates: the specimens that are of one gathering, which of them are free to go in exchange, and where they lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import Select, and_, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Consignment, Hazard, Sheet, Specimen, table_of
from app.domain.consigned import NO_NUMBER, Gathered, gatherings
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.stages import Stage
from app.domain.suspected import HISTORIC
from app.queries.house import patterns_now
from app.queries.lines import LINES, collected_words, place_of, stage_words
from app.queries.lying import WITHIN

SHEET = table_of(Sheet)
SPECIMEN = table_of(Specimen)
HAZARD = table_of(Hazard)
PAGE = 30
MOST_FREE = 1000
AT_ONCE = 500
# Every sheet stands for its specimen; one that is written to none, for one of its own.
_SPECIMENS = func.count(func.coalesce(SHEET.c.specimen_id, -SHEET.c.id).distinct())
_SUSPECTED = (
    select(HAZARD.c.id)
    .where(HAZARD.c.kind == HISTORIC, HAZARD.c.cleared_at.is_(None),
           or_(HAZARD.c.sheet_id == SHEET.c.id, HAZARD.c.consignment_id == SHEET.c.consignment_id))
    .exists()
)  # fmt: skip
_ROWS = LINES.add_columns(
    SHEET.c.specimen_id, SHEET.c.collector_id, SHEET.c.event_date, SPECIMEN.c.exchange_at, SPECIMEN.c.exchange_why,
    _SUSPECTED.label("suspected"),
).outerjoin(SPECIMEN, SPECIMEN.c.id == SHEET.c.specimen_id)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SpecimenLine:
    """One specimen: its sheets as (number, as shown, where it stands and lies); since when and why it is free to go, or None.
    `number` names it: that of its first sheet. `suspected` of mercury or arsenic, by itself or with its consignment.
    """

    number: str
    sheets: tuple[tuple[str, str, str], ...]
    plant: str
    collected: str
    consignment: str
    free_at: datetime | None
    why: str
    suspected: bool


@dataclass(frozen=True, slots=True)
class GatheringLine:
    """What one collector took under one field number, in duplicate."""

    collector: str
    record_number: str
    event_date: str
    specimens: tuple[SpecimenLine, ...]


@dataclass(frozen=True, slots=True)
class Duplicates:
    """One page of gatherings in duplicate; `next_after` asks for the next page, `consignment` names what was asked for."""

    gatherings: tuple[GatheringLine, ...]
    next_after: str
    consignment: str = ""


def duplicates(session: Session, code: str = "", after: str = "", most: int = PAGE) -> Duplicates:
    """The gatherings of which there are several specimens here: of the whole room, or those in which a consignment has part.

    ValueError, in a sentence, for a consignment that is not there. A mark that makes no sense begins at the first.
    """
    asked, name = _keys(after, most + 1), ""
    if code:
        row = session.execute(select(Consignment.id, Consignment.name).where(Consignment.code == code)).one_or_none()
        if row is None:
            raise ValueError(say("There is no consignment called {code}.", code=code[:40]))
        asked, name = _with_part(asked, row.id), row.name
    keys = session.execute(asked).all()
    found = list[GatheringLine]()
    patterns = patterns_now(session)
    for key in keys[:most]:
        found += _of_key(session, key, patterns)
    mark = f"{keys[most - 1].collector_id}:{keys[most - 1].record_number}" if len(keys) > most else ""
    return Duplicates(tuple(found), mark, name)


def free_to_go(session: Session) -> tuple[SpecimenLine, ...]:
    """The specimens that are free to go in exchange and are here, those set free first first."""
    free = _ROWS.where(SPECIMEN.c.exchange_at.is_not(None), SHEET.c.closed_as.is_(None))
    rows = session.execute(free.order_by(SPECIMEN.c.exchange_at, SPECIMEN.c.id, SHEET.c.part).limit(MOST_FREE)).all()
    patterns = patterns_now(session)
    return tuple(_specimen(list(mine), patterns) for _, mine in groupby(rows, lambda row: row.specimen_id))


def free_sheet_ids(session: Session) -> list[int]:
    """The sheets of the specimens that are free to go."""
    found = select(SHEET.c.id).join(SPECIMEN, SPECIMEN.c.id == SHEET.c.specimen_id)
    free = found.where(SPECIMEN.c.exchange_at.is_not(None), SHEET.c.closed_as.is_(None))
    return list(
        session.execute(free.order_by(SPECIMEN.c.exchange_at, SPECIMEN.c.id, SHEET.c.part).limit(MOST_FREE)).scalars()
    )


def _keys(after: str, most: int) -> Select[Any]:
    found = (
        select(SHEET.c.collector_id, SHEET.c.record_number)
        .where(SHEET.c.collector_id.is_not(None), SHEET.c.record_number.not_in(NO_NUMBER),
               SHEET.c.closed_as.is_(None), SHEET.c.stage.is_not(None))
        .group_by(SHEET.c.collector_id, SHEET.c.record_number)
        .having(_SPECIMENS > 1)
        .order_by(SHEET.c.collector_id, SHEET.c.record_number)
        .limit(most)
    )  # fmt: skip
    collector, _, record = after.partition(":")
    if not (collector.isascii() and collector.isdigit() and len(collector) < 18):
        return found
    last = int(collector)
    same = and_(SHEET.c.collector_id == last, SHEET.c.record_number > record)
    return found.where(SHEET.c.collector_id >= last, or_(SHEET.c.collector_id > last, same))


def _with_part(asked: Select[Any], consignment_id: int) -> Select[Any]:
    """The same, of the gatherings only of which this consignment has at least one sheet."""
    other = SHEET.alias()
    mine = (
        select(other.c.collector_id, other.c.record_number)
        .where(other.c.consignment_id == consignment_id)
        .distinct()
        .subquery()
    )
    same = and_(mine.c.collector_id == SHEET.c.collector_id, mine.c.record_number == SHEET.c.record_number)
    return asked.join(mine, same)


def _of_key(session: Session, key: Any, patterns: Sequence[Any]) -> list[GatheringLine]:
    mine = (SHEET.c.collector_id == key.collector_id, SHEET.c.record_number == key.record_number)
    here = (*mine, SHEET.c.closed_as.is_(None), SHEET.c.stage.is_not(None))
    rows = session.execute(_ROWS.where(*here).order_by(SHEET.c.number)).all()
    by_id = {row.id: row for row in rows}
    told = [Gathered(row.id, row.specimen_id or f"sheet {row.id}", row.event_date or "") for row in rows]
    return [_gathering([by_id[each.sheet_id] for each in found], patterns) for found in gatherings(told)]


def _gathering(rows: Sequence[Any], patterns: Sequence[Any]) -> GatheringLine:
    together: dict[Any, list[Any]] = {}
    for row in rows:
        together.setdefault(row.specimen_id or f"sheet {row.id}", []).append(row)
    date = next((row.event_date for row in rows if row.event_date), "")
    return GatheringLine(rows[0].collector or "", rows[0].record_number or "", date,
                         tuple(_specimen(mine, patterns) for mine in together.values()))  # fmt: skip


def _specimen(rows: Sequence[Any], patterns: Sequence[Any]) -> SpecimenLine:
    first = rows[0]
    sheets = tuple((row.number, shown(row.number, patterns), _stands(row)) for row in rows)
    plant = next((row.plant for row in rows if row.plant), "")
    collected = collected_words(first.collector, first.record_number)
    suspected = any(row.suspected for row in rows)
    return SpecimenLine(first.number, sheets, plant, collected, first.consignment or "", first.exchange_at,
                        first.exchange_why or "", suspected)  # fmt: skip


def _lower(stage: str | None, closed_as: str | None) -> str:
    return say(WITHIN[Stage(stage)]) if stage and closed_as is None else stage_words(stage, closed_as).lower()


def _stands(row: Any) -> str:
    return " · ".join(filter(None, (_lower(row.stage, row.closed_as), place_of(row))))
