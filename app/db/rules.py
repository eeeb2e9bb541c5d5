"""The room's own rules as they stand: house rules, number patterns and calendar, for those who write and who read."""

from __future__ import annotations

from collections.abc import Iterator
from typing import cast
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import CalendarDay, Change, HouseRule, NumberPattern, table_of
from app.db.prepared import Question, prepared
from app.domain.calendar import Calendar
from app.domain.house import House, with_values
from app.domain.numbers import Pattern

_VERSIONS = prepared(
    select(
        select(func.coalesce(func.max(table_of(HouseRule).c.version), 0)).scalar_subquery(),
        select(func.coalesce(func.max(table_of(Change).c.id), 0)).scalar_subquery(),
    )
)
_DAYS = prepared(select(table_of(CalendarDay).c.day, table_of(CalendarDay).c.is_open))


def room_ahead() -> Iterator[Question]:
    """What is asked by whoever asks for the house rules and for the calendar."""
    yield _VERSIONS, {}
    yield _DAYS, {}


def patterns_before(session: Session) -> tuple[Pattern, ...]:
    """The number patterns as they were read last, by whomever; none before that."""
    found = session.info["database"].kept.get("rules")
    return found[2] if found is not None else ()


def room_house(session: Session) -> tuple[House, tuple[Pattern, ...]]:
    """The house rules in force and the room's number patterns, read again only when either has changed."""
    database = session.info["database"]
    kept = database.kept
    version, changed = session.execute(_VERSIONS).one()
    found = kept.get("rules")
    if found is None or found[0] != (version, changed):
        # One value, so that a reader beside this one never sees half of a change.
        patterns = _patterns(session, database.is_practice)
        found = (version, changed), with_values(_values(session), version), patterns
        if not session.info.get("changes the room"):
            # What a writer has changed may still be undone with it.
            kept["rules"] = found
    return found[1], found[2]


def house_at(session: Session, version: int) -> House:
    """The house rules as they were at a version."""
    found = select(HouseRule.name, HouseRule.value).where(HouseRule.version <= version).order_by(HouseRule.version)
    return with_values({row.name: row.value for row in session.execute(found)}, version)


def room_calendar(session: Session, house: House, zone: ZoneInfo) -> Calendar:
    """The room's open days: its weekdays, and the dates set against them."""
    days = session.execute(_DAYS).all()
    found = Calendar(
        zone,
        house.open_weekdays,
        closed=frozenset(day for day, is_open in days if not is_open),
        opened=frozenset(day for day, is_open in days if is_open),
    )
    # The same days are the same calendar, with all that was found in it before.
    kept = session.info["database"].kept
    if kept.get("calendar") != found:
        kept["calendar"] = found
    return cast(Calendar, kept["calendar"])


def _values(session: Session) -> dict[str, int]:
    rows = session.execute(select(HouseRule.name, HouseRule.value).order_by(HouseRule.version))
    return {row.name: row.value for row in rows}


def foreign_patterns(session: Session) -> tuple[Pattern, ...]:
    """The patterns that are not read here: of the practice slips in a room, of the room's own sheets where people practise."""
    return _patterns(session, not session.info["database"].is_practice)


def _patterns(session: Session, is_practice: bool) -> tuple[Pattern, ...]:
    found = select(NumberPattern.prefix, NumberPattern.width, NumberPattern.has_check)
    rows = session.execute(found.where(NumberPattern.is_practice.is_(is_practice)).order_by(NumberPattern.id))
    return tuple(Pattern(row.prefix, row.width, row.has_check) for row in rows)
