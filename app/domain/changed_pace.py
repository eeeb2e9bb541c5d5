"""What a changed pace is drawn from: more afternoons, somebody away, a bigger press."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from app.domain.forecast import Days

MOST_AFTERNOONS = 3
# From here on a press is taken to be what holds the room back: stacks are never filled to the last layer every day (no source).
FULL_FROM = Fraction(4, 5)


@dataclass(frozen=True, slots=True)
class Change:
    """What is asked: so many more afternoons a week, each with `share` of what a usual day here does; one worker away for
    some weeks (0: for good); and so many more places in the press. Nothing of it is no change.
    """

    afternoons: int = 0
    share: Fraction = Fraction(1)
    away: int | None = None
    weeks: int = 0
    places: int = 0

    def __bool__(self) -> bool:
        return bool(self.afternoons or self.away is not None or self.places)


@dataclass(frozen=True, slots=True)
class PressPace:
    """What the press lets through: `takes` sheets a day at most as it is, `would` with the places asked for, `laid` were
    laid in a day and `come` would be if it took them all. `factor` is by how much the pace would rise.
    """

    takes: Fraction
    would: Fraction
    laid: Fraction
    come: Fraction

    @property
    def holds_back(self) -> bool:
        """Whether the press is what holds the room back: more comes than is laid in, and it is as good as full."""
        return self.laid >= FULL_FROM * self.takes and self.come > self.laid

    @property
    def factor(self) -> Fraction:
        """What the pace at the press is multiplied by."""
        return max(min(self.come, self.would) / self.laid, Fraction(1)) if self.holds_back else Fraction(1)


def press_pace(
    places: int, more: int, stay_h: float, laid: Fraction, come: Fraction, open_share: Fraction
) -> PressPace:
    """How many sheets a press with so many places takes on an open day, by Little's law: places over the time in one.

    `stay_h` are hours from laying in to taking out, on average; `open_share` is the share of open days among all days.
    Source of the law: Little & Graves, Building Intuition, ch. 5 (2008). ValueError for a stay that is not above 0.
    """
    if not stay_h > 0:
        raise ValueError(f"A stay of {stay_h} h cannot be.")
    days = Fraction(stay_h).limit_denominator(10**6) / 24 * open_share
    return PressPace(places / days, (places + more) / days, laid, come)


def scaled(days: Days, factor: Fraction) -> Days:
    """The days with so many times the work, each rounded up and down in the proportion that keeps the average exact.

    ValueError for a factor below 0.
    """
    if factor < 0:
        raise ValueError(f"{factor} times as much cannot be done.")
    seen: Counter[int] = Counter()
    for sheets, number in days.seen:
        whole = sheets * factor
        up = (whole - floor(whole)) * factor.denominator
        seen[ceil(whole)] += int(up) * number
        seen[floor(whole)] += int(factor.denominator - up) * number
    return Days(tuple(sorted((sheets, number) for sheets, number in seen.items() if number)))


def repeated(days: Days, times: int) -> Days:
    """What so many of the days do together, each drawn for itself. ValueError for fewer than 1, or more than 3, of them."""
    if not 1 <= times <= MOST_AFTERNOONS:
        raise ValueError(f"{times} afternoons cannot be put together. Give 1 to {MOST_AFTERNOONS}.")
    seen: Counter[int] = Counter({0: 1})
    for _ in range(times):
        seen = _together(seen, days)
    return Days(tuple(sorted(seen.items())))


def without(room: Sequence[int], theirs: Sequence[int]) -> tuple[int, ...]:
    """What was done on each day without one worker's part, in the unit that both are counted in; never below 0."""
    return tuple(max(all_of_it - part, 0) for all_of_it, part in zip(room, theirs, strict=True))


def _together(one: Counter[int], days: Days) -> Counter[int]:
    both: Counter[int] = Counter()
    for sheets, number in one.items():
        for more, on in days.seen or ((0, 1),):
            both[sheets + more] += number * on
    return both
