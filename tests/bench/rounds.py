"""Rounds: everything that is compared runs in each of them, in shuffled order; what counts is the ratio within a round."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TypeVar

HELLO = "hello"
MOVED = 0.30
Round = Mapping[str, float]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the table: what was measured against what, the goal in words, and the ratio of each round."""

    what: str
    goal: str
    ratios: tuple[float, ...]
    is_met: Callable[[float], bool]
    note: str = ""

    @property
    def median(self) -> float:
        """The middle ratio."""
        return median(self.ratios)

    @property
    def verdict(self) -> str:
        """Whether the goal is reached."""
        return "ok" if self.is_met(self.median) else "MISSED"


def rounds_of(count: int, play: Callable[[], Round]) -> list[Round]:
    """Play rounds until `count` of them stand; one is thrown away when hello in it lies more than 30 % off the middle.

    When the machine is too noisy for that, what stands after three times as many is all there is.
    """
    if count > 1:
        # The first one only warms up.
        play()
    played: list[Round] = []
    while len(played) < 3 * count:
        played.append(play())
        if len(steady(played)) >= count:
            break
    return steady(played)


def steady(played: Sequence[Round]) -> list[Round]:
    """The rounds in which hello did not move."""
    if HELLO not in played[0]:
        return list(played)
    middle = median(each[HELLO] for each in played)
    return [each for each in played if abs(each[HELLO] - middle) <= MOVED * middle]


def ratios(played: Sequence[Round], over: str, *under: str) -> tuple[float, ...]:
    """One figure over the sum of others, round by round."""
    return tuple(each[over] / sum(each[name] for name in under) for each in played)


def shuffled(things: Sequence[T]) -> list[T]:
    """The same things in another order."""
    return random.sample(list(things), len(things))


def at_most(goal: float, stretch: float | None = None) -> tuple[str, Callable[[float], bool]]:
    """A goal that is reached from below."""
    return _words("≤", goal, stretch), lambda value: value <= goal


def at_least(goal: float, stretch: float | None = None) -> tuple[str, Callable[[float], bool]]:
    """A goal that is reached from above."""
    return _words("≥", goal, stretch), lambda value: value >= goal


def line(what: str, goal: tuple[str, Callable[[float], bool]], found: Sequence[float], note: str = "") -> Line:
    """One line of the table."""
    return Line(what, goal[0], tuple(found), goal[1], note)


def share(found: Sequence[float], at: float) -> float:
    """The value below which this share of the sorted values lies (0.99: the slowest in a hundred)."""
    ordered = sorted(found)
    return ordered[min(len(ordered) - 1, int(at * len(ordered)))]


def _words(sign: str, goal: float, stretch: float | None) -> str:
    return f"{sign} {goal:g}" + (f" ({stretch:g})" if stretch is not None else "")
