"""How many sheets came to each stage and left it on the room's last open days, off the sums kept beside the log."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from app.db.models import Entry, TallyDay, table_of
from app.domain.calendar import DAY, Calendar, local_day
from app.domain.forecast import Days
from app.domain.stages import Stage, Step
from app.queries.waiting import Judge

TALLY = table_of(TallyDay)
ENTRY = table_of(Entry)
SIXTIETHS = 60
WEEK = 7 * DAY
LONGEST_CLOSED = 60 * DAY  # work done on a closed day is looked for this far back

# The steps with which a sheet goes on from a stage.
LEAVING: dict[Stage, tuple[Step, ...]] = {
    Stage.INTAKE: (Step.LAY_TO_DRY, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED),
    Stage.DRYING: (Step.PASS_AS_DRY,),
    Stage.READY: (Step.MOUNT, Step.GOES_UNMOUNTED),
    Stage.MOUNTED: (Step.PUT_UNDER_WEIGHT,),
    Stage.UNDER_PRESS: (Step.TAKE_OUT,),
    Stage.DRY: (Step.FILE,),
}
# Those with which it goes back to an earlier one.
GOING_BACK: dict[Stage, tuple[Step, ...]] = {
    Stage.UNDER_PRESS: (Step.FOUND_OUT,),
    Stage.DRY: (Step.RE_GLUE, Step.BACK_TO_TABLE),
}
COMING: dict[Stage, tuple[Step, ...]] = {
    Stage.INTAKE: (Step.TAKE_IN, Step.COME_AGAIN),
    Stage.DRYING: (Step.LAY_TO_DRY,),
    Stage.READY: (Step.PASS_AS_DRY, Step.ARRIVE_DRY, Step.BACK_TO_TABLE),
    Stage.MOUNTED: (Step.MOUNT, Step.RE_GLUE, Step.FOUND_OUT),
    Stage.UNDER_PRESS: (Step.PUT_UNDER_WEIGHT,),
    Stage.DRY: (Step.TAKE_OUT, Step.GOES_UNMOUNTED, Step.ARRIVE_MOUNTED, Step.BRING_BACK),
}
_FIRST = select(ENTRY.c.recorded_at).where(ENTRY.c.id == select(func.min(ENTRY.c.id)).scalar_subquery())
_WITHIN = (TALLY.c.day >= bindparam("since"), TALLY.c.day < bindparam("today"))
_MOVED = (
    select(TALLY.c.day, TALLY.c.step, func.sum(TALLY.c.credit_60)).where(*_WITHIN).group_by(TALLY.c.day, TALLY.c.step)
)
_MOVED_BY = (
    select(TALLY.c.day, TALLY.c.step, func.sum(TALLY.c.credit_60))
    .where(*_WITHIN, TALLY.c.worker_id == bindparam("worker"))
    .group_by(TALLY.c.day, TALLY.c.step)
)
_WORKERS = select(TALLY.c.worker_id).where(*_WITHIN, TALLY.c.credit_60 > 0).distinct()
_BY_WORKER = (
    select(func.sum(TALLY.c.credit_60))
    .where(*_WITHIN, TALLY.c.step.in_(bindparam("steps", expanding=True)))
    .group_by(TALLY.c.day, TALLY.c.worker_id)
    .having(func.sum(TALLY.c.credit_60) > 0)
)


@dataclass(frozen=True, slots=True)
class Pace:
    """The room's last open days before today, oldest first, and the sixtieths of a sheet of each step on each of them.

    What was done on a closed day is added to the next open day, so it is not seen before that day is over.
    """

    days: tuple[date, ...]
    moved: Mapping[str, tuple[int, ...]]

    def of(self, steps: Iterable[Step]) -> tuple[int, ...]:
        """How many sheets these steps were taken with on each day."""
        return whole_sheets(self.sixtieths(steps))

    def sixtieths(self, steps: Iterable[Step]) -> tuple[int, ...]:
        """The same in sixtieths of a sheet, which shares of several workers are counted in."""
        sums = zip(*(self.moved.get(step.value, (0,) * len(self.days)) for step in steps), strict=True)
        return tuple(sum(each) for each in sums)


def pace(session: Session, judged: Judge) -> Pace:
    """The open days of the last weeks (house rule forecast_weeks), but none before the room's first entry."""
    today = local_day(judged.now, judged.calendar.zone)
    days = _days(session, judged, today)
    return _pace(judged, days, session.execute(_MOVED, _within(days, today)))


def pace_of_worker(session: Session, judged: Judge, found: Pace, worker_id: int) -> Pace:
    """One worker's part in what was done on the same days."""
    within = _within(found.days, local_day(judged.now, judged.calendar.zone))
    return _pace(judged, found.days, session.execute(_MOVED_BY, within | {"worker": worker_id}))


def workers_within(session: Session, judged: Judge, found: Pace) -> frozenset[int]:
    """Who did anything on those days."""
    within = _within(found.days, local_day(judged.now, judged.calendar.zone))
    return frozenset(session.execute(_WORKERS, within).scalars())


def worker_days(session: Session, judged: Judge, found: Pace, stage: Stage) -> Days:
    """What single workers did at a stage on a day, over the same days; their share of what they did with others."""
    if not found.days:
        return Days(())
    today = local_day(judged.now, judged.calendar.zone)
    asked = {"since": found.days[0], "today": today, "steps": [step.value for step in LEAVING[stage]]}
    return Days.of(_sheets(sixtieths) for sixtieths in session.execute(_BY_WORKER, asked).scalars())


def _within(days: tuple[date, ...], today: date) -> dict[str, Any]:
    return {"since": min(days, default=today) - LONGEST_CLOSED, "today": today}


def _pace(judged: Judge, days: tuple[date, ...], rows: Iterable[Any]) -> Pace:
    moved: dict[str, list[int]] = {}
    for day, step, sixtieths in rows:
        place = _place(judged.calendar, days, day)
        if place is not None:
            moved.setdefault(step, [0] * len(days))[place] += sixtieths
    return Pace(days, {step: tuple(sixtieths) for step, sixtieths in moved.items()})


def _days(session: Session, judged: Judge, today: date) -> tuple[date, ...]:
    first = session.execute(_FIRST).scalar()
    if first is None:
        return ()
    since = max(today - judged.house.forecast_weeks * WEEK, local_day(first, judged.calendar.zone))
    every = (since + number * DAY for number in range((today - since).days))
    return tuple(day for day in every if judged.calendar.is_open(day))


def _place(calendar: Calendar, days: tuple[date, ...], day: date) -> int | None:
    """Which of the open days work done on this day belongs to; None where it lies before or after them all."""
    if not days:
        return None
    place = calendar.open_before(day.toordinal()) - calendar.open_before(days[0].toordinal())
    return place if 0 <= place < len(days) else None


def whole_sheets(sixtieths: Iterable[int]) -> tuple[int, ...]:
    """Sixtieths of a sheet as whole sheets, rounded; never below 0."""
    return tuple(map(_sheets, sixtieths))


def _sheets(sixtieths: int) -> int:
    return max((sixtieths + SIXTIETHS // 2) // SIXTIETHS, 0)
