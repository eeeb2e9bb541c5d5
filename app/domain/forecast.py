"""When a backlog is done: how many open days it takes, with what certainty, if they go on as those that were seen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import MAX_EMAX, MAX_PREC, MIN_EMIN, Context, Decimal, Inexact, Rounded
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import accumulate
from operator import mul

CERTAINTIES = (0.5, 0.85, 0.95)
MOST_DAYS = 2600  # ten years of 52 weeks of 5 open days
DIGITS = 30  # chances are whole numbers of 10^-30
ONE = 10**DIGITS
# A sum of products of chances never exceeds 1, so each has its own place in one long number: nothing is carried over.
PLACE = 2 * DIGITS + 1
EXACT = Context(prec=MAX_PREC, Emax=MAX_EMAX, Emin=MIN_EMIN, traps=[Inexact, Rounded])


@dataclass(frozen=True, slots=True)
class Days:
    """What was done on the days that were seen: pairs of (sheets, on how many of the days), fewest sheets first.

    No days at all are as good as days on which nothing is done. Raises ValueError for fewer than 0 sheets, or for sheets
    that were done on no day.
    """

    seen: tuple[tuple[int, int], ...]

    def __post_init__(self) -> None:
        if any(sheets < 0 or days < 1 for sheets, days in self.seen):
            raise ValueError("A day has 0 sheets or more, and was seen at least once.")

    @classmethod
    def of(cls, counts: Iterable[int]) -> Days:
        """The days with these counts of sheets; their order does not matter. ValueError for fewer than 0 sheets."""
        return cls(tuple(sorted(Counter(counts).items())))

    @property
    def number(self) -> int:
        """How many days were seen."""
        return sum(days for _, days in self.seen)

    @property
    def idle(self) -> int:
        """On how many of them nothing was done."""
        return dict(self.seen).get(0, 0)

    @property
    def mean(self) -> Fraction:
        """Sheets a day on average; 0 where no day was seen."""
        return Fraction(sum(sheets * days for sheets, days in self.seen), self.number or 1)


@dataclass(frozen=True, slots=True)
class Extra:
    """One more worker on each `every`-th open day, who does what one worker did on the days that were seen.

    Raises ValueError for an `every` below 1.
    """

    days: Days
    every: int

    def __post_init__(self) -> None:
        if self.every < 1:
            raise ValueError(f"Every {self.every} days cannot be. Give 1 or more.")


@dataclass(frozen=True, slots=True)
class Spell:
    """The first `number` open days, which are like other days than those that follow. ValueError for a number below 0."""

    days: Days
    number: int

    def __post_init__(self) -> None:
        if self.number < 0:
            raise ValueError(f"A spell of {self.number} days cannot be. Give 0 or more.")


@lru_cache(maxsize=512)
def days_needed(days: Days, backlog: int, certainties: tuple[float | Fraction, ...] = CERTAINTIES,
                most_days: int = MOST_DAYS, extra: Extra | None = None,
                first: Spell | None = None) -> tuple[int | None, ...]:  # fmt: skip
    """For each certainty the fewest open days on which the backlog is done, each day drawn from those seen; those of the
    `first` spell, if there is one, from its own.

    0 for no backlog, None where it takes more than `most_days`. Certainties are taken as written (0.85 is 17/20).
    Computed by convolution: the chances that it is not yet done are never rounded up, and lose less than 10^-19 in
    all for a backlog below a million within the usual most days (at most four roundings a day, each of less than
    10^-30 in as many places as the backlog has sheets). So the answer is never a day late, and early only where the
    chance falls short of the certainty by less than that. ValueError for a certainty that is not above 0 and below 1.
    """
    asked = [_checked(certainty) for certainty in certainties]
    if backlog <= 0 or not (_ever_done(days, extra) or (first and first.number and first.days.mean)):
        return tuple(0 if backlog <= 0 else None for _ in asked)
    if first and first.number:
        return _after(first, days, backlog, certainties, most_days, extra)
    search = _Search(days, backlog, most_days, extra, max(asked))
    found = {certainty: search.fewest(certainty) for certainty in sorted(set(asked))}
    return tuple(found[certainty] for certainty in asked)


def _after(first: Spell, days: Days, backlog: int, certainties: tuple[float | Fraction, ...], most_days: int,
           extra: Extra | None) -> tuple[int | None, ...]:  # fmt: skip
    """The same with a first spell: what is not done within it goes on from what was done by its end."""
    number = min(first.number, most_days)
    within = days_needed(first.days, backlog, certainties, number, extra)
    begun = _power(_day(first.days, backlog), number, backlog)
    if extra:
        begun = _both(begun, _power(_day(extra.days, backlog), number // extra.every, backlog), backlog)
    asked = [_checked(certainty) for certainty in certainties]
    search = _Search(days, backlog, most_days, extra, max(asked), (number, begun))
    late = sorted({certainty for certainty, found in zip(asked, within, strict=True) if found is None})
    found = {certainty: search.fewest(certainty) for certainty in late}
    return tuple(found[each] if done is None else done for each, done in zip(asked, within, strict=True))


@dataclass(frozen=True)
class _Work:
    """The chances (in 10^-30) of having done `low` sheets, `low` + 1 and so on; none for the backlog or more."""

    low: int
    chances: list[int]

    @cached_property
    def packed(self) -> Decimal:
        return Decimal("".join([f"{chance:0{PLACE}}" for chance in self.chances]) or "0")

    @cached_property
    def summed(self) -> list[int]:
        return list(accumulate(self.chances, initial=0))


class _Search:
    """The distributions of 1, 2, 4, … rounds of days, and the way down to the last day on which it is not yet done."""

    def __init__(self, days: Days, backlog: int, most_days: int, extra: Extra | None, surest: Fraction,
                 begun: tuple[int, _Work] | None = None) -> None:  # fmt: skip
        self.backlog, self.most_days = backlog, most_days
        self.every = extra.every if extra else 1
        self.day, (self.began, self.begun) = _day(days, backlog), begun or (0, NOTHING)
        # A round ends with the day on which somebody more is there.
        first = _power(self.day, self.every, backlog)
        self.rounds = [_both(first, _day(extra.days, backlog), backlog) if extra else first]
        while self._falls_short(self.rounds[-1], self.rounds[-1], surest) and self._days(len(self.rounds)) <= most_days:
            self.rounds.append(_both(self.rounds[-1], self.rounds[-1], backlog))

    def fewest(self, certainty: Fraction) -> int | None:
        """The fewest days for this certainty, None beyond the most. Certainties are asked for in rising order."""
        for power in reversed(range(len(self.rounds))):
            if self.began < self.most_days and self._falls_short(self.begun, self.rounds[power], certainty):
                self.begun = _both(self.begun, self.rounds[power], self.backlog)
                self.began += self._days(power)
        number, work = self.began + 1, self.begun
        for _ in range(self.every - 1):
            if not self._falls_short(work, self.day, certainty):
                break
            number, work = number + 1, _both(work, self.day, self.backlog)
        return number if number <= self.most_days else None

    def _days(self, power: int) -> int:
        return int(self.every * 2**power)

    def _falls_short(self, one: _Work, other: _Work, certainty: Fraction) -> bool:
        return bool(_left(one, other, self.backlog) > (1 - certainty) * ONE * ONE)


def _left(one: _Work, other: _Work, backlog: int) -> int:
    """The chance (in 10^-60) that both together do not reach the backlog; no convolution is needed for this."""
    if len(one.chances) > len(other.chances):
        one, other = other, one
    reach, most = backlog - one.low - other.low, len(other.chances)
    sums = [other.summed[max(0, min(reach - sheets, most))] for sheets in range(len(one.chances))]
    return sum(map(mul, one.chances, sums))


def _both(one: _Work, other: _Work, backlog: int) -> _Work:
    """Both together: each chance is rounded down to 10^-30, and what rounds to nothing at the ends falls off."""
    low = one.low + other.low
    places = len(one.chances) + len(other.chances) - 1
    digits = str(EXACT.multiply(one.packed, other.packed)).zfill(max(places, 0) * PLACE)
    ends = range(0, min(places, backlog - low) * PLACE, PLACE)
    return _trimmed(low, [int(digits[start : start + DIGITS + 1]) for start in ends])


def _power(day: _Work, number: int, backlog: int) -> _Work:
    """So many days like this one."""
    work = NOTHING
    for bit in f"{number:b}":
        work = _both(work, work, backlog)
        work = _both(work, day, backlog) if bit == "1" else work
    return work


def _day(days: Days, backlog: int) -> _Work:
    seen, number = dict(days.seen) or {0: 1}, days.number or 1
    return _trimmed(0, [seen.get(sheets, 0) * ONE // number for sheets in range(min(max(seen) + 1, backlog))])


def _trimmed(low: int, chances: list[int]) -> _Work:
    some = [place for place, chance in enumerate(chances) if chance]
    return _Work(low + some[0], chances[some[0] : some[-1] + 1]) if some else _Work(low, [])


def _ever_done(days: Days, extra: Extra | None) -> bool:
    return bool(days.mean or (extra and extra.days.mean))


def _checked(certainty: float | Fraction) -> Fraction:
    exact = Fraction(str(certainty))
    if not 0 < exact < 1:
        raise ValueError(f"A certainty of {certainty} cannot be. Give one above 0 and below 1.")
    return exact


NOTHING = _Work(0, [ONE])
