"""What goes on beside the pages: what is no longer kept is forgotten once a day, and last week's report is read ahead."""

from __future__ import annotations

from datetime import timedelta

from sqlalchemy import event, select

from app.background import each_day, read_ahead
from app.clock import Watch
from app.db.engine import reading
from app.db.models import RefusedScan
from app.queries.week import week
from tests.room import LONDON, Room


def test_refusals_are_forgotten_with_the_rest_when_their_months_are_over(room: Room) -> None:
    assert room.scans("TQX 999999", "table-1").refusals
    refused_at = room.now
    for months_later, kept in ((11, 1), (14, 0)):
        assert each_day(room.database, Watch(), refused_at + timedelta(days=31 * months_later), LONDON)
        with reading(room.database) as session:
            assert len(session.execute(select(RefusedScan)).all()) == kept


def test_a_week_that_was_read_ahead_is_there_at_once_and_a_young_room_has_none(room: Room) -> None:
    read_ahead(room.database, room.now, LONDON)
    room.sheet_mounted()
    room.wait(days=7)
    read_ahead(room.database, room.now, LONDON)
    asked = statements(room)
    room.database.kept.clear()
    assert 0 < asked < statements(room)


def statements(room: Room) -> int:
    """How many questions the report of last week puts to the database now."""
    found: list[str] = []
    note = lambda *args: found.append(args[2])  # noqa: E731
    event.listen(room.database.engine, "before_cursor_execute", note)
    year, number, _ = (room.now - timedelta(days=7)).date().isocalendar()
    with reading(room.database) as session:
        week(session, year, number, room.now, LONDON)
    event.remove(room.database.engine, "before_cursor_execute", note)
    return len(found)
