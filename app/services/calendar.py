"""The room's calendar: dates closed or opened against their weekday, and the weekdays on which it is open."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, datetime

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.db.models import CalendarDay, table_of
from app.db.rules import room_house
from app.db.upsert import replacing
from app.domain.dates import MOST_DAYS, days_words
from app.domain.language import ENGLISH, say, speaking
from app.domain.words import WEEKDAYS
from app.services.changes import changed
from app.services.room import set_house_rule

CALENDAR_DAY = table_of(CalendarDay)
YEARS_AROUND = 10
MOST_SAID = 6  # runs of days named in one line of the history


def set_days(session: Session, days: Sequence[date], is_open: bool, why: str, now: datetime, *,
             by: int | None = None) -> int:  # fmt: skip
    """Close these dates, or open them, whatever their weekday says; return how many.

    ValueError without a reason, for no date, more than 400, or one more than ten years away.
    """
    return _write(session, dict.fromkeys(days, _given(why)), is_open, why, now, by)


def close_holidays(session: Session, named: Mapping[date, str], whose: str, now: datetime, *,
                   by: int | None = None) -> int:  # fmt: skip
    """Close the room on public holidays, each for its own name; `whose` says whose they are. ValueError as above."""
    return _write(session, {day: _given(name) for day, name in named.items()}, False, _given(whose), now, by)


def unset_days(session: Session, days: Sequence[date], why: str, now: datetime, *, by: int | None = None) -> int:
    """These dates are again as their weekday says; return how many were set otherwise. ValueError as above, and where
    none of them was set.
    """
    wanted, why = _checked(days, now), _given(why)
    was = _rows(session, wanted)
    if not was:
        raise ValueError(say("None of these dates was set. They are as their weekday says already."))
    session.execute(delete(CALENDAR_DAY).where(CALENDAR_DAY.c.day.in_(list(was))))
    with speaking(ENGLISH):
        new = f"as the weekday says {days_words(was)}"
    changed(session, now, by, "calendar", None, "dates", old=_as_it_was(was), new=new, why=why)
    return len(was)


def set_weekdays(session: Session, open_weekdays: Collection[int], reason: str, now: datetime,
                 by: int | None = None) -> int:  # fmt: skip
    """The weekdays (Monday 0 to Sunday 6) on which the room is open from now on; return how many were changed.

    ValueError for none at all, for a weekday that is not, or without a reason.
    """
    reason, wanted = _given(reason), set(open_weekdays)
    if not wanted <= set(range(7)):
        raise ValueError(say("Weekdays are Monday to Sunday."))
    if not wanted:
        raise ValueError(say("At least one weekday must be open. For a longer closure, close its dates."))
    differing = wanted ^ room_house(session)[0].open_weekdays
    # Those to be opened first: at no moment is the room closed on every weekday.
    for number in sorted(differing, key=lambda each: (each not in wanted, each)):
        set_house_rule(session, f"open_{WEEKDAYS[number].lower()}", int(number in wanted), reason, now, by=by)
    return len(differing)


def _write(session: Session, why_of: Mapping[date, str], is_open: bool, why: str, now: datetime,
           by: int | None) -> int:  # fmt: skip
    wanted = _checked(why_of, now)
    was = _rows(session, wanted)
    statement = replacing(session.get_bind().dialect.name, CALENDAR_DAY, ("is_open", "why"))
    session.execute(statement, [{"day": day, "is_open": is_open, "why": why_of[day]} for day in wanted])
    with speaking(ENGLISH):
        new = f"{_state(is_open)} {days_words(wanted)}"
    changed(session, now, by, "calendar", None, "dates", old=_as_it_was(was), new=new, why=_given(why))
    return len(wanted)


def _checked(days: Iterable[date], now: datetime) -> list[date]:
    """The dates in order, each once, if they lie within bounds."""
    wanted = sorted(set(days))
    if not wanted:
        raise ValueError(say("Name at least one date."))
    if len(wanted) > MOST_DAYS:
        raise ValueError(
            say(
                "That is {count:,} days. At most {most} can be set in one go.",
                count=len(wanted),
                most=MOST_DAYS,
            )
        )
    first, last = now.year - YEARS_AROUND, now.year + YEARS_AROUND
    if wanted[0].year < first or wanted[-1].year > last:
        raise ValueError(say("The calendar goes from {first} to {last}. Look at the years.", first=first, last=last))
    return wanted


def _given(why: str) -> str:
    if not why.strip():
        raise ValueError(say("Say why; it stands in the calendar."))
    return why.strip()


def _rows(session: Session, days: Sequence[date]) -> dict[date, tuple[bool, str]]:
    found = select(CALENDAR_DAY).where(CALENDAR_DAY.c.day.in_(days)).order_by(CALENDAR_DAY.c.day)
    return {row.day: (row.is_open, row.why) for row in session.execute(found)}


@speaking(ENGLISH)
def _as_it_was(was: Mapping[date, tuple[bool, str]]) -> str | None:
    """What stood there before, so that the history says what was overwritten; None where nothing did."""
    alike: dict[tuple[bool, str], list[date]] = {}
    for day, row in was.items():
        alike.setdefault(row, []).append(day)
    said = [f"{_state(row[0])} {days_words(days)}, {row[1]}" for row, days in alike.items()]
    more = f"; and {len(said) - MOST_SAID} more" if len(said) > MOST_SAID else ""
    return "; ".join(said[:MOST_SAID]) + more if said else None


def _state(is_open: bool) -> str:
    return "open" if is_open else "closed"
