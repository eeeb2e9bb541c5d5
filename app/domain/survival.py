"""How long it takes when not all are done yet: the curve of those still there, by the product limit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import prod

MOST_POINTS = 60
# Below this distance two chances are told apart by whole numbers and not by rounded ones.
CLOSE = 1e-9


@dataclass(frozen=True, slots=True)
class Fall:
    """One fall of the curve: at `time_h` so many were still there (`at_risk`), `ended` of them ended there, and the
    share `survival` of all is there for longer.
    """

    time_h: int
    at_risk: int
    ended: int
    survival: float


@dataclass(frozen=True, slots=True)
class Curve:
    """The share of stays that last longer than a time, by Kaplan and Meier: 1 at the start, falling where stays ended.

    `ended` and `waiting` are how many stays it is made of, `last_h` the longest of them in hours (0 for none).
    """

    falls: tuple[Fall, ...]
    ended: int
    waiting: int
    last_h: int


def kaplan_meier(ended: Mapping[int, int], waiting: Mapping[int, int]) -> Curve:
    """The curve of how many stays ended, and how many sheets wait still, at each time in hours.

    A sheet that waits counts as there for as long as it has waited, and then leaves the count; at the same time those
    that ended go first (the usual convention for ties). The estimate is that of Kaplan and Meier, J. Amer. Statist.
    Assoc. 53 (1958) 457. ValueError for fewer than 0 of anything.
    """
    if any(number < 0 for number in (*ended, *ended.values(), *waiting, *waiting.values())):
        raise ValueError("Times and counts of stays are 0 or more.")
    times = sorted(
        {*(time for time, count in ended.items() if count), *(time for time, count in waiting.items() if count)}
    )
    at_risk, survival, falls = sum(ended.values()) + sum(waiting.values()), 1.0, []
    for time in times:
        gone = ended.get(time, 0)
        if gone:
            survival *= (at_risk - gone) / at_risk
            falls.append(Fall(time, at_risk, gone, survival))
        at_risk -= gone + waiting.get(time, 0)
    return Curve(tuple(falls), sum(ended.values()), sum(waiting.values()), times[-1] if times else 0)


def quantile(curve: Curve, share: float | Fraction) -> int | None:
    """The time in hours by which this share of stays has ended: the smallest t with S(t) ≤ 1 − share.

    None where the curve does not come down that far (the manual of SAS LIFETEST: it cannot be estimated then), and
    never the longest time seen. The share is taken as written (0.9 is 9/10). ValueError for one not above 0 and below 1.
    """
    exact = Fraction(str(share))
    if not 0 < exact < 1:
        raise ValueError(f"A share of {share} cannot be. Give one above 0 and below 1.")
    left = 1 - exact
    for number, fall in enumerate(curve.falls, 1):
        away = fall.survival - float(left)
        if away < -CLOSE or (away <= CLOSE and _is_down_to(curve.falls[:number], left)):
            return fall.time_h
    return None


def still_there(curve: Curve, hours: float) -> float:
    """The share of stays that last longer than these hours, S(t); 1 before the first that ended."""
    return next((fall.survival for fall in reversed(curve.falls) if fall.time_h <= hours), 1.0)


def points(curve: Curve, until_h: int) -> tuple[tuple[int, float], ...]:
    """The curve's corners from 0 to `until_h`, for drawing: (hours, share still there from then on), 60 at most.

    Where there are more, the last fall of each of equal parts of the time stands for all in it.
    """
    parts = MOST_POINTS - 1
    kept = {fall.time_h * parts // (until_h + 1): fall for fall in curve.falls if fall.time_h <= until_h}
    start = () if any(fall.time_h == 0 for fall in kept.values()) else ((0, still_there(curve, 0)),)
    return (*start, *((fall.time_h, fall.survival) for fall in kept.values()))


def _is_down_to(falls: Iterable[Fall], left: Fraction) -> bool:
    """The same comparison in whole numbers: a product of shares rounds, and 0.1 must be 0.1."""
    falls = tuple(falls)
    there, all_of_them = prod(fall.at_risk - fall.ended for fall in falls), prod(fall.at_risk for fall in falls)
    return there * left.denominator <= all_of_them * left.numerator
