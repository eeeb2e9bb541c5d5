"""Whether a sheet has waited too long, judged by the house rules and the calendar of one moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.domain.attempt import PressClock
from app.domain.calendar import Calendar
from app.domain.holds import keeping
from app.domain.house import House
from app.domain.language import mark
from app.domain.limits import TO_FILE, TO_FREEZE, TO_INSPECT, limit_of, must_freeze, waits_for, waits_since
from app.domain.stages import Stage, Step
from app.domain.stalls import Limit, is_stalled, stalls_at
from app.queries.house import calendar_now, house_now
from app.queries.in_freezer import bundles_in_freezer


@dataclass(frozen=True, slots=True)
class Wait:
    """How long one sheet has waited, against what; `since` is None where its wait has not begun. `held`: it is counted
    apart, because a hold stops what comes next, it is not here, or it lies in the freezer.
    """

    limit: Limit | None
    since: datetime | None
    held: bool
    stalled: bool
    stalls_at: datetime | None


@dataclass(frozen=True, slots=True)
class Judge:
    """The house rules, the room's calendar and the moment by which waits are judged; and the bundles in the freezer."""

    house: House
    calendar: Calendar
    now: datetime
    frozen: frozenset[int] = frozenset()

    def wait_of(self, row: Any, clock: PressClock | None) -> Wait:
        """How long the sheet of this row has waited; held sheets are counted apart and never stalled by their stage."""
        if row.stage is None or not row.in_queue:
            return NO_WAIT
        stage, holds, to_freeze = Stage(row.stage), frozenset(row.holds.split()), self.must_freeze(row)
        limit = limit_of(stage, self.house, fresh=row.fresh, method=row.method, outcome=row.outcome, to_freeze=to_freeze,
                         cabinet_days=row.limit_open_days)  # fmt: skip
        since = waits_since(stage, row.came_at, papers_at=row.papers_at, inspected_at=row.inspected_at,
                            ready_at=ready_since(clock))  # fmt: skip
        held = self.in_freezer(row) or is_held(stage, holds, fresh=row.fresh, outcome=row.outcome, to_freeze=to_freeze)
        if limit is None or since is None or held:
            return Wait(limit, since, held, False, None)
        too_long = is_stalled(limit, since, self.now, self.calendar)
        return Wait(limit, since, held, too_long, stalls_at(limit, since, self.calendar))

    def waits_for(self, row: Any) -> str:
        """What the sheet of this row waits for, where its stage alone does not say: once it is dry, and for the freezer."""
        if row.stage not in (Stage.READY, Stage.DRY) or not row.in_queue:
            return ""
        if self.in_freezer(row):
            return IN_FREEZER
        to_freeze = self.must_freeze(row)
        return waits_for(row.outcome, to_freeze=to_freeze) if row.stage == Stage.DRY else TO_FREEZE if to_freeze else ""

    def must_freeze(self, row: Any) -> bool:
        """Whether the sheet of this row has to go through the freezer before what comes next."""
        return must_freeze(Stage(row.stage), self.house, row.outcome, row.treated_until, self.now)

    def in_freezer(self, row: Any) -> bool:
        """Whether the sheet of this row lies in the freezer, or in its bag that was not opened yet."""
        return row.bundle_id in self.frozen


NO_WAIT = Wait(None, None, False, False, None)


def judge(session: Session, now: datetime, zone: ZoneInfo) -> Judge:
    """The judge of this moment."""
    house = house_now(session)
    return Judge(house, calendar_now(session, house, zone), now, bundles_in_freezer(session))


def is_held(stage: Stage, holds: frozenset[str], *, fresh: bool = False, outcome: str | None = None,
            to_freeze: bool = False) -> bool:  # fmt: skip
    """Whether a sheet is not here, or a hold stops what comes next; no hold stops what is damp or glued from going on."""
    return not holds.isdisjoint(keeping(next_step(stage, fresh, outcome, to_freeze=to_freeze)))


def next_step(stage: Stage, fresh: bool, outcome: str | None, *, to_freeze: bool = False) -> Step | None:
    """The step that a hold could stop for a sheet that stands here; None where nothing may be stopped."""
    if stage is Stage.INTAKE:
        return None if fresh else Step.ARRIVE_DRY
    if stage is Stage.DRY:
        # What is to be mended is not held up by the hold that says so.
        return _DRY_STEPS.get(waits_for(outcome, to_freeze=to_freeze))
    return Step.TAKE_UP if stage is Stage.READY else None


def ready_since(clock: PressClock | None) -> datetime | None:
    """Since when a sheet under press has had its minimum; None while it has not."""
    return clock.ready_at if clock is not None and not clock.remaining else None


IN_FREEZER = mark("in the freezer")
_DRY_STEPS = {TO_INSPECT: Step.INSPECT, TO_FILE: Step.FILE}
