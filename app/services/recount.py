"""The sums kept beside the log, counted anew from its standing entries."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, case, delete, insert, select
from sqlalchemy.orm import Session

from app.db.models import Entry, EntryWorker, Setting, Worker, table_of
from app.db.standing import STANDS
from app.domain.calendar import local_day
from app.domain.stages import Stage, Step
from app.services.differences import Difference
from app.services.tallies import DAY, STAY, stay_row

ENTRY = table_of(Entry)
ENTRY_WORKER = table_of(EntryWorker)
AT_ONCE = 5000
SETTING = table_of(Setting)
# A migration knows no time zone: it leaves the sums empty and this setting behind.
SUMS = "sums"
SIXTIETHS = 60
_STAY_KEY = ("week", "stage", "cabinet_id", "hours")
_STANDING = (ENTRY.c.subject_kind == "sheet", ENTRY.c.step != Step.CORRECT, STANDS)
_DEEDS = (
    select(ENTRY.c.happened_at, ENTRY.c.step, ENTRY_WORKER.c.worker_id, ENTRY_WORKER.c.shares)
    .join(ENTRY_WORKER, (ENTRY_WORKER.c.entry_id == ENTRY.c.id) & (ENTRY_WORKER.c.role == "did"))
    .where(*_STANDING)
)
_STAYS = select(
    ENTRY.c.from_stage, ENTRY.c.came_at, ENTRY.c.happened_at, ENTRY.c.from_cabinet_id,
    case((ENTRY.c.from_cabinet_id.is_(None), ENTRY.c.facts)).label("facts"),
).where(
    *_STANDING, ENTRY.c.from_stage.is_not(None), ENTRY.c.came_at.is_not(None),
    ENTRY.c.to_stage.is_distinct_from(ENTRY.c.from_stage),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sums:
    """Sheets and credit (sixtieths) by day, worker and step; stays by week, stage, cabinet and length. No sum is nothing."""

    sheets: Counter[tuple[Any, ...]]
    credit_60: Counter[tuple[Any, ...]]
    stays: Counter[tuple[Any, ...]]


def recounted(session: Session, zone: ZoneInfo) -> Sums:
    """The sums as the standing entries of all sheets make them, with days and weeks of the room's zone."""
    sums = Sums(Counter(), Counter(), Counter())
    for happened_at, step, worker, shares in _read(session, _DEEDS):
        key = (local_day(happened_at, zone), worker, step)
        sums.sheets[key] += 1
        sums.credit_60[key] += SIXTIETHS // shares
    for stage, came_at, left_at, cabinet_id, facts in _read(session, _STAYS):
        kept_in = cabinet_id or (facts or {}).get("kept_in")
        row = stay_row(zone, Stage(stage), kept_in, came_at, left_at, 1)
        sums.stays[tuple(row[name] for name in _STAY_KEY)] += 1
    return sums


def tally_differences(session: Session, zone: ZoneInfo) -> Iterator[Difference]:
    """Every sum that is kept and is not what a recount gives; a sum of nothing need not be kept."""
    counted, kept = recounted(session, zone), _kept(session)
    names = {row.id: row.name for row in session.execute(select(Worker.id, Worker.name))}
    for key in sorted({*counted.sheets, *kept.sheets}):
        name = f"{key[0]} {names.get(key[1], key[1])} {key[2]}"
        yield from _unequal(name, "sheets", counted.sheets[key], kept.sheets[key])
        yield from _unequal(name, "credit in sixtieths", counted.credit_60[key], kept.credit_60[key])
    for key in sorted({*counted.stays, *kept.stays}):
        name = f"{key[0]} {key[1]} {key[3]} h" + (f" in cabinet {key[2]}" if key[2] else "")
        yield from _unequal(name, "stays", counted.stays[key], kept.stays[key])


def rebuild_tallies(session: Session, zone: ZoneInfo) -> None:
    """Make all sums anew from the standing entries."""
    counted = recounted(session, zone)
    session.execute(delete(DAY))
    session.execute(delete(STAY))
    days = [{"day": day, "worker_id": worker, "step": step, "sheets": sheets,
             "credit_60": counted.credit_60[day, worker, step]}
            for (day, worker, step), sheets in counted.sheets.items()]  # fmt: skip
    stays = [{**dict(zip(_STAY_KEY, key, strict=True)), "stays": count} for key, count in counted.stays.items()]
    for table, rows in ((DAY, days), (STAY, stays)):
        if rows:
            session.execute(insert(table), rows)


def sums_are_old(session: Session) -> bool:
    """Whether an upgrade of the schema has left the sums to be made anew."""
    return session.execute(select(SETTING.c.value).where(SETTING.c.name == SUMS)).first() is not None


def rebuild_if_asked(session: Session, zone: ZoneInfo) -> None:
    """Make the sums anew where an upgrade of the schema has left them empty."""
    asked = session.execute(delete(SETTING).where(SETTING.c.name == SUMS).returning(SETTING.c.value)).scalar()
    if asked is not None:
        rebuild_tallies(session, zone)


def _kept(session: Session) -> Sums:
    sums = Sums(Counter(), Counter(), Counter())
    for day, worker, step, sheets, credit in session.execute(
        select(DAY.c.day, DAY.c.worker_id, DAY.c.step, DAY.c.sheets, DAY.c.credit_60)
    ):
        sums.sheets[day, worker, step], sums.credit_60[day, worker, step] = sheets, credit
    for *key, stays in session.execute(select(*(STAY.c[name] for name in _STAY_KEY), STAY.c.stays)):
        sums.stays[tuple(key)] = stays
    return sums


def _read(session: Session, query: Select[Any]) -> Iterator[Any]:
    return iter(session.execute(query.execution_options(yield_per=AT_ONCE)))


def _unequal(name: str, what: str, counted: int, kept: int) -> Iterator[Difference]:
    if counted != kept:
        yield Difference("tally", None, name, what, str(counted), str(kept))
