"""What a week of this room is like: the mean and the natural limits of the weeks before it, and a word beyond them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from app.domain.language import say, say_n

WEEKS = 8
# With fewer the limits themselves would jump from week to week (common practice, no source).
LEAST_WEEKS = 6
# Three deviations, each a mean moving range over d2 = 1.128: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
PER_RANGE = 3 / 1.128


@dataclass(frozen=True, slots=True)
class Chart:
    """The mean and the natural limits of `weeks` weeks (None: too few of them), and what they say about this one.

    `words` are empty unless a limit is crossed, or there are too few weeks.
    """

    mean: float | None
    low: float | None
    high: float | None
    weeks: int
    words: str


def chart(value: float, before: Sequence[float], *, is_over: bool = True) -> Chart:
    """Hold a week's value against the weeks before it, the oldest first; the limits end at 0.

    A week that is not over cannot be found to have too little yet.
    """
    weeks = len(before)
    if weeks < LEAST_WEEKS:
        return Chart(None, None, None, weeks, _too_few(weeks))
    mean = sum(before) / weeks
    ranges = [abs(later - earlier) for earlier, later in pairwise(before)]
    away = PER_RANGE * sum(ranges) / len(ranges)
    low, high = max(mean - away, 0.0), mean + away
    return Chart(mean, low, high, weeks, _crossed(value, low, high, is_over=is_over))


def _too_few(weeks: int) -> str:
    if not weeks:
        return say("No week to compare with; {least} are needed to say what is usual.", least=LEAST_WEEKS)
    return say_n(
        "{n} week to compare with; {least} are needed to say what is usual.",
        "{n} weeks to compare with; {least} are needed to say what is usual.",
        weeks, least=LEAST_WEEKS,
    )  # fmt: skip


def _crossed(value: float, low: float, high: float, *, is_over: bool) -> str:
    if value > high:
        return say("More than this room's weeks usually hold.")
    return say("Less than this room's weeks usually hold.") if is_over and value < low else ""
