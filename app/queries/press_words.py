"""What a stack says about itself: how many may come out, and under how many that must stay."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from app.domain.words import duration

NUMBERS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


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
        return "Nothing lies in it."
    first = _may_come_out(told)
    if told.weights_on:
        # Where all have had their time, no clock is left that would be missed.
        stops = 0 < told.ready < len(told.layers)
        return f"{first} Lifting the weights stops the clock of {_all(len(told.layers))}." if stops else first
    off = f"The weights are off since {told.since}: " if told.since else "The weights are off: "
    stands = "its clock is" if len(told.layers) == 1 else f"the clock of {_all(len(told.layers))} is"
    return f"{first} {off}{stands} not running."


def short_words(told: Told) -> str:
    """The stack in a few words, as they stand under its picture."""
    if not told.layers:
        return "Empty"
    if not told.weights_on:
        return f"Weights are off since {told.since}" if told.since else "Weights are not on yet"
    if told.ready == len(told.layers):
        return "All may come out"
    last = max((layer.ready_at for layer in told.layers if layer.ready_at is not None), default=None)
    until = f"last {told.tell(last)}" if last is not None else ""
    return f"{told.ready} now, {until}" if told.ready else until


def staying_above(layers: Sequence[InLayer]) -> list[InLayer]:
    """The sheets that must stay and lie above the lowest that may come out."""
    lowest = next((place for place, layer in enumerate(layers) if layer.state == "ready"), len(layers))
    return [layer for layer in layers[lowest:] if layer.state != "ready"]


def whole_minutes(lain: timedelta) -> str:
    """A time that was lain under weight, never said too long: in full minutes."""
    return duration(int(lain.total_seconds()) // 60 * 60)


def _may_come_out(told: Told) -> str:
    count, ready = len(told.layers), told.ready
    if ready == count:
        return f"{_all(count).capitalize()} may come out." if count > 1 else "It may come out."
    if not ready:
        return _none_yet(told)
    above = staying_above(told.layers)
    if not above:
        return f"{_number(ready).capitalize()} may come out; {_then(told)}."
    stay = "one that must stay" if len(above) == 1 else f"{_number(len(above))} that must stay"
    return f"{_number(ready).capitalize()} may come out, under {stay}{_until(told, above)}."


def _none_yet(told: Told) -> str:
    moments = sorted(layer.ready_at for layer in told.layers if layer.ready_at is not None)
    whose = "It may not" if len(told.layers) == 1 else "None may"
    if not moments:
        return f"{whose} come out yet."
    first, last = told.tell(moments[0]), told.tell(moments[-1])
    when = first if first == last else f"{first}, the last {last}"
    return f"{whose} come out before {when}." if len(told.layers) == 1 or first == last else (
        f"{whose} come out yet; the first {when}.")  # fmt: skip


def _then(told: Told) -> str:
    rest = [layer for layer in told.layers if layer.state != "ready"]
    moments = [layer.ready_at for layer in rest if layer.ready_at is not None]
    if not moments:
        return "the other must wait" if len(rest) == 1 else f"the other {_number(len(rest))} must wait"
    return f"the last {told.tell(max(moments))}"


def _until(told: Told, above: Sequence[InLayer]) -> str:
    moments = [layer.ready_at for layer in above if layer.ready_at is not None]
    return f" until {told.tell(max(moments))}" if moments else ""


def _all(count: int) -> str:
    return "it" if count == 1 else "both" if count == 2 else f"all {_number(count)}"


def _number(count: int) -> str:
    return NUMBERS[count] if count < len(NUMBERS) else str(count)
