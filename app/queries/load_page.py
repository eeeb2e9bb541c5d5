"""One load for the freezer: what lies in it, and its log with that of its freezer, as sentences."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from app.db.models import (
    Bundle,
    Entry,
    EntryWorker,
    FreezerLoad,
    LoadBundle,
    PlantName,
    Sheet,
    Station,
    Worker,
    table_of,
)
from app.domain.freezing import FREEZER_STEPS, LOAD_STEPS, celsius
from app.domain.language import mark, say
from app.domain.numbers import shown
from app.domain.stages import STAGES, STEP_WORDS, Stage, Step
from app.domain.words import dated
from app.queries.freezers import LoadView, load_views
from app.queries.house import patterns_now

ENTRY = table_of(Entry)
LOAD = table_of(FreezerLoad)
TIED = table_of(LoadBundle)
SHEET = table_of(Sheet)
MOST_SHEETS = 500


@dataclass(frozen=True, slots=True)
class LoadSheet:
    """One sheet of a load: its number, its plant, how it stands, and the tied bundle it is in, if any."""

    number: str
    shown: str
    plant: str
    stage_words: str
    bundle: str


@dataclass(frozen=True, slots=True)
class LoadLine:
    """One entry of a load or its freezer as a sentence; `is_taken_back` where it no longer stands."""

    entry: int
    sentence: str
    is_taken_back: bool
    of_freezer: bool


@dataclass(frozen=True, slots=True)
class LoadPage:
    """A load, what is in it (what was in it, once it is opened), and its log in the order of what happened."""

    view: LoadView
    sheets: tuple[LoadSheet, ...]
    log: tuple[LoadLine, ...]


def load_page(session: Session, code: str, now: datetime, zone: ZoneInfo, *, by_names: bool = True) -> LoadPage | None:
    """The page of the load with this code; None when there is none. Without `by_names` nobody is named."""
    views = load_views(session, now, code) if code else []
    if not views:
        return None
    row = session.execute(select(LOAD).where(LOAD.c.code == code)).mappings().one()
    return LoadPage(views[0], _sheets(session, row), tuple(_log(session, row, now, zone, by_names)))


def _sheets(session: Session, row: Any) -> tuple[LoadSheet, ...]:
    found = (
        select(SHEET.c.number, PlantName.name, SHEET.c.stage, SHEET.c.bundle_id, Bundle.name)
        .select_from(SHEET)
        .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
        .outerjoin(Bundle, Bundle.id == SHEET.c.bundle_id)
        .where(_inside(session, row), SHEET.c.closed_as.is_(None))
        .order_by(SHEET.c.number)
        .limit(MOST_SHEETS)
    )
    patterns = patterns_now(session)
    return tuple(
        LoadSheet(number, shown(number, patterns), plant or "", say(STAGES[Stage(stage)].words) if stage else "",
                  bundle if bundle and bundle_id != row["bundle_id"] and row["opened_at"] is None else "")
        for number, plant, stage, bundle_id, bundle in session.execute(found)
    )  # fmt: skip


def _inside(session: Session, row: Any) -> Any:
    if row["opened_at"] is None:
        tied = select(TIED.c.bundle_id).where(TIED.c.load_id == row["id"])
        return or_(SHEET.c.bundle_id == row["bundle_id"], SHEET.c.bundle_id.in_(tied))
    # Once it is open its sheets go on: the log says which they were.
    told = select(ENTRY.c.subject_id, ENTRY.c.facts).where(
        ENTRY.c.subject_kind == "sheet", ENTRY.c.step == Step.UNBAG, ENTRY.c.happened_at == row["opened_at"]
    )
    return SHEET.c.id.in_([each.subject_id for each in session.execute(told) if each.facts.get("load") == row["id"]])


def _log(session: Session, row: Any, now: datetime, zone: ZoneInfo, by_names: bool) -> list[LoadLine]:
    own = (ENTRY.c.subject_kind == "load") & (ENTRY.c.subject_id == row["id"]) & ENTRY.c.step.in_(LOAD_STEPS)
    where = own
    if row["freezer_id"] is not None and row["put_in_at"] is not None:
        during = ENTRY.c.happened_at >= row["put_in_at"]
        during = during & (ENTRY.c.happened_at <= row["out_at"]) if row["out_at"] else during
        its = (ENTRY.c.subject_kind == "cabinet") & (ENTRY.c.subject_id == row["freezer_id"])
        where = own | (its & ENTRY.c.step.in_(FREEZER_STEPS) & during)
    found = (
        select(ENTRY, Station.name.label("station")).outerjoin(Station, Station.id == ENTRY.c.station_id).where(where)
    )
    rows = session.execute(found.order_by(ENTRY.c.happened_at, ENTRY.c.id)).all()
    ids = [each.id for each in rows]
    gone = set(session.execute(select(ENTRY.c.corrects).where(ENTRY.c.corrects.in_(ids))).scalars())
    names = _names(session, ids) if by_names else {}
    return [
        LoadLine(
            each.id, _sentence(each, names.get(each.id, ""), now, zone), each.id in gone, each.subject_kind == "cabinet"
        )
        for each in rows
    ]


def _names(session: Session, ids: list[int]) -> dict[int, str]:
    found = (
        select(EntryWorker.entry_id, Worker.name)
        .join(Worker, Worker.id == EntryWorker.worker_id)
        .where(EntryWorker.entry_id.in_(ids), EntryWorker.role == "did")
        .order_by(Worker.id)
    )
    names: dict[int, list[str]] = {}
    for entry_id, name in session.execute(found):
        names.setdefault(entry_id, []).append(name)
    return {entry_id: say(" and ").join(each) for entry_id, each in names.items()}


def _sentence(entry: Any, name: str, now: datetime, zone: ZoneInfo) -> str:
    facts, step = entry.facts, Step(entry.step)
    said = say(STEP_WORDS[step][1])
    if step is Step.LOAD_IN:
        said = say("put into {freezer}", freezer=facts.get("freezer_name") or say("the freezer"))
    if entry.subject_kind == "cabinet":
        said = say("the freezer {deed}", deed=said)
    for fact, words in _READ.items():
        said += say(words, temperature=celsius(facts[fact])) if fact in facts else ""
    for fact, words in _SPAN.items():
        told = facts.get(fact) if step is not Step.STAYED_COLD else None
        said += say(words, moment=dated(datetime.fromisoformat(told), zone, now)) if told else ""
    said += say(" by {name}", name=name) if name else ""
    said += say(" at {station}", station=entry.station) if entry.station else ""
    return " ".join([say("{moment} — {what}.", moment=dated(entry.happened_at, zone, now), what=said), *_asides(entry)])


def _asides(entry: Any) -> list[str]:
    late = [say("Late entry.")] if entry.is_late else []
    return [*late, *([say("Reason: {reason}.", reason=entry.reason)] if entry.reason else [])]


_READ = {"reading_c": mark(", the logger shows {temperature}"), "highest_c": mark(", at the highest {temperature}")}
_SPAN = {"begins": mark(", since {moment}"), "ends": mark(", until {moment}")}
