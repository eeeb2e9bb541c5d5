"""One line for each of many sheets: what a person knows it by, where it is, and since when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, bindparam, func, select
from sqlalchemy.orm import Session

from app.db.models import (
    Bundle,
    Cabinet,
    Collector,
    Consignment,
    Inspection,
    PlantName,
    Sheet,
    Shelf,
    Stack,
    Station,
    table_of,
)
from app.db.prepared import prepared
from app.domain.holds import HOLDS
from app.domain.language import mark, say, say_n
from app.domain.numbers import Pattern, shown
from app.domain.stages import STAGES, Stage
from app.domain.words import age
from app.queries.clocks import Glued, clocks_of
from app.queries.waiting import Judge, Wait

SHEET = table_of(Sheet)
# Nothing is said of a sheet of ordinary bulk.
BULK_WORDS = {"thin": mark("thin"), "bulky": mark("bulky")}
INSPECTED_AT = (
    select(func.max(Inspection.inspected_at))
    .where(Inspection.sheet_id == SHEET.c.id)
    .correlate(SHEET)
    .scalar_subquery()
)


def inspected_since(moment: ColumnElement[Any]) -> ColumnElement[Any]:
    """When a sheet was last inspected after a moment of its own row, if it was."""
    found = select(func.max(Inspection.inspected_at)).where(
        Inspection.sheet_id == SHEET.c.id, Inspection.inspected_at > moment
    )
    return found.correlate(SHEET).scalar_subquery()


def with_places(sheets: Select[Any]) -> Select[Any]:
    """The same reading of sheets, joined with all the places where one may be."""
    return (
        sheets.outerjoin(Cabinet, Cabinet.id == SHEET.c.cabinet_id)
        .outerjoin(Shelf, Shelf.id == SHEET.c.shelf_id)
        .outerjoin(Stack, Stack.id == SHEET.c.stack_id)
        .outerjoin(Station, Station.id == SHEET.c.table_id)
        .outerjoin(Bundle, Bundle.id == SHEET.c.bundle_id)
    )


LINES = with_places(
    select(
        SHEET.c.id, SHEET.c.number, SHEET.c.record_number, SHEET.c.pieces, SHEET.c.bulk, SHEET.c.stage, SHEET.c.came_at,
        SHEET.c.holds, SHEET.c.outcome, SHEET.c.in_queue, SHEET.c.closed_as, SHEET.c.fresh, SHEET.c.method,
        SHEET.c.papers_at, SHEET.c.glued_at, SHEET.c.minimum_s, SHEET.c.layer, SHEET.c.stack_id, SHEET.c.bundle_id,
        SHEET.c.treated_until, SHEET.c.wanted_at,
        PlantName.name.label("plant"), PlantName.family, Collector.name.label("collector"),
        Consignment.name.label("consignment"), Cabinet.name.label("cabinet"), Cabinet.limit_open_days,
        Shelf.name.label("shelf"), Stack.name.label("stack"), Station.name.label("on_table"),
        Bundle.name.label("bundle"), INSPECTED_AT.label("inspected_at"),
    )
    .select_from(SHEET)
    .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
    .outerjoin(Collector, Collector.id == SHEET.c.collector_id)
    .outerjoin(Consignment, Consignment.id == SHEET.c.consignment_id)
)  # fmt: skip
_BY_IDS = prepared(LINES.where(SHEET.c.id.in_(bindparam("sheets", expanding=True))))


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One sheet in a list. `holds` are in words; `waits_for` says what it waits for, where its stage does not."""

    sheet_id: int
    number: str
    shown: str
    plant: str
    family: str
    detail: str
    stage: str
    stage_words: str
    since: datetime | None
    age: str
    place: str
    stalled: bool
    holds: tuple[str, ...]
    outcome: str
    waits_for: str
    bulk: str
    in_queue: bool
    wanted: bool


def line_rows(session: Session, sheet_ids: Sequence[int]) -> list[Any]:
    """The joined rows of these sheets, in the order given; an id that is not there is left out."""
    found = {row.id: row for row in session.execute(_BY_IDS, {"sheets": list(sheet_ids)})} if sheet_ids else {}
    return [found[each] for each in sheet_ids if each in found]


def sheet_rows(
    session: Session, rows: Sequence[Any], patterns: Sequence[Pattern], judge: Judge
) -> tuple[SheetRow, ...]:
    """The lines of joined rows, each judged by the limit of its stage."""
    waits = waits_of(session, rows, judge)
    return tuple(
        SheetRow(
            row.id, row.number, shown(row.number, patterns), row.plant or "", row.family or "", detail_of(row), row.stage or "",
            stage_words(row.stage, row.closed_as), row.came_at, age(row.came_at, judge.now) if row.came_at else "",
            place_of(row), wait.stalled, hold_words(row.holds), row.outcome or "",
            say(judge.waits_for(row)), row.bulk, row.in_queue, row.wanted_at is not None and row.in_queue,
        )
        for row, wait in zip(rows, waits, strict=True)
    )  # fmt: skip


def waits_of(session: Session, rows: Sequence[Any], judge: Judge) -> list[Wait]:
    """How long the sheet of each of these joined rows has waited, each judged by the limit of its stage."""
    pressing = [Glued(row.id, row.glued_at, row.minimum_s) for row in rows if row.stage == Stage.UNDER_PRESS]
    clocks = clocks_of(session, pressing, judge.now) if pressing else {}
    return [judge.wait_of(row, clocks.get(row.id)) for row in rows]


def stage_words(stage: str | None, closed_as: str | None = None) -> str:
    """How a sheet's stage is said; "Not taken in" before its first entry."""
    if closed_as is not None:
        return say("Withdrawn")
    return say(STAGES[Stage(stage)].words) if stage else say("Not taken in")


def place_of(row: Any, layer_words: str = "") -> str:
    """Where one has to walk for a sheet: "M1, shelf 2", "stack P3", a table or a bundle; empty when nobody has said."""
    if row.stack:
        return say("stack {name}{layer}", name=row.stack, layer=layer_words)
    if row.on_table:
        return str(row.on_table)
    shelf = say("{cabinet}, shelf {shelf}", cabinet=row.cabinet, shelf=row.shelf) if row.shelf else row.cabinet or ""
    return shelf or (say("bundle {name}", name=row.bundle) if row.bundle else "")


def detail_of(row: Any) -> str:
    """Consignment, collector's number, bulk and parts, as far as they say something."""
    collected = collected_words(row.collector, row.record_number)
    bulk = say(BULK_WORDS.get(row.bulk, ""))
    pieces = say_n("{n} part", "{n} parts", row.pieces) if row.pieces > 1 else ""
    return " · ".join(filter(None, (row.consignment, collected, bulk, pieces)))


def collected_words(collector: str | None, record_number: str | None) -> str:
    """Who collected it, and by which number of theirs: "H. Okada no. 211"; as far as it is known."""
    number = say("no. {number}", number=record_number) if record_number else ""
    return " ".join(filter(None, (collector, number)))


def hold_words(holds: str) -> tuple[str, ...]:
    """The holds on a sheet in words, in the order of the table of holds."""
    kinds = holds.split()
    return tuple(say(row.words) for kind, row in HOLDS.items() if kind in kinds)
