"""When a backlog is done: against fractions worked by hand, published sums, brute force and a simulation."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Sequence
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.forecast import CERTAINTIES, ONE, Days, Extra, _both, _day, _power, days_needed

NEARLY = Fraction(1, 10**19)
HISTORY = Days.of([8, 0, 5, 3])
HALF = Fraction(1, 2)

counts = st.lists(st.integers(0, 6), min_size=1, max_size=4)
odds = st.fractions(Fraction(1, 50), Fraction(49, 50), max_denominator=50)


def chance_done(days: Days, backlog: int, number: int, extra: Extra | None = None) -> Fraction:
    """The chance that the backlog is done within `number` open days, by the convolution that `days_needed` searches in:
    never too low and less than 10^-19 too high.
    """
    if backlog <= 0:
        return Fraction(1)
    work = _power(_day(days, backlog), number, backlog)
    if extra:
        work = _both(work, _power(_day(extra.days, backlog), number // extra.every, backlog), backlog)
    return 1 - Fraction(sum(work.chances), ONE)


# By hand: of 64 ways to draw three days from 0, 3, 5, 8 only 8+8+8 and the three orders of 8+8+5 reach 20, that is 1/16.
# The others likewise, counted on paper over 4, 5, 6 and 7 days; 126927/131072 is .968376.
@pytest.mark.parametrize(
    ("number", "chance"),
    [
        (0, Fraction(0)),
        (2, Fraction(0)),
        (3, Fraction(1, 16)),
        (4, Fraction(33, 128)),
        (5, Fraction(517, 1024)),
        (6, Fraction(365, 512)),
        (7, Fraction(3485, 4096)),
        (9, Fraction(126927, 131072)),
    ],
)
def test_the_worked_example_comes_out_to_the_last_place(number: int, chance: Fraction) -> None:
    assert chance_done(HISTORY, 20, number) == chance


def test_the_worked_example_is_done_on_its_fifth_seventh_and_ninth_day() -> None:
    assert days_needed(HISTORY, 20) == (5, 7, 9)
    assert days_needed(HISTORY, 20, (0.95, 0.5)) == (9, 5)


# The chance that n days of Poisson(5) bring 30 is the regularised incomplete gamma function P(30, 5n)
# (Abramowitz and Stegun 26.4.21, for even degrees of freedom); its values are tabulated here to six places.
POISSON_5 = Days(
    tuple((sheets, round(10**12 * math.exp(-5) * 5**sheets / math.factorial(sheets))) for sheets in range(25))
)
TABULATED = [(4, 0.021818), (5, 0.182104), (6, 0.524283), (7, 0.822955), (8, 0.956771), (9, 0.992663), (10, 0.999083)]


@pytest.mark.parametrize(("number", "chance"), TABULATED)
def test_days_of_poisson_agree_with_the_incomplete_gamma_function(number: int, chance: float) -> None:
    assert float(chance_done(POISSON_5, 30, number)) == pytest.approx(chance, abs=6e-7)


def test_the_quantiles_of_poisson_days_are_as_tabulated() -> None:
    assert days_needed(POISSON_5, 30) == (6, 8, 8)


def brute_chance(
    seen: Sequence[int], backlog: int, number: int, extra: tuple[Sequence[int], int] | None = None
) -> Fraction:
    """Every possible run of days, one after the other."""
    draws = [seen] * number + ([extra[0]] * (number // extra[1]) if extra else [])
    runs = list(itertools.product(*draws))
    return Fraction(sum(sum(run) >= backlog for run in runs), len(runs))


@given(counts, st.integers(0, 30), st.integers(0, 5))
def test_a_chance_is_what_going_through_every_run_of_days_gives(seen: list[int], backlog: int, number: int) -> None:
    exact = brute_chance(seen, backlog, number)
    assert exact <= chance_done(Days.of(seen), backlog, number) <= exact + NEARLY


@given(
    counts,
    st.lists(st.integers(0, 4), min_size=1, max_size=2),
    st.integers(1, 3),
    st.integers(1, 12),
    st.integers(0, 4),
)
def test_one_more_worker_is_drawn_once_in_so_many_days(
    seen: list[int], single: list[int], every: int, backlog: int, number: int
) -> None:
    exact = brute_chance(seen, backlog, number, (single, every))
    found = chance_done(Days.of(seen), backlog, number, Extra(Days.of(single), every))
    assert exact <= found <= exact + NEARLY


@given(counts, st.integers(1, 12), odds)
def test_the_days_needed_are_the_first_on_which_the_chance_is_reached(
    seen: list[int], backlog: int, certainty: Fraction
) -> None:
    by_hand = (number for number in range(1, 6) if brute_chance(seen, backlog, number) >= certainty)
    assert days_needed(Days.of(seen), backlog, (certainty,), most_days=5) == (next(by_hand, None),)


@given(counts, counts, st.integers(1, 3), st.integers(1, 14), odds)
def test_and_with_one_more_worker_too(
    seen: list[int], single: list[int], every: int, backlog: int, certainty: Fraction
) -> None:
    chances = {number: brute_chance(seen, backlog, number, (single[:2], every)) for number in range(1, 5)}
    by_hand = (number for number, chance in chances.items() if chance >= certainty)
    extra = Extra(Days.of(single[:2]), every)
    assert days_needed(Days.of(seen), backlog, (certainty,), 4, extra) == (next(by_hand, None),)


def heads(number: int, least: int) -> Fraction:
    """The chance of so many heads in so many throws of a coin, from the binomial coefficients."""
    return Fraction(sum(math.comb(number, many) for many in range(least, number + 1)), 2**number)


@pytest.mark.parametrize("number", [1900, 1999, 2040, 2074])
def test_a_large_backlog_agrees_with_the_binomial_coefficients(number: int) -> None:
    # Two sheets on every second day: 2,000 sheets ask for 1,000 heads.
    exact = heads(number, 1000)
    assert exact <= chance_done(Days.of([0, 2]), 2000, number) <= exact + NEARLY


def test_the_days_of_a_large_backlog_agree_with_the_binomial_coefficients() -> None:
    for number, certainty in zip(
        days_needed(Days.of([0, 2]), 2000), (HALF, Fraction(17, 20), Fraction(19, 20)), strict=True
    ):
        assert number is not None
        assert heads(number - 1, 1000) < certainty <= heads(number, 1000)


def test_a_room_of_the_usual_size_agrees_with_a_simulation() -> None:
    chance, runs = random.Random(118), 4000
    seen = [chance.choice([0, 0, 5, 8, 12, 17, 20, 24, 31, 60]) for _ in range(40)]
    backlog = 1500
    numbers = days_needed(Days.of(seen), backlog)
    done = [simulated(chance, seen, backlog) for _ in range(runs)]
    for number in numbers:
        assert number is not None
        exact = float(chance_done(Days.of(seen), backlog, number))
        # Five standard errors of a binomial share.
        within = 5 * math.sqrt(exact * (1 - exact) / runs)
        assert abs(sum(days <= number for days in done) / runs - exact) <= within


def simulated(chance: random.Random, seen: list[int], backlog: int) -> int:
    days = 0
    while backlog > 0:
        backlog -= chance.choice(seen)
        days += 1
    return days


def test_with_days_that_are_all_alike_it_is_a_division() -> None:
    # 23 sheets at 5 a day take 5 days, 25 take 5, 26 take 6; certain, so at every certainty.
    for backlog, number in ((23, 5), (25, 5), (26, 6), (50_000, 10_000)):
        assert days_needed(Days.of([5, 5, 5]), backlog, most_days=10_000) == (number,) * 3


def test_one_more_worker_by_hand() -> None:
    # Two a day, and three more on each fifth: 26 after ten days, 28, then 30 after twelve. Without, fifteen.
    extra = Extra(Days.of([3]), 5)
    assert days_needed(Days.of([2]), 30, extra=extra) == (12, 12, 12)
    assert days_needed(Days.of([2]), 30) == (15, 15, 15)
    assert days_needed(Days.of([2]), 13, extra=extra) == (5, 5, 5)


@given(counts, st.integers(0, 60))
def test_surer_takes_no_fewer_days_and_neither_does_more(seen: list[int], backlog: int) -> None:
    def days(sheets: int) -> list[float]:
        found = days_needed(Days.of(seen), sheets, (0.1, *CERTAINTIES, 0.99), 40)
        return [math.inf if number is None else number for number in found]

    assert days(backlog) == sorted(days(backlog))
    assert all(fewer <= more for fewer, more in zip(days(backlog), days(backlog + 1), strict=True))


def test_a_chance_that_is_just_reached_counts_as_reached() -> None:
    assert days_needed(Days.of([0, 1]), 1, (0.5,)) == (1,)
    assert days_needed(Days.of([0, 0, 1]), 1, (Fraction(1, 3),)) == (1,)
    assert days_needed(Days.of([0, 0, 1]), 1, (Fraction(334, 1000),)) == (2,)
    # 11/20 as it is written, not the nearest number with a binary point, which lies above it.
    assert days_needed(Days.of([0] * 9 + [1] * 11), 1, (0.55,)) == (1,)


def test_nothing_to_do_takes_no_day_and_nothing_done_takes_for_ever() -> None:
    assert days_needed(HISTORY, 0) == (0, 0, 0)
    assert days_needed(Days.of([]), 0) == (0, 0, 0)
    assert days_needed(Days.of([0, 0]), 1) == days_needed(Days.of([]), 1) == (None, None, None)
    assert chance_done(HISTORY, 0, 0) == 1
    assert chance_done(Days.of([]), 1, 9) == 0
    assert days_needed(Days.of([0]), 4, extra=Extra(Days.of([2]), 5)) == (10, 10, 10)


def test_beyond_the_most_days_nothing_is_said() -> None:
    assert days_needed(Days.of([1]), 10, (0.5,), most_days=10) == (10,)
    assert days_needed(Days.of([1]), 11, (0.5,), most_days=10) == (None,)
    for most in (1, 2, 4, 8, 9):
        assert days_needed(Days.of([1]), most, (0.5,), most) == (most,)
        assert days_needed(Days.of([1]), most + 1, (0.5,), most) == (None,)
    assert days_needed(HISTORY, 20, most_days=8) == (5, 7, None)


def test_the_order_of_the_days_does_not_matter() -> None:
    assert Days.of([3, 0, 3]) == Days.of([0, 3, 3]) == Days(((0, 1), (3, 2)))
    assert (HISTORY.number, HISTORY.idle, HISTORY.mean) == (4, 1, 4)
    assert (Days.of([]).number, Days.of([2]).idle, Days.of([]).mean) == (0, 0, 0)


@pytest.mark.parametrize("seen", [((-1, 2),), ((1, 0),)])
def test_days_that_cannot_be_are_refused(seen: tuple[tuple[int, int], ...]) -> None:
    with pytest.raises(ValueError, match="0 sheets or more"):
        Days(seen)


@pytest.mark.parametrize("certainty", [0, 1, -0.5, 1.5])
def test_a_certainty_that_cannot_be_is_refused(certainty: float) -> None:
    with pytest.raises(ValueError, match="above 0 and below 1"):
        days_needed(HISTORY, 20, (certainty,))


def test_one_more_worker_comes_at_most_every_day() -> None:
    with pytest.raises(ValueError, match="1 or more"):
        Extra(HISTORY, 0)
