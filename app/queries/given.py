"""What became of what somebody gave: for the giver, so without places, without workers, and without where a plant grew."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Collector, Consignment, PlantName, Sheet, table_of
from app.domain.consigned import JOINED, KINDS, WITHDRAWN, Fate, fate
from app.domain.language import say
from app.domain.natural_order import natural_order
from app.domain.numbers import shown
from app.queries.house import patterns_now

SHEET = table_of(Sheet)
CONSIGNMENT = table_of(Consignment)
# All but the last are terms of Darwin Core (TDWG).
COLUMNS = ("recordedBy", "recordNumber", "scientificName", "catalogNumber", "whatBecameOfIt")
_SIBLING = SHEET.alias()
_OF_HOW_MANY = (
    select(func.count()).where(_SIBLING.c.specimen_id == SHEET.c.specimen_id).correlate(SHEET).scalar_subquery()
)
_SHEETS = (
    select(SHEET.c.number, SHEET.c.stage, SHEET.c.closed_as, SHEET.c.holds, SHEET.c.table_id, SHEET.c.record_number, SHEET.c.part,
           PlantName.name.label("plant"), Collector.name.label("collector"), _OF_HOW_MANY.label("parts"))
    .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
    .outerjoin(Collector, Collector.id == SHEET.c.collector_id)
    .where(or_(SHEET.c.closed_as.is_(None), ~SHEET.c.closed_as.startswith(JOINED)))
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class GivenSheet:
    """One sheet as the giver knows it, and what became of it in plain words."""

    number: str
    shown: str
    collector: str
    record_number: str
    plant: str
    part: str
    words: str


@dataclass(frozen=True, slots=True)
class AnswerToGiver:
    """A consignment for whoever gave it: how many sheets became of what, and each of them by collector and field number."""

    code: str
    name: str
    source: str
    kind_words: str
    arrived_on: date | None
    fates: tuple[tuple[str, int], ...]
    sheets: tuple[GivenSheet, ...]
    filed: int
    withdrawn: int


def answer_to_giver(session: Session, code: str) -> AnswerToGiver | None:
    """What became of the consignment with this code; None when there is none."""
    row = session.execute(select(CONSIGNMENT).where(CONSIGNMENT.c.code == code)).one_or_none()
    if row is None:
        return None
    patterns = patterns_now(session)
    found = sorted(session.execute(_SHEETS.where(SHEET.c.consignment_id == row.id)).all(), key=_in_order)
    became = [
        fate(each.stage, each.closed_as, each.holds.split(), on_table=each.table_id is not None) for each in found
    ]
    sheets = tuple(_given(each, patterns, what) for each, what in zip(found, became, strict=True))
    fates = tuple((say(each.value), became.count(each)) for each in Fate if each in became)
    withdrawn = sum(each in WITHDRAWN for each in became)
    return AnswerToGiver(row.code, row.name, row.source or "", KINDS.get(row.kind, row.kind), row.arrived_on, fates, sheets,
                         became.count(Fate.FILED), withdrawn)  # fmt: skip


def answer_rows(answer: AnswerToGiver) -> Iterator[tuple[str, ...]]:
    """The headings, then a row for each sheet."""
    yield COLUMNS
    for each in answer.sheets:
        yield (each.collector, each.record_number, each.plant, each.number, each.words)


def _in_order(row: Any) -> tuple[Any, ...]:
    return (row.collector or "\uffff", natural_order(row.record_number or ""), row.number)


def _given(row: Any, patterns: Any, what: Fate) -> GivenSheet:
    part = say("sheet {part} of {parts}", part=row.part, parts=row.parts) if row.parts > 1 else ""
    return GivenSheet(row.number, shown(row.number, patterns), row.collector or "", row.record_number or "", row.plant or "", part,
                      say(what.value))  # fmt: skip
