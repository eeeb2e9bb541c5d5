"""Putting a line of what needs a person aside: how long it may be, and what brings it back sooner."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from app.domain.calendar import DAY, Calendar, next_open
from app.domain.language import say
from app.domain.words import day_said

MOST_DAYS = 60
FRIDAY = 4
# Wet glue sets, with weights on it or without.
CANNOT_WAIT = frozenset({"mounted-too-long", "weights-off", "out-early"})


def last_day(kind: str, today: date, calendar: Calendar) -> date:
    """The latest day until which a line of this kind may be put aside."""
    return _next_open(today, calendar) if kind in CANNOT_WAIT else today + timedelta(days=MOST_DAYS)


def day_offered(kind: str, today: date, calendar: Calendar) -> date:
    """The day that is offered: the next open one for what cannot wait, else the next Friday on which the room is open."""
    soonest = _next_open(today, calendar)
    if kind in CANNOT_WAIT:
        return soonest
    days = (today + timedelta(days=ahead) for ahead in range(1, MOST_DAYS + 1))
    return next((day for day in days if day.weekday() == FRIDAY and calendar.is_open(day)), soonest)


def checked_until(kind: str, until: date, today: date, calendar: Calendar) -> date:
    """The day, if a line of this kind may be put aside until then; otherwise ValueError with a sentence."""
    if until <= today:
        raise ValueError(say("Give a day after today: until then the line is put aside."))
    last = last_day(kind, today, calendar)
    if until <= last:
        return until
    if kind in CANNOT_WAIT:
        raise ValueError(
            say("The glue sets meanwhile: put it aside until {day} at the latest.", day=day_said(last, today))
        )
    raise ValueError(
        say("Put it aside for {most} days at most, until {day}.", most=MOST_DAYS, day=day_said(last, today))
    )


def still_hides(many_then: int, aside_at: datetime, many_now: int, began: datetime | None, now: datetime) -> bool:
    """Whether a line that was put aside stays so: it has not grown to the double, and did not end and begin again since.

    What is dated after now tells nothing of when it began.
    """
    began_again = began is not None and aside_at < began <= now
    return many_now < 2 * many_then and not began_again


def _next_open(today: date, calendar: Calendar) -> date:
    return next_open(calendar, today + DAY) or today + DAY
