"""What is said under each stage of the board: how many may go on, how many are told apart, and what is late."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from app.domain.language import mark, say, say_n
from app.domain.limits import TO_FILE, TO_FREEZE, TO_INSPECT, TO_MEND, waits_for
from app.domain.stages import Stage
from app.queries.filed import FiledCounts
from app.queries.press import LayerView, StackView
from app.queries.stalled import Waiting
from app.queries.waiting import IN_FREEZER

HELD, OUT = mark("held"), mark("out")


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
        return (StageLine(say("nothing waits")),)
    return (
        StageLine(_kinds(fresh, dry, counted.oldest_age)),
        *_apart(counted),
        *_over(counted, say("limit {limit}", limit=counted.limit)),
    )


def _kinds(fresh: int, dry: int, oldest: str) -> str:
    if fresh and dry:
        return say("{fresh:,} fresh, {dry:,} dry, oldest {age}", fresh=fresh, dry=dry, age=oldest)
    return say("all fresh, oldest {age}", age=oldest) if fresh else say("all dry, oldest {age}", age=oldest)


def _drying(counted: Counted) -> tuple[StageLine, ...]:
    if not counted.mine:
        return (StageLine(say("nothing is drying")),)
    feel = (StageLine(say("{count:,} may be checked today", count=counted.to_feel)),) if counted.to_feel else ()
    late = (StageLine(say("{count:,} want new papers", count=counted.stalled), True),) if counted.stalled else ()
    return (StageLine(say("oldest {age}", age=counted.oldest_age)), *feel, *_apart(counted), *late)


def _ready(counted: Counted) -> tuple[StageLine, ...]:
    tables = counted.sum_of("on_tables")
    up = say("{count:,} may be taken up", count=counted.may_be_taken_up)
    on_tables = [say_n("{n:,} on a table", "{n:,} on tables", tables)] if tables else []
    more = [*on_tables, *_some((counted.sum_of("to_freeze"), TO_FREEZE))]
    words = ", ".join([up, *more, *_apart_words(counted)])
    return (StageLine(words), *_over(counted))


def _mounted(counted: Counted) -> tuple[StageLine, ...]:
    limit = counted.limit.replace(say("1 hour"), say("an hour"))
    late = say("{count:,} over {limit}", count=counted.stalled, limit=limit)
    late_line = (StageLine(late, True),) if counted.stalled else ()
    return (*late_line, StageLine(say("not yet under weight")), *_apart(counted))


def _under_press(counted: Counted) -> tuple[StageLine, ...]:
    stacks = sum(bool(stack.layers) for stack in counted.stacks)
    forgotten = (
        (StageLine(say("{count:,} ready and forgotten", count=counted.stalled), True),) if counted.stalled else ()
    )
    return (
        StageLine(say_n("{n} stack", "{n} stacks", stacks)),
        StageLine(say("{count:,} may come out now", count=counted.ready)),
        *_apart(counted),
        *forgotten,
    )


def _dry(counted: Counted) -> tuple[StageLine, ...]:
    waiting = dry_counts(counted.mine)
    parts = _some(*((waiting.get(what, 0), what) for what in (TO_INSPECT, TO_MEND, TO_FREEZE, TO_FILE)))
    return (StageLine(", ".join([*parts, *_apart_words(counted)]) or say("nothing waits")), *_over(counted))


def _filed(counted: Counted) -> tuple[StageLine, ...]:
    return (StageLine(say("this week")), StageLine(say("{count:,} in all", count=counted.filed.in_all)))


def _apart(counted: Counted) -> tuple[StageLine, ...]:
    words = ", ".join(_apart_words(counted))
    return (StageLine(words),) if words else ()


def _apart_words(counted: Counted) -> list[str]:
    return _some((counted.held, HELD), (counted.sum_of("out"), OUT), (counted.sum_of("in_freezer"), IN_FREEZER))


def _some(*counts: tuple[int, str]) -> list[str]:
    return [say("{count:,} {what}", count=count, what=what) for count, what in counts if count]


def _over(counted: Counted, otherwise: str = "") -> tuple[StageLine, ...]:
    if counted.stalled:
        return (StageLine(say("{count:,} stalled", count=counted.stalled), True),)
    return (StageLine(otherwise),) if otherwise else ()


LINES: dict[Stage, Callable[[Counted], tuple[StageLine, ...]]] = {
    Stage.INTAKE: _intake, Stage.DRYING: _drying, Stage.READY: _ready, Stage.MOUNTED: _mounted,
    Stage.UNDER_PRESS: _under_press, Stage.DRY: _dry, Stage.FILED: _filed,
}  # fmt: skip
