"""One attempt at one step, and every fact that the rules may ask for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from app.domain.calendar import Calendar
from app.domain.house import House
from app.domain.sheet import Standing
from app.domain.stages import Stage, Step


@dataclass(frozen=True, slots=True)
class StackFacts:
    """A stack as the rules see it: how many sheets lie in it, whether the weights are on, and how many it may hold."""

    stack_id: int
    name: str
    weights_on: bool
    sheets: int
    capacity: int


@dataclass(frozen=True, slots=True)
class ShelfFacts:
    """A cabinet, or one shelf of it, as the rules see it."""

    cabinet_id: int
    shelf_id: int | None
    name: str
    stage: Stage | None
    is_clean: bool
    sheets: int
    capacity: int | None


@dataclass(frozen=True, slots=True)
class LoadFacts:
    """A freezer load as the rules see it; `is_closed` once it was put into the freezer.

    `tied_id` is the tied bundle that goes in as it is, None for a sheet that goes in loose.
    """

    load_id: int
    name: str
    bundle_id: int
    is_closed: bool
    tied_id: int | None = None


@dataclass(frozen=True, slots=True)
class Unnamed:
    """Whom, and which station, the manager has not named for a suspected sheet: names; `station` is None where it is named."""

    workers: tuple[str, ...] = ()
    station: str | None = None


@dataclass(frozen=True, slots=True)
class SignedOff:
    """A step that a worker may do alone with sheets of one difficulty: since when, and until when if it has ended."""

    step: str
    difficulty: str
    since: datetime
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class WorkerFacts:
    """A worker as the rules see them: the rights they hold and the steps they are, or were, signed off for."""

    worker_id: int
    number: str
    name: str
    rights: frozenset[str]
    signed_off: tuple[SignedOff, ...] = ()

    def may_alone(self, step: Step, difficulty: str, at: datetime) -> bool:
        """Whether they were signed off, at that moment, for this step and sheets of this difficulty."""
        return any(
            each.step == step.value and each.difficulty == difficulty and each.since <= at
            and (each.until is None or at < each.until) for each in self.signed_off
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class PressClock:
    """A glued sheet's time under weight at the moment of the attempt; `ready_at` is None while the clock stands."""

    under_weight: timedelta
    minimum: timedelta
    ready_at: datetime | None

    @property
    def remaining(self) -> timedelta:
        """What is still missing; nothing once the minimum is reached."""
        return max(self.minimum - self.under_weight, timedelta(0))


@dataclass(frozen=True, slots=True)
class Attempt:
    """One step that somebody wants to take with one sheet.

    `where` says in words where the log has the sheet; `stack` is the stack to lay it in, `own_stack` the one it lies
    in; `other_table` names the table that has taken it up, if that is not this one. `difficulties` is what makes the sheet
    harder than others, and `might_help` who may be asked where nobody there is signed off for it. `unnamed` is whom the
    manager has not named, for a sheet suspected of old poisons.
    """

    sheet: Standing
    step: Step
    happened_at: datetime
    house: House
    calendar: Calendar
    by: tuple[WorkerFacts, ...] = ()
    beside: tuple[WorkerFacts, ...] = ()
    table_id: int | None = None
    other_table: str = ""
    where: str = ""
    stack: StackFacts | None = None
    own_stack: StackFacts | None = None
    shelf: ShelfFacts | None = None
    load: LoadFacts | None = None
    clock: PressClock | None = None
    facts: Mapping[str, object] = field(default_factory=dict)
    treated: bool = False
    specimen_complete: bool = True
    early: bool = False
    reason: str = ""
    clock_doubtful: bool = False
    difficulties: tuple[str, ...] = ("ordinary",)
    might_help: tuple[str, ...] = ()
    unnamed: Unnamed | None = None

    def has_right(self, *rights: str) -> bool:
        """Whether anybody who takes this step holds one of these rights."""
        return any(right in worker.rights for worker in self.by for right in rights)
