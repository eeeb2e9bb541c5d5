"""Intervals of counts and shares, against published tables and against another library's quantiles."""

from __future__ import annotations

import time
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, chi2, poisson

from app.domain.intervals import poisson_interval, scaled_interval, wilson_interval

# Garwood's limits at 95 %, as quoted alike in public tables that name Garwood 1936, Ulm 1990 and Gehrels 1986; the zero row
# also in the manual of R's epitools. Three decimals are given, two for 25.
GARWOOD = {0: (0, 3.689), 1: (0.0253, 5.572), 2: (0.242, 7.225), 3: (0.619, 8.767), 5: (1.623, 11.668), 10: (4.795, 18.390),
           20: (12.217, 30.888)}  # fmt: skip


@pytest.mark.parametrize("count", GARWOOD)
def test_the_interval_of_a_count_is_the_published_one(count: int) -> None:
    low, high = GARWOOD[count]
    found = poisson_interval(count)
    assert found.low == pytest.approx(low, abs=6e-4) and found.high == pytest.approx(high, abs=6e-4)


# A count of 25: GraphPad's page on the confidence interval of a count.
@pytest.mark.parametrize(("level", "low", "high"), [(0.90, 17.38, 34.92), (0.95, 16.18, 36.90), (0.99, 14.00, 41.00)])
def test_a_count_of_25_at_three_levels(level: float, low: float, high: float) -> None:
    found = poisson_interval(25, level)
    assert found.low == pytest.approx(low, abs=5e-3) and found.high == pytest.approx(high, abs=5e-3)


@pytest.mark.parametrize("count", [*range(0, 60), 99, 400, 1234, 10_000, 1_000_000])
@pytest.mark.parametrize("level", [0.5, 0.95, 0.999])
def test_the_ends_are_quantiles_of_chi_square_to_ten_digits(count: int, level: float) -> None:
    tail = (1 - level) / 2
    found = poisson_interval(count, level)
    assert found.low == pytest.approx(chi2.ppf(tail, 2 * count) / 2 if count else 0, rel=1e-10, abs=1e-12)
    assert found.high == pytest.approx(chi2.ppf(1 - tail, 2 * count + 2) / 2, rel=1e-10)


def test_half_of_what_the_level_leaves_lies_beyond_each_end() -> None:
    found = poisson_interval(17)
    assert poisson.cdf(17, found.high) == pytest.approx(0.025, abs=1e-10)
    assert poisson.sf(16, found.low) == pytest.approx(0.025, abs=1e-10)


def test_a_large_count_is_no_long_work() -> None:
    began = time.perf_counter()
    found = poisson_interval(4_000_000)
    assert time.perf_counter() - began < 3
    # So large, it is the normal one but for the discreteness (1.96 roots of the count).
    assert found.low == pytest.approx(4_000_000 - 1.959964 * 2000, abs=3)


# Two who shared 7 sheets: 3.5 each of 7 in which each had a hand, so half of the interval of 7.
def test_shares_scale_the_interval_of_the_whole_sheets() -> None:
    whole, mine = poisson_interval(7), scaled_interval(7, Fraction(7, 2))
    assert mine.low == pytest.approx(whole.low / 2) and mine.high == pytest.approx(whole.high / 2)
    assert mine.high < poisson_interval(4).high, "a half sheet says less than a whole one"
    assert scaled_interval(7, Fraction(7)) == whole
    assert scaled_interval(0, Fraction(0)) == poisson_interval(0)


# Newcombe, Statistics in Medicine 17 (1998) 857, Table I, method 3, as quoted alike in eight public test suites.
@pytest.mark.parametrize(
    ("passed", "cases", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0000, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_the_interval_of_a_share_is_the_published_one(passed: int, cases: int, low: float, high: float) -> None:
    found = wilson_interval(passed, cases)
    assert found.low == pytest.approx(low, abs=5e-5) and found.high == pytest.approx(high, abs=5e-5)


@given(st.integers(1, 500).flatmap(lambda cases: st.tuples(st.integers(0, cases), st.just(cases))))
def test_the_interval_of_any_share_is_the_other_librarys(case: tuple[int, int]) -> None:
    passed, cases = case
    found, other = wilson_interval(passed, cases), binomtest(passed, cases).proportion_ci(0.95, "wilson")
    assert found.low == pytest.approx(other.low, abs=1e-12) and found.high == pytest.approx(other.high, abs=1e-12)
    assert 0 <= found.low <= passed / cases <= found.high <= 1


@pytest.mark.parametrize("count", [-1, -100])
def test_fewer_than_nothing_was_never_counted(count: int) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        poisson_interval(count)


@pytest.mark.parametrize(("passed", "cases"), [(0, 0), (3, 2), (-1, 5)])
def test_what_is_no_share_has_no_interval(passed: int, cases: int) -> None:
    with pytest.raises(ValueError, match="no share"):
        wilson_interval(passed, cases)
