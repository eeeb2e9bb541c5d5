"""Which sheets are left behind: one rule by the day on which they came, for one sheet and for many at once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, and_, bindparam, extract, false, func, literal, or_, select
from sqlalchemy.orm import Session

from app.db.models import Entry, Sheet, TallyDay, table_of
from app.domain.calendar import local_day
from app.domain.left_behind import INTO, days_left_behind, lies_in, spans_of
from app.domain.stages import Stage, Step
from app.queries.kinds import IN_QUEUE, KINDS, MOMENT, Kind, free_where, treats_before, where_of
from app.queries.lying import Heap, heaps
from app.queries.remembered import hour_that_matters, remembered
from app.queries.waiting import Judge, Wait

SHEET = table_of(Sheet)
ENTRY = table_of(Entry)
DAY = table_of(TallyDay)
KEPT = "left-behind"
QUARTER_S = 900
MOST_SINCE = 2000
# Counted anew now and then all the same: where several programs write, an entry may be seen after a later one.
COUNTED_ANEW_AFTER = timedelta(minutes=10)
# These take a sheet out of the queue without a step into another stage, or put it back where it was.
NOT_FOLLOWED = frozenset({Step.CORRECT, Step.WITHDRAW, Step.PUT_TOGETHER})

_INTO = {step.value: stage for stage, steps in INTO.items() for step in steps}
_NEWEST = select(func.coalesce(func.max(ENTRY.c.id), 0))
_SECONDS = extract("epoch", SHEET.c.came_at)
# By quarters of an hour, because days begin at one in every zone: those at half and three quarter hours from UTC too.
_QUARTER = (_SECONDS - _SECONDS % QUARTER_S).label("quarter")
_WAITING = (
    select(SHEET.c.stage, _QUARTER, func.count()).where(IN_QUEUE, SHEET.c.stage.in_(list(INTO))).group_by(SHEET.c.stage, _QUARTER)
)  # fmt: skip
_SINCE = (
    select(ENTRY.c.step, ENTRY.c.from_stage, ENTRY.c.to_stage, ENTRY.c.came_at, ENTRY.c.happened_at)
    .where(ENTRY.c.id > bindparam("seen"), ENTRY.c.id <= bindparam("newest"), ENTRY.c.subject_kind == "sheet")
    .limit(MOST_SINCE + 1)
)
_CAME = (
    select(DAY.c.step, DAY.c.day, func.sum(DAY.c.credit_60))
    .where(DAY.c.day > bindparam("first"), DAY.c.step.in_(list(_INTO)))
    .group_by(DAY.c.step, DAY.c.day)
)
Days = dict[Stage, Counter[date]]


@dataclass(frozen=True, slots=True)
class Kept:
    """How many wait in each stage by the local day on which they came, as of the entry `newest`; whole at `counted_at`."""

    newest: int
    counted_at: datetime
    zone: str
    waiting: Days


def left_behind_days(session: Session, judged: Judge) -> dict[Stage, frozenset[date]]:
    """The local days such that what came to a stage on them, still waits and is not held, is left behind; by stage.

    They follow from the log and the house rules alone, whatever the time is.
    """
    waiting = _waiting(session, judged)
    first = min((day for days in waiting.values() for day in days), default=None)
    if first is None:
        return {stage: frozenset() for stage in INTO}
    came, house = _came(session, first), judged.house
    return {
        stage: days_left_behind(came[stage], waiting[stage], house.left_behind_share, house.left_behind_least)
        for stage in INTO
    }


def left_behind_where(session: Session, judged: Judge, stage: Stage | None = None) -> ColumnElement[bool]:
    """The condition that a sheet in the queue is left behind, at one stage or at any."""
    days = left_behind_days(session, judged)
    spans = {
        each: spans_of(mine, judged.calendar.zone) for each, mine in days.items() if mine and stage in (None, each)
    }
    return or_(false(), *(_of_kind(judged, kind, spans[kind.stage]) for kind in KINDS if kind.stage in spans))


def is_left_behind(session: Session, judged: Judge, row: Any, wait: Wait) -> bool:
    """Whether the sheet of this row, which waits so, is left behind; never what is held, filed or withdrawn."""
    stage = Stage(row.stage) if row.stage and row.in_queue else None
    if wait.held or stage not in INTO:
        return False
    return lies_in(row.came_at, spans_of(left_behind_days(session, judged)[stage], judged.calendar.zone))


def left_behind_heaps(session: Session, judged: Judge) -> list[Heap]:
    """The sheets that are left behind, counted by the places where they lie."""
    key = (judged.calendar.zone.key, judged.frozen, hour_that_matters(judged))
    return remembered(session, "left-behind heaps", key, lambda: _heaps(session, judged))


def left_behind_counts(behind: Iterable[Heap]) -> dict[Stage, int]:
    """How many of these sheets are in each stage; stages without any are not in it."""
    found: Counter[Stage] = Counter()
    for heap in behind:
        found[heap.stage] += heap.count
    return dict(found)


def _heaps(session: Session, judged: Judge) -> list[Heap]:
    return heaps(session, SHEET.c.stage.in_(list(INTO)), left_behind_where(session, judged))


def _of_kind(judged: Judge, kind: Kind, spans: tuple[tuple[datetime, datetime], ...]) -> ColumnElement[bool]:
    mine = where_of(kind, treats_before(judged, kind), literal(judged.now, MOMENT))
    came = or_(*(and_(SHEET.c.came_at >= start, SHEET.c.came_at < end) for start, end in spans))
    return and_(SHEET.c.stage == kind.stage, mine, free_where(judged, kind), came)


def _came(session: Session, first: date) -> Days:
    """How many came to each stage by day, in sixtieths of a sheet, on the days after the first."""
    found: Days = {stage: Counter() for stage in INTO}
    for step, day, credit_60 in session.execute(_CAME, {"first": first}):
        found[_INTO[step]][day] += credit_60
    return found


def _waiting(session: Session, judged: Judge) -> Days:
    """Counted once, and from then on moved along with the entries that came since: the queue may be long."""
    kept, zone = session.info["database"].kept, judged.calendar.zone
    newest, known = session.execute(_NEWEST).scalar_one(), kept.get(KEPT)
    since = _since(session, known, newest) if known is not None and _holds(known, newest, judged) else None
    if known is None or since is None:
        now_kept = Kept(newest, judged.now, zone.key, _counted(session, zone))
    else:
        now_kept = Kept(newest, known.counted_at, zone.key, _moved_along(known.waiting, since, zone))
    kept[KEPT] = now_kept
    return now_kept.waiting


def _holds(known: Kept, newest: int, judged: Judge) -> bool:
    is_recent = abs(judged.now - known.counted_at) < COUNTED_ANEW_AFTER
    return is_recent and known.newest <= newest and known.zone == judged.calendar.zone.key


def _since(session: Session, known: Kept, newest: int) -> list[Any] | None:
    """The entries since then; None where they are too many, or not of the kind that can be followed."""
    if newest == known.newest:
        return []
    rows = list(session.execute(_SINCE, {"seen": known.newest, "newest": newest}))
    return None if len(rows) > MOST_SINCE or any(row.step in NOT_FOLLOWED for row in rows) else rows


def _counted(session: Session, zone: ZoneInfo) -> Days:
    found: Days = {stage: Counter() for stage in INTO}
    for stage, quarter, count in session.execute(_WAITING):
        found[Stage(stage)][local_day(datetime.fromtimestamp(int(quarter), UTC), zone)] += count
    return found


def _moved_along(waiting: Mapping[Stage, Counter[date]], since: list[Any], zone: ZoneInfo) -> Days:
    # A copy: somebody may be reading what was kept.
    found = {stage: Counter(days) for stage, days in waiting.items()}
    for row in (each for each in since if each.from_stage != each.to_stage):
        if row.from_stage in found and row.came_at is not None:
            found[Stage(row.from_stage)][local_day(row.came_at, zone)] -= 1
        if row.to_stage in found:
            found[Stage(row.to_stage)][local_day(row.happened_at, zone)] += 1
    return {stage: +days for stage, days in found.items()}
