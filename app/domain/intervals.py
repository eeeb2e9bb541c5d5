"""How sure a figure is: exact intervals for counts, and intervals for shares, at 95 % unless another level is asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import exp, lgamma, log, sqrt
from statistics import NormalDist

LEVEL = 0.95
# A term that is smaller than this part of its sum no longer changes it.
NOTHING = 1e-17
HALVINGS = 200  # a bisection has long met its end at the spacing of the numbers


@dataclass(frozen=True, slots=True)
class Interval:
    """From `low` to `high`, in the unit of the figure."""

    low: float
    high: float

    def times(self, factor: float | Fraction) -> Interval:
        """The interval of a figure that is so many times as large; the factor is 0 or more."""
        return Interval(self.low * float(factor), self.high * float(factor))


@lru_cache(maxsize=4096)
def poisson_interval(count: int, level: float = LEVEL) -> Interval:
    """The exact interval of the mean of a Poisson count (Garwood, Biometrika 28 (1936) 437), in the unit of the count.

    Its ends are where the count, or one more extreme, has half of what the level leaves. Good to ten digits; the work
    grows with the root of the count. ValueError for a count below 0 or a level not between 0 and 1.
    """
    if count < 0 or not 0 < level < 1:
        raise ValueError(f"A count is 0 or more and a level lies between 0 and 1, not {count} and {level}.")
    tail = (1 - level) / 2
    beyond = count + 10.0 + 10 * sqrt(count)
    while _at_most(count, beyond) > tail:
        beyond *= 2
    low = _where(lambda mean: _at_least(count, mean) < tail, 0.0, float(count)) if count else 0.0
    return Interval(low, _where(lambda mean: _at_most(count, mean) > tail, float(count), beyond))


def scaled_interval(count: int, credit: Fraction) -> Interval:
    """The interval of a credit in shares of `count` whole sheets: that of the count, scaled by credit over count."""
    whole = poisson_interval(count)
    return whole.times(credit / count) if count else whole


def wilson_interval(passed: int, cases: int) -> Interval:
    """The interval of a share from 0 to 1 by Wilson's score (J. Amer. Statist. Assoc. 22 (1927) 209), uncorrected.

    ValueError where there is no case, or more passed than there are cases.
    """
    if not 0 <= passed <= cases or not cases:
        raise ValueError(f"{passed} of {cases} is no share.")
    z = NormalDist().inv_cdf((1 + LEVEL) / 2)
    share, part = passed / cases, z * z / cases
    middle = (share + part / 2) / (1 + part)
    half = z * sqrt(share * (1 - share) / cases + part / (4 * cases)) / (1 + part)
    # At the ends the formula gives 0 and 1 but for rounding.
    return Interval(max(middle - half, 0.0) if passed else 0.0, min(middle + half, 1.0) if passed < cases else 1.0)


def _at_most(count: int, mean: float) -> float:
    """The chance of this count or fewer, for a mean above it: summed downwards, where the terms fall."""
    term = total = 1.0
    number = count
    while number and term > total * NOTHING:
        term *= number / mean
        total += term
        number -= 1
    return total * _chance(count, mean)


def _at_least(count: int, mean: float) -> float:
    """The chance of this count or more, for a mean below it: summed upwards, where the terms fall."""
    term = total = 1.0
    number = count
    while term > total * NOTHING:
        number += 1
        term *= mean / number
        total += term
    return total * _chance(count, mean)


def _chance(count: int, mean: float) -> float:
    return exp(count * log(mean) - mean - lgamma(count + 1)) if mean else float(not count)


def _where(is_below: Callable[[float], bool], low: float, high: float) -> float:
    """The point at which this stops being so, by halving."""
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if is_below(middle) else (low, middle)
    return (low + high) / 2
