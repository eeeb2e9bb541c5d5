"""The last scans of a station today, and which of them can still be taken back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import and_, bindparam, or_, select
from sqlalchemy.orm import Session, aliased

from app.db.models import Entry, EntryWorker, Layer, Scan, table_of
from app.db.prepared import prepared
from app.domain.calendar import day_bounds, local_day
from app.domain.house import House
from app.domain.language import say
from app.domain.stages import STEP_WORDS, Step
from app.queries.house import house_now

ENTRY = table_of(Entry)
SHOWN = 12
_TODAY = (
    select(Scan.answer, Scan.received_at)
    .where(Scan.station_id == bindparam("station"), Scan.received_at >= bindparam("since"))
    .order_by(Scan.received_at.desc(), Scan.id.desc())
)
_LAST = prepared(_TODAY.limit(SHOWN))
_NEWEST = prepared(_TODAY.limit(1))
_LATER = aliased(Entry)
_CORRECTION = aliased(Entry)
_CORRECTED = select(_CORRECTION.id).where(_CORRECTION.corrects == ENTRY.c.id).exists()
_LATER_STANDS = (
    select(_LATER.id)
    .where(
        _LATER.subject_kind == ENTRY.c.subject_kind, _LATER.subject_id == ENTRY.c.subject_id, _LATER.step != Step.CORRECT,
        or_(_LATER.happened_at > ENTRY.c.happened_at,
            and_(_LATER.happened_at == ENTRY.c.happened_at, _LATER.id > ENTRY.c.id)),
        ~select(_CORRECTION.id).where(_CORRECTION.corrects == _LATER.id).exists(),
    )
    .exists()
)  # fmt: skip
_STAND_LAST = prepared(
    select(ENTRY.c.id, ENTRY.c.step, ENTRY.c.subject_id, ENTRY.c.happened_at, ENTRY.c.recorded_at).where(
        ENTRY.c.id.in_(bindparam("entries", expanding=True)), ENTRY.c.step != Step.CORRECT, ~_CORRECTED, ~_LATER_STANDS
    )
)
_MINE = prepared(
    select(EntryWorker.entry_id).where(
        EntryWorker.entry_id.in_(bindparam("entries", expanding=True)), EntryWorker.role == "did",
        EntryWorker.worker_id.in_(bindparam("workers", expanding=True)),
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class LastScan:
    """One scan and how it was answered; `entry` is what an undo would name."""

    at: datetime
    kind: str
    words: str
    number: str
    shown: str
    plant: str
    entry: int | None
    undoable: bool


def last_scans(
    session: Session, station_id: int, now: datetime, zone: ZoneInfo, by: Sequence[int]
) -> tuple[LastScan, ...]:
    """Today's last scans at a station, the newest first. One can be taken back while its entry is the last that stands
    for its sheet or stack and one of `by` wrote it; weights only for the few minutes that the house gives.
    """
    since = day_bounds(local_day(now, zone), zone)[0]
    rows = session.execute(_LAST, {"station": station_id, "since": since}).all()
    entries = [row.answer["entry"] for row in rows if row.answer.get("entry")]
    undoable = _undoable(session, entries, by, now) if entries and by else frozenset[int]()
    return tuple(_scan(row, undoable) for row in rows)


def newest_scan(session: Session, station_id: int, now: datetime, zone: ZoneInfo) -> tuple[LastScan, ...]:
    """The scan that was answered last at a station today, alone; a screen that has the others already puts it on top."""
    since = day_bounds(local_day(now, zone), zone)[0]
    rows = session.execute(_NEWEST, {"station": station_id, "since": since}).all()
    return tuple(_scan(row, frozenset()) for row in rows)


def _undoable(session: Session, entries: Sequence[int], by: Sequence[int], now: datetime) -> frozenset[int]:
    mine = set(session.execute(_MINE, {"entries": entries, "workers": list(by)}).scalars())
    house = house_now(session)
    last = session.execute(_STAND_LAST, {"entries": entries}).all()
    return frozenset(row.id for row in last if row.id in mine and _may_still(session, row, house, now))


def _may_still(session: Session, row: Any, house: House, now: datetime) -> bool:
    if row.step not in (Step.WEIGHTS_ON, Step.WEIGHTS_OFF):
        return True
    moved = select(Layer.id).where(
        Layer.stack_id == row.subject_id, or_(Layer.laid_at > row.happened_at, Layer.out_at > row.happened_at)
    )
    soon = now - row.recorded_at <= timedelta(minutes=house.undo_weights_min)
    return soon and session.execute(moved.limit(1)).first() is None


def _scan(row: Any, undoable: frozenset[int]) -> LastScan:
    answer = row.answer
    sheet = answer.get("sheet") or {}
    entry = answer.get("entry")
    return LastScan(
        row.received_at, answer["kind"], _words(answer), sheet.get("number", ""), sheet.get("shown", ""),
        sheet.get("plant", ""), entry, entry in undoable,
    )  # fmt: skip


def _words(answer: dict[str, Any]) -> str:
    if answer["kind"] == "done":
        step = answer.get("step")
        return (
            say(STEP_WORDS[Step(step)][1])
            if step and not answer.get("moved")
            else say(str(answer["word"])).rstrip(".").lower()
        )
    first = answer["lines"][0] if answer.get("lines") else answer["word"]
    return say(str(first)).split(". ")[0].rstrip(".:?")
