"""A week against the weeks before it: limits as published, and a word only beyond them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.limits_of_weeks import chart

# Flow rates of NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, as quoted alike in six public test suites.
FLOWS = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def test_mean_and_limits_are_the_handbooks() -> None:
    found = chart(50, FLOWS)
    assert (found.mean, found.low, found.high) == (
        pytest.approx(50.81), pytest.approx(45.8159, abs=5e-5), pytest.approx(55.8041, abs=5e-5)
    )  # fmt: skip
    assert found.weeks == 10 and found.words == ""


@pytest.mark.parametrize(
    ("value", "words"),
    [(45.81, "Less than"), (45.82, ""), (55.80, ""), (55.81, "More than")],
)
def test_a_word_is_said_only_beyond_a_limit(value: float, words: str) -> None:
    said = chart(value, FLOWS).words
    assert said.startswith(words) if words else said == ""


def test_a_week_that_runs_still_has_not_too_little_yet_but_may_have_much() -> None:
    assert chart(1, FLOWS, is_over=False).words == ""
    assert chart(60, FLOWS, is_over=False).words == chart(60, FLOWS).words != ""


# By hand: mean 4; moving ranges 8 seven times, so 8 × 3/1.128 = 21.28 to either side: below 0 there is no limit.
def test_limits_end_at_nothing() -> None:
    found = chart(0, (0, 8, 0, 8, 0, 8, 0, 8))
    assert found.mean == 4 and found.low == 0 and found.high == pytest.approx(25.2766, abs=5e-5) and found.words == ""


@pytest.mark.parametrize(
    ("weeks", "words"),
    [(0, "No week to compare with; 6 are needed to say what is usual."),
     (1, "1 week to compare with; 6 are needed to say what is usual."),
     (5, "5 weeks to compare with; 6 are needed to say what is usual.")],
)  # fmt: skip
def test_too_few_weeks_are_said_and_judge_nothing(weeks: int, words: str) -> None:
    found = chart(100, (1.0, 2.0, 3.0, 4.0, 5.0)[:weeks])
    assert (found.mean, found.low, found.high, found.words) == (None, None, None, words)


def test_six_weeks_are_enough() -> None:
    assert chart(3, (1, 2, 3, 4, 5, 6)).mean == 3.5


@given(st.lists(st.integers(0, 500), min_size=6, max_size=8), st.integers(0, 600))
def test_limits_lie_about_the_mean_and_more_spread_never_makes_them_narrower(before: list[int], value: int) -> None:
    found, wider = chart(value, before), chart(value, [number * 2 for number in before])
    assert found.mean is not None and found.low is not None and found.high is not None
    assert wider.low is not None and wider.high is not None
    assert 0 <= found.low <= found.mean <= found.high and bool(found.words) == (not found.low <= value <= found.high)
    assert wider.high - wider.low >= found.high - found.low - 1e-9
