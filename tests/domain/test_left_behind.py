"""Left behind: by the week after, in whole numbers, and by days that begin where the room is."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.calendar import local_day
from app.domain.left_behind import INTO, days_left_behind, has_gone_on, lies_in, spans_of
from app.domain.moves import WORKFLOW
from app.domain.stages import Step

WEDNESDAY = date(2026, 11, 25)
DAY = timedelta(days=1)


@pytest.mark.parametrize(
    ("came", "waiting", "left"),
    [(10, 1, False), (10, 0, True), (11, 1, True), (9, 0, False), (100, 10, False), (100, 9, True), (1000, 99, True)],
    ids=lambda value: str(value),
)
def test_more_than_nine_in_ten_of_at_least_ten_have_gone_on(came: int, waiting: int, left: bool) -> None:
    # By the room's own words: "more than", and at least; exactly nine in ten is not more.
    assert has_gone_on(60 * came, waiting, 90, 10) is left


@given(came=st.integers(0, 500), waiting=st.integers(0, 500), share=st.integers(50, 99), least=st.integers(3, 40))
def test_the_share_is_compared_exactly(came: int, waiting: int, share: int, least: int) -> None:
    expected = came >= least and Fraction(came - waiting, came) > Fraction(share, 100)
    assert has_gone_on(60 * came, waiting, share, least) is expected


def test_what_two_did_together_is_one_sheet_that_came() -> None:
    # Two credits of thirty sixtieths for each of ten sheets.
    assert has_gone_on(10 * (30 + 30), 0, 90, 10)
    assert not has_gone_on(9 * (30 + 30), 0, 90, 10)


def test_only_the_seven_days_after_are_asked() -> None:
    came = {WEDNESDAY: 600, WEDNESDAY + 8 * DAY: 600}
    assert days_left_behind(came, {WEDNESDAY: 1}, 90, 10) == frozenset()
    for after in range(1, 8):
        assert days_left_behind({WEDNESDAY + after * DAY: 600}, {WEDNESDAY: 1}, 90, 10) == {WEDNESDAY}


def test_those_that_still_wait_of_the_week_after_have_not_gone_on() -> None:
    came = {WEDNESDAY + DAY: 600, WEDNESDAY + 7 * DAY: 600}
    assert days_left_behind(came, {WEDNESDAY: 4, WEDNESDAY + DAY: 1}, 90, 10) == {WEDNESDAY, WEDNESDAY + DAY}
    waiting = {WEDNESDAY: 4, WEDNESDAY + DAY: 1, WEDNESDAY + 7 * DAY: 1}
    # Of the twenty that came after Wednesday two wait: exactly nine in ten. Of the ten after Thursday one waits.
    assert days_left_behind(came, waiting, 90, 10) == frozenset()


def test_a_day_on_which_nothing_waits_is_not_named() -> None:
    assert days_left_behind({WEDNESDAY + DAY: 6000}, {WEDNESDAY: 0}, 90, 10) == frozenset()


def test_days_that_follow_each_other_are_one_span() -> None:
    days = {WEDNESDAY, WEDNESDAY + DAY, WEDNESDAY + 4 * DAY}
    assert spans_of(days, ZoneInfo("Europe/London")) == (
        (datetime(2026, 11, 25, tzinfo=UTC), datetime(2026, 11, 27, tzinfo=UTC)),
        (datetime(2026, 11, 29, tzinfo=UTC), datetime(2026, 11, 30, tzinfo=UTC)),
    )


# The clocks of London go back at 2:00 on 25 October 2026, those of Lord Howe by half an hour at 2:00 on 5 April.
@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [("Europe/London", date(2026, 10, 25), 25), ("Europe/London", date(2026, 3, 29), 23),
     ("Australia/Lord_Howe", date(2026, 4, 5), 24.5), ("Asia/Kathmandu", date(2026, 4, 5), 24)],
)  # fmt: skip
def test_a_day_is_as_long_as_it_is_there(zone: str, day: date, hours: float) -> None:
    ((start, end),) = spans_of({day}, ZoneInfo(zone))
    assert (end - start) / timedelta(hours=1) == hours
    assert lies_in(start, spans_of({day}, ZoneInfo(zone))) and not lies_in(end, spans_of({day}, ZoneInfo(zone)))
    before = start - timedelta(microseconds=1)
    assert local_day(start, ZoneInfo(zone)) == day == local_day(before, ZoneInfo(zone)) + DAY
    assert not lies_in(before, spans_of({day}, ZoneInfo(zone)))


@given(
    days=st.sets(st.dates(date(2026, 1, 1), date(2026, 12, 31)), max_size=12),
    moment=st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31)),
    zone=st.sampled_from(
        ["Europe/London", "Australia/Lord_Howe", "Pacific/Chatham", "America/St_Johns", "Asia/Kolkata"]
    ),
)
def test_a_moment_lies_in_the_spans_of_just_the_day_on_the_wall(days: set[date], moment: datetime, zone: str) -> None:
    at, there = moment.replace(tzinfo=UTC), ZoneInfo(zone)
    assert lies_in(at, spans_of(days, there)) is (local_day(at, there) in days)


def test_every_step_that_is_counted_leads_into_its_stage() -> None:
    for stage, steps in INTO.items():
        assert {WORKFLOW[step].to for step in steps} == {stage}


def test_no_step_of_the_workflow_that_leads_there_is_forgotten() -> None:
    for stage, steps in INTO.items():
        assert {step for step, move in WORKFLOW.items() if move.to is stage} == steps
    assert Step.ANOTHER_SHEET not in {step for steps in INTO.values() for step in steps}
