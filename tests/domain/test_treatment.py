"""How a treatment wears off: by open days in the open, and not while a sheet lies clean."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from app.domain.calendar import Calendar, open_time
from app.domain.house import House
from app.domain.treatment import STANDS_STILL, Treatment, begun, in_the_open, kept_clean

LONDON = ZoneInfo("Europe/London")
WEEK = Calendar(LONDON, frozenset(range(5)), closed=frozenset({date(2026, 11, 26)}))
WEDNESDAY = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def test_one_open_day_in_the_open_leaves_closed_days_out() -> None:
    # Wednesday noon, closed Thursday: half a day on Wednesday and half on Friday.
    assert begun(House(), WEEK, WEDNESDAY).until == datetime(2026, 11, 27, 12, 0, tzinfo=UTC)
    assert begun(House(treat_open_days=2), WEEK, WEDNESDAY).until == datetime(2026, 11, 30, 12, 0, tzinfo=UTC)


def test_in_a_clean_cabinet_it_stands_still_and_goes_on_where_it_stood() -> None:
    treated = begun(House(), WEEK, WEDNESDAY)
    kept = kept_clean(treated, WEEK, WEDNESDAY + timedelta(hours=6))
    assert kept == Treatment(STANDS_STILL, 64_800)
    assert kept_clean(kept, WEEK, WEDNESDAY + timedelta(days=90)) == kept
    tuesday = datetime(2027, 3, 2, 0, 0, tzinfo=UTC)
    assert in_the_open(kept, WEEK, tuesday) == Treatment(tuesday + timedelta(hours=18), None)


def test_what_is_worn_off_stays_worn_off() -> None:
    treated = begun(House(), WEEK, WEDNESDAY)
    later = WEDNESDAY + timedelta(days=10)
    assert kept_clean(treated, WEEK, later) == treated == in_the_open(treated, WEEK, later)


@given(st.lists(st.integers(1, 3000), min_size=1, max_size=6))
def test_the_open_time_in_all_is_never_more_than_the_house_allows(minutes: list[int]) -> None:
    treatment, at, spent = begun(House(treat_open_days=2), WEEK, WEDNESDAY), WEDNESDAY, timedelta(0)
    for place, many in enumerate(minutes):
        later = at + timedelta(minutes=many)
        if place % 2 == 0:
            treatment = in_the_open(treatment, WEEK, at)
            spent += timedelta(days=float(open_time(WEEK, at, later)))
        else:
            treatment = kept_clean(treatment, WEEK, at)
        at = later
    assert treatment.until is not None
    holds = treatment.until > at or treatment.until == STANDS_STILL
    slack = timedelta(seconds=len(minutes))
    assert holds is (spent < timedelta(days=2)) or abs(spent - timedelta(days=2)) <= slack
