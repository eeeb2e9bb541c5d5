"""The room's own rules as the pages read them: house rules, number patterns and calendar."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.db.rules import room_calendar, room_house
from app.domain.calendar import Calendar
from app.domain.house import House
from app.domain.numbers import Pattern


def house_now(session: Session) -> House:
    """The house rules in force."""
    return room_house(session)[0]


def patterns_now(session: Session) -> tuple[Pattern, ...]:
    """The patterns of this room's sheet numbers."""
    return room_house(session)[1]


def calendar_now(session: Session, house: House, zone: ZoneInfo) -> Calendar:
    """The days on which the room is open, in its own zone."""
    return room_calendar(session, house, zone)
