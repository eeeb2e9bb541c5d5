"""When a time at a station ends by itself, and how its seconds fall into months."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.attendance import forgotten_before, idle_since, seconds_by_month
from app.domain.house import RULES, House, checked

LONDON = ZoneInfo("Europe/London")
NINE = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


@pytest.mark.parametrize(
    ("seen", "now", "limit", "ended"),
    [
        (None, 120, 120, None),
        (None, 121, 120, 0),
        (30, 150, 120, None),
        (30, 151, 120, 30),
        # The last scan there was before this sign-in: it is the sign-in that counts.
        (-60, 100, 120, None),
        (-60, 121, 120, 0),
        (30, 100_000, 0, None),
        # A clock that was set back has nobody idle.
        (30, 10, 120, None),
    ],
)
def test_a_time_ends_with_the_last_scan_once_the_limit_has_passed(
    seen: int | None, now: int, limit: int, ended: int | None
) -> None:
    seen_at = None if seen is None else NINE + seen * MINUTE
    found = idle_since(NINE, seen_at, NINE + now * MINUTE, limit)
    assert found == (None if ended is None else NINE + ended * MINUTE)


def test_the_house_rules_are_two_hours_and_a_year_within_their_bounds() -> None:
    assert (House().idle_sign_out_min, House().keep_hours_months) == (120, 12)
    assert (RULES["idle_sign_out_min"].low, RULES["idle_sign_out_min"].high) == (0, 720)
    with pytest.raises(ValueError, match="between 1 and 120, not 0"):
        checked("keep_hours_months", 0)


@pytest.mark.parametrize(
    ("now", "months", "limit"),
    [
        (datetime(2026, 11, 25, 14, 0, tzinfo=UTC), 12, datetime(2025, 11, 25, 0, 0, tzinfo=UTC)),
        # 31 May has no like in February.
        (datetime(2026, 5, 31, 9, 0, tzinfo=UTC), 3, datetime(2026, 2, 28, 0, 0, tzinfo=UTC)),
        # In London it is 1 July already; midnight of 1 June in summer is 23:00 UTC of the day before.
        (datetime(2026, 6, 30, 23, 30, tzinfo=UTC), 1, datetime(2026, 5, 31, 23, 0, tzinfo=UTC)),
    ],
)
def test_hours_are_kept_to_the_same_day_so_many_months_ago(now: datetime, months: int, limit: datetime) -> None:
    assert forgotten_before(now, months, LONDON) == limit


@pytest.mark.parametrize(
    ("start", "end", "sums"),
    [
        ((2026, 11, 25, 9, 0), (2026, 11, 25, 12, 30), {"2026-11": 12_600}),
        # Half an hour on each side of the year's end.
        ((2026, 12, 31, 23, 30), (2027, 1, 1, 0, 30), {"2026-12": 1_800, "2027-01": 1_800}),
        # June begins in London at 23:00 UTC.
        ((2026, 5, 31, 22, 0), (2026, 5, 31, 23, 30), {"2026-05": 3_600, "2026-06": 1_800}),
        # Somebody who forgot to sign out in March: 31 days less the hour that went, and the whole of April.
        ((2026, 3, 1, 0, 0), (2026, 4, 30, 23, 0), {"2026-03": 31 * 86_400 - 3_600, "2026-04": 30 * 86_400}),
        ((2026, 11, 25, 9, 0), (2026, 11, 25, 9, 0), {}),
        ((2026, 11, 25, 9, 0), (2026, 11, 25, 8, 0), {}),
    ],
)
def test_seconds_fall_into_the_months_of_the_room(
    start: tuple[int, ...], end: tuple[int, ...], sums: dict[str, int]
) -> None:
    assert seconds_by_month(datetime(*start, tzinfo=UTC), datetime(*end, tzinfo=UTC), LONDON) == sums  # type: ignore[misc, arg-type]


@given(st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1)), st.integers(1, 200 * 86_400 * 10**6))
def test_no_second_is_lost_between_the_months(start: datetime, microseconds: int) -> None:
    begun = start.replace(tzinfo=UTC)
    sums = seconds_by_month(begun, begun + timedelta(microseconds=microseconds), LONDON)
    assert sum(sums.values()) == microseconds // 10**6
    assert all(seconds > 0 for seconds in sums.values()) and list(sums) == sorted(sums)
