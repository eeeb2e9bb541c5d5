"""Half and nine in ten while some still wait: the product limit against published tables and another program."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.datasets import load_leukemia

from app.domain.survival import CLOSE, MOST_POINTS, Curve, kaplan_meier, points, quantile, still_there

# Freireich and others 1963, weeks in remission with 6-MP and with placebo, as in Cox & Oakes 1984, p. 8; those who were
# still in remission at the end are set apart.
ENDED_6MP = (6, 6, 6, 7, 10, 13, 16, 22, 23)
WAITING_6MP = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)
PLACEBO = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)
SIX_MP = kaplan_meier(Counter(ENDED_6MP), Counter(WAITING_6MP))
ALONE = kaplan_meier(Counter(PLACEBO), {})


# Cox & Oakes 1984, Table 4.1, p. 49 (read as quoted in a public test suite that names it): S to four places.
@pytest.mark.parametrize(
    ("week", "at_risk", "ended", "survival"),
    [(6, 21, 3, 0.8571), (7, 17, 1, 0.8067), (10, 15, 1, 0.7529), (13, 12, 1, 0.6902), (16, 11, 1, 0.6275), (22, 7, 1, 0.5378),
     (23, 6, 1, 0.4482)],
)  # fmt: skip
def test_the_published_table_comes_out(week: int, at_risk: int, ended: int, survival: float) -> None:
    fall = next(fall for fall in SIX_MP.falls if fall.time_h == week)
    assert (fall.at_risk, fall.ended) == (at_risk, ended)
    assert fall.survival == pytest.approx(survival, abs=5e-5)


def test_the_curve_falls_only_where_something_ended() -> None:
    assert [fall.time_h for fall in SIX_MP.falls] == [6, 7, 10, 13, 16, 22, 23]
    assert (SIX_MP.ended, SIX_MP.waiting, SIX_MP.last_h) == (9, 12, 35)


def test_the_published_medians_come_out() -> None:
    # R's survfit prints 23 for 6-MP and 8 for placebo (read in a published notebook); 9 and 21 ended.
    assert (quantile(SIX_MP, 0.5), quantile(ALONE, 0.5)) == (23, 8)
    assert (SIX_MP.ended, ALONE.ended) == (9, 21)


def test_what_is_not_reached_is_told_as_such_and_never_as_the_longest_time() -> None:
    # The manual of SAS LIFETEST: where S never comes down to 1 − q, the quantile cannot be estimated.
    assert [quantile(SIX_MP, share) for share in (0.2, 0.5, 0.75, 0.9)] == [10, 23, None, None]
    assert [quantile(ALONE, share) for share in (0.75, 0.9)] == [12, 17]


def test_the_other_program_has_the_same_patients_and_draws_the_same_curve() -> None:
    table = load_leukemia()
    treated = table[table["Rx"] == 0]
    ours = kaplan_meier(*_counted(list(zip(treated["t"], treated["status"] == 1, strict=True))))
    assert ours == SIX_MP
    theirs = KaplanMeierFitter().fit(treated["t"], treated["status"])
    assert theirs.median_survival_time_ == 23
    assert all(theirs.predict(week) == pytest.approx(still_there(ours, week)) for week in range(36))


STAYS = st.lists(st.tuples(st.integers(0, 40), st.booleans()), min_size=1, max_size=60)


@given(STAYS)
def test_any_curve_is_the_one_that_the_other_program_draws(stays: list[tuple[int, bool]]) -> None:
    curve = kaplan_meier(*_counted(stays))
    theirs = KaplanMeierFitter().fit([time for time, _ in stays], [ended for _, ended in stays])
    ours = [still_there(curve, time) for time in range(42)]
    assert ours == pytest.approx(list(theirs.survival_function_at_times(range(42))), abs=1e-9)
    # At exactly a half the other program's rounding decides; the next test looks at those.
    if all(abs(fall.survival - 0.5) > CLOSE for fall in curve.falls):
        median = theirs.median_survival_time_
        assert quantile(curve, 0.5) == (None if median == float("inf") else median)


@given(STAYS, st.sampled_from((0.1, 0.25, 0.5, 0.75, 0.9, Fraction(1, 3), Fraction(2, 3))))
def test_a_quantile_is_the_first_time_at_which_an_exact_curve_is_down(
    stays: list[tuple[int, bool]], share: float | Fraction
) -> None:
    ended, waiting = _counted(stays)
    at_risk, left, found = len(stays), Fraction(1), None
    for time in sorted({*ended, *waiting}):
        left *= Fraction(at_risk - ended[time], at_risk)
        at_risk -= ended[time] + waiting[time]
        if found is None and left <= 1 - Fraction(str(share)):
            found = time
    assert quantile(kaplan_meier(ended, waiting), share) == found


def test_a_share_that_is_met_exactly_is_met() -> None:
    # Nine of ten have ended at 9, and 1/10 is left: as rounded numbers the product is a little above 1 − 0.9.
    curve = kaplan_meier(dict.fromkeys(range(1, 11), 1), {})
    assert curve.falls[8].survival > 1 - 0.9
    assert quantile(curve, 0.9) == 9 and quantile(curve, 0.5) == 5


def test_at_the_same_time_those_that_ended_go_before_those_that_wait() -> None:
    # The usual convention: of four at 5 hours, one ended while all four were there.
    curve = kaplan_meier({5: 1}, {5: 3})
    assert curve.falls[0].at_risk == 4 and curve.falls[0].survival == 0.75


def test_nothing_ended_reaches_nothing() -> None:
    assert kaplan_meier({}, {}) == Curve((), 0, 0, 0)
    assert quantile(kaplan_meier({}, {}), 0.5) is None
    assert quantile(kaplan_meier({}, {400: 9}), 0.1) is None and kaplan_meier({}, {400: 9}).last_h == 400
    assert quantile(kaplan_meier({0: 1}, {}), 0.5) == 0


def test_those_that_wait_lengthen_what_is_usual() -> None:
    ended = {1: 5, 2: 4, 9: 1}
    assert quantile(kaplan_meier(ended, {}), 0.9) == 2
    assert quantile(kaplan_meier(ended, {3: 10}), 0.9) == 9
    assert quantile(kaplan_meier(ended, {9: 11}), 0.5) is None


def test_a_sum_that_was_taken_back_to_nothing_counts_for_nothing() -> None:
    assert kaplan_meier({3: 2, 7: 0}, {9: 0}) == kaplan_meier({3: 2}, {})


@pytest.mark.parametrize(("ended", "waiting"), [({-1: 2}, {}), ({1: -2}, {}), ({}, {-1: 2}), ({}, {3: -1})])
def test_less_than_nothing_is_refused(ended: dict[int, int], waiting: dict[int, int]) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        kaplan_meier(ended, waiting)


@pytest.mark.parametrize("share", [0, 1, -0.5, 1.5])
def test_a_share_that_cannot_be_is_refused(share: float) -> None:
    with pytest.raises(ValueError, match="above 0 and below 1"):
        quantile(SIX_MP, share)


def test_a_small_curve_keeps_every_corner() -> None:
    assert points(SIX_MP, 36) == ((0, 1.0), *((fall.time_h, fall.survival) for fall in SIX_MP.falls))
    assert points(SIX_MP, 12) == ((0, 1.0), *((fall.time_h, fall.survival) for fall in SIX_MP.falls[:3]))
    assert points(kaplan_meier({0: 1}, {4: 1}), 5) == ((0, 0.5),)


@given(st.dictionaries(st.integers(0, 900), st.integers(1, 9), min_size=1), st.integers(1, 900))
def test_a_long_curve_is_thinned_to_points_that_lie_on_it(ended: dict[int, int], until_h: int) -> None:
    curve = kaplan_meier(ended, {})
    thinned = points(curve, until_h)
    assert 1 <= len(thinned) <= MOST_POINTS and thinned[0][0] == 0
    assert all(share == still_there(curve, time) and time <= until_h for time, share in thinned)
    # Nowhere is it drawn off by more than one part of the time.
    assert thinned[-1][1] == still_there(curve, until_h)
    assert list(thinned) == sorted(thinned, key=lambda point: (point[0], -point[1]))


def _counted(stays: list[tuple[int, bool]]) -> tuple[Counter[int], Counter[int]]:
    return Counter(time for time, ended in stays if ended), Counter(time for time, ended in stays if not ended)
