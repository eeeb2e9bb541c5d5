"""Whether a sheet has waited too long, judged by the house rules and the calendar of one moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.domain.attempt import PressClock
from app.domain.calendar import Calendar
from app.domain.holds import stopping
from app.domain.house import House
from app.domain.limits import limit_of, waits_for, waits_since
from app.domain.stages import Stage, Step
from app.domain.stalls import Limit, is_stalled, stalls_at
from app.queries.house import calendar_now, house_now


@dataclass(frozen=True, slots=True)
class Wait:
    """How long one sheet has waited, against what; `since` is None where its wait has not begun."""

    limit: Limit | None
    since: datetime | None
    held: bool
    stalled: bool
    stalls_at: datetime | None


@dataclass(frozen=True, slots=True)
class Judge:
    """The house rules, the room's calendar and the moment by which waits are judged."""

    house: House
    calendar: Calendar
    now: datetime

    def wait_of(self, row: Any, clock: PressClock | None) -> Wait:
        """How long the sheet of this row has waited; held sheets are counted apart and never stalled by their stage."""
        if row.stage is None or not row.in_queue:
            return NO_WAIT
        stage, holds = Stage(row.stage), frozenset(row.holds.split())
        limit = limit_of(stage, self.house, fresh=row.fresh, method=row.method, outcome=row.outcome,
                         cabinet_days=row.limit_open_days)  # fmt: skip
        since = waits_since(stage, row.came_at, papers_at=row.papers_at, inspected_at=row.inspected_at,
                            ready_at=ready_since(clock, self.now))  # fmt: skip
        held = is_held(stage, holds, fresh=row.fresh, outcome=row.outcome)
        if limit is None or since is None or held:
            return Wait(limit, since, held, False, None)
        too_long = is_stalled(limit, since, self.now, self.calendar)
        return Wait(limit, since, held, too_long, stalls_at(limit, since, self.calendar))


NO_WAIT = Wait(None, None, False, False, None)


def judge(session: Session, now: datetime, zone: ZoneInfo) -> Judge:
    """The judge of this moment."""
    house = house_now(session)
    return Judge(house, calendar_now(session, house, zone), now)


def is_held(stage: Stage, holds: frozenset[str], *, fresh: bool = False, outcome: str | None = None) -> bool:
    """Whether a hold stops what comes next for a sheet; nothing stops what is damp or glued from going on."""
    step = next_step(stage, fresh, outcome)
    return step is not None and bool(stopping(holds, step))


def next_step(stage: Stage, fresh: bool, outcome: str | None) -> Step | None:
    """The step that a hold could stop for a sheet that stands here; None where nothing may be stopped."""
    if stage is Stage.INTAKE:
        return None if fresh else Step.ARRIVE_DRY
    if stage is Stage.DRY:
        # What is to be mended is not held up by the hold that says so.
        return _DRY_STEPS.get(waits_for(outcome))
    return Step.TAKE_UP if stage is Stage.READY else None


def ready_since(clock: PressClock | None, now: datetime) -> datetime | None:
    """Since when a sheet under press has had its minimum; None while it has not."""
    return clock.ready_at if clock is not None and not clock.remaining else None


_DRY_STEPS = {"to inspect": Step.INSPECT, "to file": Step.FILE}
