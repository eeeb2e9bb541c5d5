"""What is offered at intake: what was said of the last plant that was taken in here, the names in use, and the open bundles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Bundle, Collector, Consignment, Entry, EntryWorker, PlantName, Sheet, Specimen, table_of
from app.db.standing import STANDS
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.stages import STAGES, Stage, Step
from app.queries.house import patterns_now

SHEET, ENTRY, BUNDLE = table_of(Sheet), table_of(Entry), table_of(Bundle)
MOST_OFFERED = 200


@dataclass(frozen=True, slots=True)
class SaidBefore:
    """What was said of a plant that was taken in, under the names of the form's fields."""

    number: str
    shown: str
    stage_words: str
    part: int
    parts: int
    consignment: str
    name: str
    authorship: str
    family: str
    collector: str
    record_number: str
    event_date: str
    locality: str
    bulk: str
    came: str

    def offered(self, *, same: bool = False) -> dict[str, str]:
        """What is said again of the next plant; with `same`, also its name and the collector's number, for one more of it."""
        names = ("consignment", "collector", "event_date", "locality", "came", *(SAME if same else ()))
        return {name: getattr(self, name) for name in names if getattr(self, name)}


SAME = ("name", "authorship", "family", "record_number", "bulk")


def said_last(session: Session, station_id: int | None, worker_id: int | None) -> SaidBefore | None:
    """What was said of the plant that was taken in last at this station, else by this worker; None for nothing yet."""
    found = select(ENTRY.c.subject_id).where(ENTRY.c.subject_kind == "sheet", ENTRY.c.step == Step.TAKE_IN, STANDS)
    if station_id is not None:
        found = found.where(ENTRY.c.station_id == station_id)
    else:
        found = found.join(EntryWorker, EntryWorker.entry_id == ENTRY.c.id).where(EntryWorker.worker_id == worker_id)
    sheet_id = session.execute(found.order_by(ENTRY.c.id.desc()).limit(1)).scalar()
    return _said(session, SHEET.c.id == sheet_id) if sheet_id is not None else None


def said_of(session: Session, number: str) -> SaidBefore | None:
    """What was said of the sheet with this number; None where there is none."""
    return _said(session, SHEET.c.number == number)


def open_consignments(session: Session) -> list[tuple[str, str]]:
    """The open consignments as choices, in the room's own order: code, and name with code."""
    table = table_of(Consignment)
    found = (
        select(table.c.code, table.c.name)
        .where(table.c.closed_at.is_(None))
        .order_by(table.c.place_in_order, table.c.id)
    )
    return [(row.code, f"{row.name} ({row.code})") for row in session.execute(found)]


def open_bundles(session: Session) -> list[tuple[str, str]]:
    """The bundles in use as choices: row and name."""
    found = select(BUNDLE.c.id, BUNDLE.c.name).where(BUNDLE.c.closed_at.is_(None)).order_by(BUNDLE.c.name)
    return [(str(row.id), row.name) for row in session.execute(found)]


def names_offered(session: Session, consignment: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Plants' names and collectors' names that were said of a consignment's sheets, the newest first."""
    mine = select(Consignment.id).where(Consignment.code == consignment).scalar_subquery()
    rows = session.execute(
        select(PlantName.name, Collector.name)
        .select_from(SHEET)
        .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
        .outerjoin(Collector, Collector.id == SHEET.c.collector_id)
        .where(SHEET.c.consignment_id == mine)
        .order_by(SHEET.c.id.desc())
        .limit(MOST_OFFERED)
    ).all()
    plants, collectors = (tuple(dict.fromkeys(row[place] for row in rows if row[place])) for place in (0, 1))
    return plants, collectors


def _said(session: Session, *where: Any) -> SaidBefore | None:
    found = (
        select(SHEET, PlantName.name.label("plant"), PlantName.authorship, PlantName.family, Collector.name.label("by"),
               Consignment.code.label("consignment"), Specimen.sheets.label("parts"))
        .select_from(SHEET)
        .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
        .outerjoin(Collector, Collector.id == SHEET.c.collector_id)
        .outerjoin(Consignment, Consignment.id == SHEET.c.consignment_id)
        .outerjoin(Specimen, Specimen.id == SHEET.c.specimen_id)
        .where(*where)
    )  # fmt: skip
    row = session.execute(found).one_or_none()
    if row is None:
        return None
    stage = Stage(row.stage) if row.stage else None
    return SaidBefore(
        row.number, shown(row.number, patterns_now(session)), _stands(stage), row.part,
        row.parts or 1, row.consignment or "", row.plant or "", row.authorship or "", row.family or "", row.by or "",
        row.record_number or "", row.event_date or "", row.locality or "", row.bulk, _came(stage),
    )  # fmt: skip


def _stands(stage: Stage | None) -> str:
    return say(STAGES[stage].stands) if stage else say("is not taken in")


def _came(stage: Stage | None) -> str:
    return {Stage.READY: "dry", Stage.DRY: "mounted"}.get(stage, "fresh") if stage else "fresh"
