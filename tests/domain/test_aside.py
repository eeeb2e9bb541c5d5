"""Until when a line may be put aside, which day is offered, and what brings it back."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.aside import checked_until, day_offered, last_day, still_hides
from app.domain.calendar import Calendar

WEEKDAYS = Calendar(ZoneInfo("Europe/London"), frozenset(range(5)))
WEDNESDAY, FRIDAY, MONDAY = date(2026, 11, 25), date(2026, 11, 27), date(2026, 11, 30)
NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
HOUR = timedelta(hours=1)


def test_the_next_friday_is_offered() -> None:
    assert day_offered("stalled", WEDNESDAY, WEEKDAYS) == FRIDAY
    assert day_offered("stalled", FRIDAY, WEEKDAYS) == FRIDAY + timedelta(days=7)


def test_a_friday_on_which_nobody_is_there_is_not_offered() -> None:
    shut = Calendar(WEEKDAYS.zone, WEEKDAYS.open_weekdays, closed=frozenset({FRIDAY}))
    assert day_offered("stalled", WEDNESDAY, shut) == FRIDAY + timedelta(days=7)
    never = Calendar(WEEKDAYS.zone, frozenset({0, 2}))
    assert day_offered("stalled", WEDNESDAY, never) == MONDAY


@pytest.mark.parametrize("kind", ["mounted-too-long", "weights-off", "out-early"])
def test_what_sets_meanwhile_waits_until_the_next_open_day_at_most(kind: str) -> None:
    assert day_offered(kind, FRIDAY, WEEKDAYS) == MONDAY == last_day(kind, FRIDAY, WEEKDAYS)
    assert checked_until(kind, MONDAY, FRIDAY, WEEKDAYS) == MONDAY
    with pytest.raises(ValueError, match="until Monday at the latest"):
        checked_until(kind, MONDAY + timedelta(days=1), FRIDAY, WEEKDAYS)


def test_everything_else_may_wait_sixty_days() -> None:
    assert checked_until("stalled", WEDNESDAY + timedelta(days=60), WEDNESDAY, WEEKDAYS) == date(2027, 1, 24)
    with pytest.raises(ValueError, match="for 60 days at most, until 24 Jan"):
        checked_until("stalled", WEDNESDAY + timedelta(days=61), WEDNESDAY, WEEKDAYS)


@pytest.mark.parametrize("days", [0, -1])
def test_it_is_put_aside_until_a_day_that_is_still_to_come(days: int) -> None:
    with pytest.raises(ValueError, match="after today"):
        checked_until("stalled", WEDNESDAY + timedelta(days=days), WEDNESDAY, WEEKDAYS)
    assert checked_until("stalled", WEDNESDAY + timedelta(days=1), WEDNESDAY, WEEKDAYS)


@pytest.mark.parametrize(
    ("then", "now", "hides"), [(1, 1, True), (1, 2, False), (20, 39, True), (20, 40, False), (20, 3, True)]
)
def test_twice_as_many_is_another_matter(then: int, now: int, hides: bool) -> None:
    assert still_hides(then, NOW, now, NOW - HOUR, NOW + HOUR) is hides


def test_what_began_again_since_is_another_matter() -> None:
    assert still_hides(1, NOW, 1, NOW, NOW + HOUR)
    assert not still_hides(1, NOW, 1, NOW + timedelta(seconds=1), NOW + HOUR)
    assert still_hides(1, NOW, 1, None, NOW + HOUR)
    assert still_hides(1, NOW, 1, NOW + 9 * HOUR, NOW + HOUR), "what is dated after now has not begun again"
