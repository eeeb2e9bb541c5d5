"""What a stack says about itself: how many may come out, and under how many that must stay."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from app.domain.language import mark, say, say_n
from app.domain.words import duration

NUMBERS = (
    mark("none"), mark("one"), mark("two"), mark("three"), mark("four"), mark("five"), mark("six"), mark("seven"),
    mark("eight"), mark("nine"), mark("ten"), mark("eleven"), mark("twelve"),
)  # fmt: skip


class InLayer(Protocol):
    """What is told of a sheet in a stack: its state (ready, not-yet, waiting), and when it may come out."""

    @property
    def state(self) -> str: ...

    @property
    def ready_at(self) -> datetime | None: ...


@dataclass(frozen=True, slots=True)
class Told:
    """What is told of a stack: its weights, since when, its layers from the bottom, and how a moment is said."""

    weights_on: bool
    since: str
    layers: Sequence[InLayer]
    tell: Callable[[datetime], str]

    @property
    def ready(self) -> int:
        """How many may come out now."""
        return sum(layer.state == "ready" for layer in self.layers)


def words(told: Told) -> str:
    """The stack in one or two sentences: what may come out now, and what lifting the weights would stop."""
    if not told.layers:
        return say("Nothing lies in it.")
    first = _may_come_out(told)
    if told.weights_on:
        # Where all have had their time, no clock is left that would be missed.
        stops = 0 < told.ready < len(told.layers)
        return f"{first} {_stopped(len(told.layers))}" if stops else first
    clocks, since = _not_running(len(told.layers)), told.since
    off = say("The weights are off since {since}: {clocks}", since=since, clocks=clocks) if since else (
        say("The weights are off: {clocks}", clocks=clocks))  # fmt: skip
    return f"{first} {off}"


def short_words(told: Told) -> str:
    """The stack in a few words, as they stand under its picture."""
    if not told.layers:
        return say("Empty")
    if not told.weights_on:
        return say("Weights are off since {since}", since=told.since) if told.since else say("Weights are not on yet")
    if told.ready == len(told.layers):
        return say("All may come out")
    last = max((layer.ready_at for layer in told.layers if layer.ready_at is not None), default=None)
    until = say("last {moment}", moment=told.tell(last)) if last is not None else ""
    return say("{count} now, {until}", count=told.ready, until=until) if told.ready else until


def _staying_above(layers: Sequence[InLayer]) -> list[InLayer]:
    """The sheets that must stay and lie above the lowest that may come out."""
    lowest = next((place for place, layer in enumerate(layers) if layer.state == "ready"), len(layers))
    return [layer for layer in layers[lowest:] if layer.state != "ready"]


def whole_minutes(lain: timedelta) -> str:
    """A time that was lain under weight, never said too long: in full minutes."""
    return duration(int(lain.total_seconds()) // 60 * 60)


def _may_come_out(told: Told) -> str:
    count, ready = len(told.layers), told.ready
    if ready == count:
        return _all_may(count)
    if not ready:
        return _none_yet(told)
    above = _staying_above(told.layers)
    if not above:
        return say_n("{number} may come out; {rest}.", "{number} may come out; {rest}.", ready,
                     number=_number(ready).capitalize(), rest=_then(told))  # fmt: skip
    stay = say_n("one that must stay", "{number} that must stay", len(above), number=_number(len(above)))
    return say_n("{number} may come out, under {those}{until}.", "{number} may come out, under {those}{until}.", ready,
                 number=_number(ready).capitalize(), those=stay, until=_until(told, above))  # fmt: skip


def _none_yet(told: Told) -> str:
    moments = sorted(layer.ready_at for layer in told.layers if layer.ready_at is not None)
    alone = len(told.layers) == 1
    if not moments:
        return say("It may not come out yet.") if alone else say("None may come out yet.")
    first, last = told.tell(moments[0]), told.tell(moments[-1])
    if alone:
        return say("It may not come out before {moment}.", moment=first)
    if first == last:
        return say("None may come out before {moment}.", moment=first)
    return say("None may come out yet; the first {first}, the last {last}.", first=first, last=last)


def _then(told: Told) -> str:
    rest = [layer for layer in told.layers if layer.state != "ready"]
    moments = [layer.ready_at for layer in rest if layer.ready_at is not None]
    if not moments:
        return say_n("the other must wait", "the other {number} must wait", len(rest), number=_number(len(rest)))
    return say("the last {moment}", moment=told.tell(max(moments)))


def _until(told: Told, above: Sequence[InLayer]) -> str:
    moments = [layer.ready_at for layer in above if layer.ready_at is not None]
    return say(" until {moment}", moment=told.tell(max(moments))) if moments else ""


def _all_may(count: int) -> str:
    if count <= 2:
        return say("Both may come out.") if count == 2 else say("It may come out.")
    return say("All {number} may come out.", number=_number(count))


def _stopped(count: int) -> str:
    if count == 2:
        return say("Lifting the weights stops the clock of both.")
    return say("Lifting the weights stops the clock of all {number}.", number=_number(count))


def _not_running(count: int) -> str:
    if count <= 2:
        return say("the clock of both is not running.") if count == 2 else say("its clock is not running.")
    return say("the clock of all {number} is not running.", number=_number(count))


def _number(count: int) -> str:
    return say(NUMBERS[count]) if count < len(NUMBERS) else str(count)
