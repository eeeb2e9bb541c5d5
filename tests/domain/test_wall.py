"""What the clock on the wall means, in the nights when the clocks change."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from app.domain.wall import moments_of

LONDON = ZoneInfo("Europe/London")


def wall(text: str) -> datetime:
    """A date and time as the clock shows it, without a zone."""
    return datetime.fromisoformat(text)


def test_a_time_on_the_wall_is_one_moment_on_most_days() -> None:
    assert moments_of(wall("2026-07-01 14:05"), LONDON) == (datetime(2026, 7, 1, 13, 5, tzinfo=UTC),)


# Summer time in the United Kingdom begins and ends at 01:00 GMT on the last Sunday of March and of October:
# The Summer Time Order 2002 (S.I. 2002 No. 262), articles 2 and 3.
@pytest.mark.parametrize(
    ("shown", "moments"),
    [
        ("2026-10-25 00:59:59", ["2026-10-24 23:59:59"]),
        ("2026-10-25 01:00:00", ["2026-10-25 00:00:00", "2026-10-25 01:00:00"]),
        ("2026-10-25 01:59:59", ["2026-10-25 00:59:59", "2026-10-25 01:59:59"]),
        ("2026-10-25 02:00:00", ["2026-10-25 02:00:00"]),
        ("2026-03-29 00:59:59", ["2026-03-29 00:59:59"]),
        ("2026-03-29 01:00:00", []),
        ("2026-03-29 01:59:59", []),
        ("2026-03-29 02:00:00", ["2026-03-29 01:00:00"]),
    ],
)
def test_the_hour_that_comes_twice_is_two_moments_and_the_one_left_out_is_none(shown: str, moments: list[str]) -> None:
    assert moments_of(wall(shown), LONDON) == tuple(wall(moment).replace(tzinfo=UTC) for moment in moments)


def test_a_moment_with_a_zone_is_no_time_on_the_wall() -> None:
    with pytest.raises(ValueError, match="shows no time zone"):
        moments_of(datetime(2026, 7, 1, 14, 5, tzinfo=UTC), LONDON)
