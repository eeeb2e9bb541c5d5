"""A load's time in the freezer, against a reckoning that looks at every minute; and its limits to the minute."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.freezing import ColdRule, Mark, Times, Warming, cold_rules, rule_for, times_of
from app.domain.house import House
from app.domain.stages import Step

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
IN = datetime(2026, 10, 20, 10, 0, tzinfo=UTC)
USUAL = ColdRule(-20, 7)


def mark(step: Step, at: datetime, entry_id: int, **more: object) -> Mark:
    return Mark(at, entry_id, step, **more)  # type: ignore[arg-type]


def put_in(at: datetime = IN, entry_id: int = 1, rule: ColdRule = USUAL, **more: object) -> Mark:
    return mark(Step.LOAD_IN, at, entry_id, freezer_id=1, rule=rule, **more)


def fold(*marks: Mark, warm: Sequence[Warming] = ()) -> Times:
    return times_of(marks, {1: warm})


def was_enough(found: Times) -> bool:
    """Whether it came out, and had been cold long enough then."""
    return found.out_at is not None and found.enough_at is not None and found.enough_at <= found.out_at


# NPS Conserve O Gram 3/6: 6 to 10 days at -20 C; Berkeley: one week for all incoming dried plants; Naturalis: 72 hours at
# -30 C. Florida Museum: the days count from when the load is cold, and the bag stays closed until it is warm again.
@pytest.mark.parametrize(("c", "days"), [(-18.0, 7), (-20.0, 7), (-29.9, 7), (-30.0, 3), (-40.0, 3)])
def test_a_freezer_has_the_shortest_rule_that_it_reaches(c: float, days: int) -> None:
    assert rule_for(House(), c).days == days
    assert cold_rules(House()) == (ColdRule(-20, 7), ColdRule(-30, 3))


@pytest.mark.parametrize("late", [-1, 0, 1])
def test_seven_days_of_cold_and_a_day_closed_to_the_minute(late: int) -> None:
    out = IN + DAY + 7 * DAY + late * MINUTE
    found = fold(put_in(), mark(Step.LOAD_OUT, out, 2), mark(Step.LOAD_OPENED, out + DAY, 3))
    assert was_enough(found) is (late >= 0) and found.treated is (late >= 0)
    out = IN + 9 * DAY
    found = fold(put_in(), mark(Step.LOAD_OUT, out, 2), mark(Step.LOAD_OPENED, out + DAY + late * MINUTE, 3))
    assert was_enough(found) and found.treated is (late >= 0)


def test_a_night_in_which_the_clocks_change_is_no_shorter_in_the_freezer() -> None:
    # Clocks went back in London on 25 October 2026 at 1:00 UTC: a day of 25 hours on the wall, and of 24 in the freezer.
    found = fold(put_in())
    assert found.enough_at == datetime(2026, 10, 28, 10, 0, tzinfo=UTC)


def test_a_bag_that_was_opened_without_coming_out_first_is_no_treatment() -> None:
    found = fold(put_in(), mark(Step.LOAD_OPENED, IN + 30 * DAY, 2))
    assert found.treated is False and found.out_at == IN + 30 * DAY


def test_put_back_in_it_begins_again_and_what_it_had_does_not_add_up() -> None:
    marks = [put_in(), mark(Step.LOAD_OUT, IN + 5 * DAY, 2), put_in(IN + 5 * DAY + HOUR, 3)]
    found = fold(*marks)
    assert found.out_at is None and found.enough_at == IN + 13 * DAY + HOUR
    assert not was_enough(fold(*marks, mark(Step.LOAD_OUT, IN + 12 * DAY, 4)))


def test_a_reading_that_is_not_cold_enough_begins_nothing() -> None:
    warm = put_in(reckons=False)
    assert fold(warm).enough_at is None
    assert fold(warm, mark(Step.LOAD_COLD, IN + HOUR, 2, reading_c=-19.5)).enough_at is None
    assert fold(warm, mark(Step.LOAD_COLD, IN + HOUR, 2, reading_c=-20.0)).enough_at == IN + HOUR + 7 * DAY


warmings = st.lists(
    st.tuples(
        st.integers(-120, 900), st.one_of(st.none(), st.integers(0, 200)), st.sampled_from([None, -25.0, -20.0, -12.0])
    ),
    max_size=4,
)
readings = st.lists(st.tuples(st.integers(0, 900), st.sampled_from([-25.0, -20.0, -19.0])), max_size=3)


@given(warmings, readings, st.integers(1, 900), st.booleans())
def test_the_fold_agrees_with_looking_at_every_minute(
    warm: list[tuple[int, int | None, float | None]], read: list[tuple[int, float]], out: int, reckons: bool
) -> None:
    """Ten minutes of the model stand for an hour, so that a day of chilling is 240 and the rule's day another."""
    at = lambda tens: IN + tens * 6 * MINUTE  # noqa: E731
    spans = [Warming(at(begin), at(begin + lasts) if lasts is not None else None, c) for begin, lasts, c in warm]
    marks = [put_in(rule=ColdRule(-20, 1), reckons=reckons), mark(Step.LOAD_OUT, at(out), 99)]
    marks += [
        mark(Step.LOAD_COLD, at(when), 2 + place, reading_c=c)
        for place, (when, c) in enumerate(sorted(read))
        if when < out
    ]
    found = fold(*marks, warm=spans)
    assert was_enough(found) is _looked_at(warm, read, out, reckons)


def _looked_at(
    warm: list[tuple[int, int | None, float | None]], read: list[tuple[int, float]], out: int, reckons: bool
) -> bool:
    """Moment by moment: calm while nothing warms it; cold once it was read so, or a day after calm began; enough after a day.

    Every calm stretch is gone through by itself, from its first moment to its last.
    """
    felt = [(begin, lasts) for begin, lasts, c in warm if c is None or c > -20.0]
    is_warm = [any(b <= at and (n is None or at < b + n) for b, n in felt) for at in range(out)]
    shaken = {b for b, n in felt if n == 0}
    stretches: list[list[int]] = [[]]
    for at in range(out):
        if (is_warm[at] or at in shaken) and stretches[-1]:
            stretches.append([])
        if not is_warm[at]:
            stretches[-1].append(at)
    return any(_is_a_day(stretch, [at for at, c in read if c <= -20.0], reckons) for stretch in stretches if stretch)


def _is_a_day(stretch: list[int], cold: list[int], reckons: bool) -> bool:
    read = [at for at in cold if at in stretch]
    since = min(read) if read else (stretch[0] + 240 if reckons else None)
    return since is not None and sum(at >= since for at in stretch) >= 240
