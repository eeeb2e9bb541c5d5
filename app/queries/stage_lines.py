"""What is said under each stage of the board: how many may go on, how many are told apart, and what is late."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from app.domain.limits import TO_FILE, TO_FREEZE, TO_INSPECT, TO_MEND, waits_for
from app.domain.stages import Stage
from app.queries.filed import FiledCounts
from app.queries.press import LayerView, StackView
from app.queries.stalled import Waiting
from app.queries.waiting import IN_FREEZER


@dataclass(frozen=True, slots=True)
class StageLine:
    """One line under a stage's figure."""

    words: str
    is_bad: bool = False


@dataclass(frozen=True, slots=True)
class Counted:
    """What the lines under a stage are made of."""

    mine: Sequence[Waiting]
    stacks: Sequence[StackView]
    layers: Sequence[LayerView]
    filed: FiledCounts
    to_feel: int
    oldest_age: str
    limit: str

    def of(self, **facts: Any) -> int:
        """How many sheets of the kind with these facts are here."""
        return sum(each.count for each in self.mine if dict(each.kind.facts) == facts)

    def sum_of(self, name: str) -> int:
        """How many there are in all of something that is counted of each kind: "held", "out", "free"."""
        return sum(getattr(each, name) for each in self.mine)

    @property
    def held(self) -> int:
        """How many are held, or cannot be found in their stack."""
        return self.sum_of("held") + sum(layer.away for layer in self.layers)

    @property
    def may_be_taken_up(self) -> int:
        """How many of those ready for mounting may be taken up as they are."""
        return self.sum_of("free") - self.sum_of("on_tables") - self.sum_of("to_freeze")

    @property
    def stalled(self) -> int:
        """How many waited too long."""
        return sum(each.stalled for each in self.mine) + sum(layer.forgotten for layer in self.layers)

    @property
    def ready(self) -> int:
        """How many may come out of the press."""
        return sum(layer.state == "ready" and not layer.away for layer in self.layers)


def dry_counts(mine: Sequence[Waiting]) -> dict[str, int]:
    """How many dry sheets that may go on wait for what, by the words for it."""
    found: dict[str, int] = {}
    for each in mine:
        what = waits_for(each.kind.facts.get("outcome"), to_freeze=each.kind.facts.get("to_freeze", False))
        found[what] = found.get(what, 0) + each.free
    return found


def _intake(counted: Counted) -> tuple[StageLine, ...]:
    fresh, dry = counted.of(fresh=True), counted.of()
    if not fresh + dry:
        return (StageLine("nothing waits"),)
    kinds = f"{fresh:,} fresh, {dry:,} dry" if fresh and dry else "all fresh" if fresh else "all dry"
    return (
        StageLine(f"{kinds}, oldest {counted.oldest_age}"),
        *_apart(counted),
        *_over(counted, f"limit {counted.limit}"),
    )


def _drying(counted: Counted) -> tuple[StageLine, ...]:
    if not counted.mine:
        return (StageLine("nothing is drying"),)
    feel = (StageLine(f"{counted.to_feel:,} may be checked today"),) if counted.to_feel else ()
    late = (StageLine(f"{counted.stalled:,} want new papers", True),) if counted.stalled else ()
    return (StageLine(f"oldest {counted.oldest_age}"), *feel, *_apart(counted), *late)


def _ready(counted: Counted) -> tuple[StageLine, ...]:
    tables = counted.sum_of("on_tables")
    more = _some((tables, "on a table" if tables == 1 else "on tables"), (counted.sum_of("to_freeze"), TO_FREEZE))
    words = ", ".join([f"{counted.may_be_taken_up:,} may be taken up", *more, *_apart_words(counted)])
    return (StageLine(words), *_over(counted))


def _mounted(counted: Counted) -> tuple[StageLine, ...]:
    late = f"{counted.stalled:,} over {counted.limit.replace('1 hour', 'an hour')}"
    late_line = (StageLine(late, True),) if counted.stalled else ()
    return (*late_line, StageLine("not yet under weight"), *_apart(counted))


def _under_press(counted: Counted) -> tuple[StageLine, ...]:
    stacks = sum(bool(stack.layers) for stack in counted.stacks)
    forgotten = (StageLine(f"{counted.stalled:,} ready and forgotten", True),) if counted.stalled else ()
    return (
        StageLine("1 stack" if stacks == 1 else f"{stacks} stacks"),
        StageLine(f"{counted.ready:,} may come out now"),
        *_apart(counted),
        *forgotten,
    )


def _dry(counted: Counted) -> tuple[StageLine, ...]:
    waiting = dry_counts(counted.mine)
    parts = _some(*((waiting.get(what, 0), what) for what in (TO_INSPECT, TO_MEND, TO_FREEZE, TO_FILE)))
    return (StageLine(", ".join([*parts, *_apart_words(counted)]) or "nothing waits"), *_over(counted))


def _filed(counted: Counted) -> tuple[StageLine, ...]:
    return (StageLine("this week"), StageLine(f"{counted.filed.in_all:,} in all"))


def _apart(counted: Counted) -> tuple[StageLine, ...]:
    words = ", ".join(_apart_words(counted))
    return (StageLine(words),) if words else ()


def _apart_words(counted: Counted) -> list[str]:
    return _some((counted.held, "held"), (counted.sum_of("out"), "out"), (counted.sum_of("in_freezer"), IN_FREEZER))


def _some(*counts: tuple[int, str]) -> list[str]:
    return [f"{count:,} {what}" for count, what in counts if count]


def _over(counted: Counted, otherwise: str = "") -> tuple[StageLine, ...]:
    if counted.stalled:
        return (StageLine(f"{counted.stalled:,} stalled", True),)
    return (StageLine(otherwise),) if otherwise else ()


LINES: dict[Stage, Callable[[Counted], tuple[StageLine, ...]]] = {
    Stage.INTAKE: _intake, Stage.DRYING: _drying, Stage.READY: _ready, Stage.MOUNTED: _mounted,
    Stage.UNDER_PRESS: _under_press, Stage.DRY: _dry, Stage.FILED: _filed,
}  # fmt: skip
