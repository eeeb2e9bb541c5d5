"""How long a sheet may wait at each stage by the house rules; one limit for one sheet and for the query of many."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from fractions import Fraction

from app.domain.calendar import Calendar, minus_open_days
from app.domain.drying import papers_days
from app.domain.house import House
from app.domain.language import mark, say_n
from app.domain.stages import Stage
from app.domain.stalls import Limit, cutoff
from app.domain.words import days_said

TO_INSPECT, TO_MEND, TO_FREEZE, TO_FILE = mark("to inspect"), mark("to mend"), mark("to freeze"), mark("to file")
_WAITS_FOR = {"passed": TO_FILE, "to-be-mended": TO_MEND}
# Where a cabinet's own limit holds: what spoils does not wait for it.
ON_SHELVES = frozenset({Stage.INTAKE, Stage.READY, Stage.DRY})


def limit_of(stage: Stage, house: House, *, fresh: bool = False, method: str | None = None, outcome: str | None = None,
             to_freeze: bool = False, cabinet_days: int | None = None) -> Limit | None:  # fmt: skip
    """How long a sheet may wait at this stage; None when it waits for nothing more.

    It counts from the moment of `waits_since`. `cabinet_days` is the limit in open days of the cabinet that it lies in;
    it wins over the stage's, but never for fresh plants, drying or wet glue. Papers are due by the clock.
    """
    if stage is Stage.INTAKE and fresh:
        return Limit(hours=house.limit_intake_fresh_h)
    if cabinet_days is not None and stage in ON_SHELVES:
        return Limit(open_days=cabinet_days)
    if stage is Stage.DRYING:
        return Limit(hours=24 * papers_days(method, house))
    if stage is Stage.DRY:
        return Limit(open_days=_DRY[waits_for(outcome, to_freeze=to_freeze)](house))
    own = _OWN.get(stage)
    return own(house) if own else None


def waits_for(outcome: str | None, *, to_freeze: bool = False) -> str:
    """What a dry sheet waits for, by how its last inspection ended: "to inspect", "to mend" or "to file"; but "to freeze"
    once it is passed and must go through the freezer first.
    """
    found = _WAITS_FOR.get(outcome or "", TO_INSPECT)
    return TO_FREEZE if to_freeze and found == TO_FILE else found


def treatment_holds(treated_until: datetime | None, now: datetime) -> bool:
    """Whether a sheet was through the freezer, and still counts as treated."""
    return treated_until is not None and treated_until > now


def must_freeze(stage: Stage, house: House, outcome: str | None, treated_until: datetime | None, now: datetime) -> bool:
    """Whether a sheet has to go through the freezer before the step that comes next: before it is filed once it is passed,
    before it is mounted once it is ready, each where the house asks for it.
    """
    asked = house.treat_before_mounting if stage is Stage.READY else False
    if stage is Stage.DRY and waits_for(outcome) == TO_FILE:
        asked = house.treat_before_filing
    return asked and not treatment_holds(treated_until, now)


def waits_since(stage: Stage, came_at: datetime, *, papers_at: datetime | None = None, inspected_at: datetime | None = None,
                ready_at: datetime | None = None) -> datetime | None:  # fmt: skip
    """From when a sheet's wait counts: from coming into the stage, but from the last papers while it dries, from its
    last inspection once it is dry, and under press from when it was ready (None while it is not).
    """
    if stage is Stage.UNDER_PRESS:
        return ready_at
    if stage is Stage.DRYING:
        return papers_at or came_at
    # An inspection before it came to be dry this time judged an earlier gluing.
    return inspected_at if stage is Stage.DRY and inspected_at is not None and inspected_at > came_at else came_at


def thirds(limit: Limit, now: datetime, calendar: Calendar) -> tuple[datetime, datetime, datetime]:
    """The moments such that what waits since before them has used a third, two thirds, and all of its limit."""
    return _part(limit, 1, now, calendar), _part(limit, 2, now, calendar), cutoff(limit, now, calendar)


def limit_words(limit: Limit | None) -> str:
    """A limit as it is said: "60 open days", "1 hour"; empty for none."""
    if limit is None:
        return ""
    if limit.hours is None:
        return say_n("{n} open day", "{n} open days", limit.open_days or 0)
    if limit.hours % 24 == 0 and limit.hours > 24:
        return days_said(limit.hours // 24)
    return say_n("{n} hour", "{n} hours", limit.hours)


def _part(limit: Limit, third: int, now: datetime, calendar: Calendar) -> datetime:
    if limit.hours is not None:
        return now - timedelta(hours=limit.hours) * third / 3
    return minus_open_days(calendar, now, Fraction((limit.open_days or 0) * third, 3))


_OWN: dict[Stage, Callable[[House], Limit]] = {
    Stage.INTAKE: lambda house: Limit(open_days=house.limit_intake_dry_days),
    Stage.READY: lambda house: Limit(open_days=house.limit_ready_days),
    Stage.MOUNTED: lambda house: Limit(hours=house.limit_mounted_h),
    Stage.UNDER_PRESS: lambda house: Limit(open_days=house.limit_press_ready_days),
}
_DRY: dict[str, Callable[[House], int]] = {
    TO_INSPECT: lambda house: house.limit_inspect_days,
    TO_MEND: lambda house: house.limit_mend_days,
    TO_FREEZE: lambda house: house.limit_freeze_days,
    TO_FILE: lambda house: house.limit_file_days,
}
