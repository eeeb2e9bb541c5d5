"""After a year hours are the room's sums, and who saw a sheet is forgotten; who worked on it is not."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, select

from app import background
from app.clock import Watch
from app.config import HOME
from app.db.engine import Database, reading, transaction
from app.db.models import Attendance, EntryWorker, HoursSum, Sighting, TallyDay, table_of
from app.services.forgetting import forget_old
from app.services.room import set_house_rule
from tests.databases import Rooms, address
from tests.room import LONDON, Room
from tests.services.days import differences, new_room

TIMES = table_of(Attendance)
SEEN = table_of(Sighting)
# The tests' Wednesday; a year before it the hours end to be kept by person.
NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
LIMIT = datetime(2025, 11, 25, 0, 0, tzinfo=UTC)
SECOND = timedelta(seconds=1)


def there(room: Room, who: str, at: str, since: datetime, until: datetime | None) -> None:
    """Somebody was at a station from then until then."""
    with transaction(room.database) as session:
        session.add(
            Attendance(worker_id=room.worker[who], station_id=room.station[at], signed_in_at=since, signed_out_at=until)
        )


def seen(room: Room, sheet: int, at: datetime) -> None:
    """Piet saw a sheet."""
    values = {
        "subject_kind": "sheet",
        "subject_id": sheet,
        "seen_at": at,
        "station_id": 1,
        "worker_id": room.worker["piet"],
    }
    with transaction(room.database) as session:
        session.add(Sighting(**values))


def forgets(room: Room, now: datetime | None = None) -> int:
    """The room forgets what it no longer keeps."""
    with transaction(room.database) as session:
        return forget_old(session, now or room.now, room.zone)


def sums(room: Room) -> dict[tuple[str, str], int]:
    """The hours that are kept as sums, by month and station."""
    slugs = {station_id: slug for slug, station_id in room.station.items()}
    with reading(room.database) as session:
        return {(row.month, slugs[row.station_id]): row.seconds for row in session.execute(select(table_of(HoursSum)))}


def kept(room: Room) -> list[Any]:
    """The times that are kept by person."""
    with reading(room.database) as session:
        return list(session.execute(select(TIMES.c.signed_in_at, TIMES.c.signed_out_at).order_by(TIMES.c.id)))


@pytest.fixture
def empty(room: Room) -> Room:
    """A room in which nobody has been yet."""
    with transaction(room.database) as session:
        session.execute(delete(TIMES))
    return room


def test_hours_older_than_a_year_become_sums_of_their_month_and_station(empty: Room) -> None:
    there(empty, "olwen", "table-1", datetime(2025, 10, 1, 8, tzinfo=UTC), datetime(2025, 10, 1, 12, tzinfo=UTC))
    there(empty, "piet", "table-1", datetime(2025, 10, 2, 8, tzinfo=UTC), datetime(2025, 10, 2, 9, tzinfo=UTC))
    there(empty, "piet", "press", datetime(2025, 10, 2, 9, tzinfo=UTC), datetime(2025, 10, 2, 9, 30, tzinfo=UTC))
    # Somebody worked past midnight at the end of a month; in October London is on winter time again.
    there(empty, "piet", "press", datetime(2025, 10, 31, 23, 45, tzinfo=UTC), datetime(2025, 11, 1, 0, 30, tzinfo=UTC))
    there(empty, "olwen", "press", datetime(2026, 10, 2, 9, tzinfo=UTC), datetime(2026, 10, 2, 9, 30, tzinfo=UTC))
    assert forgets(empty) == 4
    assert sums(empty) == {
        ("2025-10", "table-1"): 5 * 3600, ("2025-10", "press"): 1800 + 900, ("2025-11", "press"): 1800,
    }  # fmt: skip
    assert [row.signed_in_at.year for row in kept(empty)] == [2026]


def test_what_ended_on_the_last_day_that_is_kept_is_kept(empty: Room) -> None:
    there(empty, "olwen", "press", LIMIT - 9000 * SECOND, LIMIT - SECOND)
    there(empty, "piet", "press", LIMIT - 9000 * SECOND, LIMIT)
    assert forgets(empty) == 1 and sums(empty) == {("2025-11", "press"): 8999}
    assert [row.signed_out_at for row in kept(empty)] == [LIMIT]
    assert forgets(empty, NOW + timedelta(days=1)) == 1 and sums(empty) == {("2025-11", "press"): 17_999}


def test_whoever_is_still_signed_in_is_not_forgotten(empty: Room) -> None:
    there(empty, "olwen", "press", LIMIT - timedelta(days=300), None)
    assert forgets(empty) == 0 and sums(empty) == {}
    assert len(kept(empty)) == 1


def test_forgetting_twice_is_forgetting_once(empty: Room) -> None:
    there(empty, "olwen", "press", LIMIT - timedelta(days=300), LIMIT - timedelta(days=300) + timedelta(hours=2))
    assert [forgets(empty), forgets(empty), forgets(empty)] == [1, 0, 0]
    assert list(sums(empty).values()) == [7200]


def test_the_house_says_for_how_long(empty: Room) -> None:
    there(empty, "olwen", "press", NOW - timedelta(days=40), NOW - timedelta(days=40) + timedelta(hours=2))
    assert forgets(empty) == 0
    with transaction(empty.database) as session:
        set_house_rule(session, "keep_hours_months", 1, "as little as we can", empty.now)
    assert forgets(empty) == 1


def test_a_time_that_ends_before_it_began_adds_nothing(empty: Room) -> None:
    there(empty, "olwen", "press", LIMIT - timedelta(days=3), LIMIT - timedelta(days=4))
    assert forgets(empty) == 1 and sums(empty) == {} and kept(empty) == []


def test_who_saw_a_sheet_is_forgotten_and_that_it_was_seen_is_not(empty: Room) -> None:
    seen(empty, 1, LIMIT - SECOND)
    seen(empty, 2, LIMIT)
    forgets(empty)
    with reading(empty.database) as session:
        found = session.execute(
            select(SEEN.c.subject_id, SEEN.c.seen_at, SEEN.c.worker_id).order_by(SEEN.c.subject_id)
        ).all()
    assert [tuple(row) for row in found] == [(1, LIMIT - SECOND, None), (2, LIMIT, empty.worker["piet"])]


def test_who_worked_on_a_sheet_stays_with_it(room: Room) -> None:
    number = room.sheet_in("P1")
    steps, hands = room.steps(number), _hands(room)
    room.wait(days=3650)
    forgets(room)
    assert room.steps(number) == steps and _hands(room) == hands and hands
    assert differences(room.database) == []


def _hands(room: Room) -> list[Any]:
    with reading(room.database) as session:
        credited = session.execute(select(EntryWorker.entry_id, EntryWorker.worker_id, EntryWorker.role)).all()
        return [
            *credited,
            *session.execute(select(TallyDay.day, TallyDay.worker_id, TallyDay.step, TallyDay.sheets)).all(),
        ]


# -- all or nothing -----------------------------------------------------------------------------------------------
def test_when_it_fails_on_the_way_nothing_is_forgotten(empty: Room) -> None:
    there(empty, "olwen", "press", LIMIT - timedelta(days=3), LIMIT - timedelta(days=2))
    seen(empty, 1, LIMIT - SECOND)
    before = kept(empty)
    with pytest.raises(ZeroDivisionError), transaction(empty.database) as session:
        forget_old(session, empty.now, empty.zone)
        raise ZeroDivisionError
    assert kept(empty) == before and sums(empty) == {}
    assert forgets(empty) == 1 and sum(sums(empty).values()) == 86_400


DIES = """
import os, signal, sys
from datetime import UTC, datetime
from zoneinfo import ZoneInfo
from sqlalchemy import event
from app.db.engine import open_database, transaction
from app.services.forgetting import forget_old
database = open_database(sys.argv[1])
def dies(_connection, _cursor, statement, *_):
    if statement.lstrip().upper().startswith(sys.argv[2]):
        os.kill(os.getpid(), signal.SIGKILL)
event.listen(database.engine, "after_cursor_execute", dies)
with transaction(database) as session:
    forget_old(session, datetime(2026, 11, 25, 9, tzinfo=UTC), ZoneInfo("Europe/London"))
    if sys.argv[2] == "COMMIT":
        os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is POSIX")
@pytest.mark.parametrize("after", ["DELETE FROM ATTENDANCE", "UPDATE SIGHTING", "COMMIT"])
def test_killed_on_the_way_it_forgets_nothing_and_the_next_day_all_of_it_once(
    rooms: Rooms, tmp_path: Path, after: str
) -> None:
    room = new_room(rooms, tmp_path)
    for day in range(50):
        since = LIMIT - timedelta(days=30 + day)
        there(room, "olwen", "press", since, since + timedelta(hours=2))
    before = kept(room)
    command = [sys.executable, "-c", DIES, address(room.database), after]
    died = subprocess.run(command, cwd=HOME, env=dict(os.environ), check=False)
    assert died.returncode == -signal.SIGKILL
    assert kept(room) == before and sums(room) == {}
    assert forgets(room) == 50 and sum(sums(room).values()) == 50 * 7200
    room.database.engine.dispose()


# -- once a day ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("doubtful", ["ahead", "since the start", ""])
def test_a_clock_in_doubt_forgets_nothing(empty: Room, doubtful: str) -> None:
    there(empty, "olwen", "press", LIMIT - timedelta(days=3), LIMIT - timedelta(days=2))
    watch = Watch(doubtful_since_start=doubtful == "since the start")
    if doubtful == "ahead":
        watch.wall_at -= timedelta(days=400)
    assert background.each_day(empty.database, watch, empty.now, empty.zone) is (not doubtful)
    assert len(kept(empty)) == (1 if doubtful else 0)


# -- whatever was -------------------------------------------------------------------------------------------------
@settings(max_examples=25)
@given(st.lists(st.tuples(st.integers(0, 500), st.integers(0, 1000), st.integers(0, 86_400 * 3)), max_size=12))
def test_by_person_or_as_a_sum_each_second_is_there_once(
    tmp_path_factory: pytest.TempPathFactory, rooms: Rooms, spans: list[tuple[int, int, int]]
) -> None:
    room = new_room(rooms, tmp_path_factory.mktemp("sums"))
    with transaction(room.database) as session:
        session.execute(delete(TIMES))
    whole: Counter[str] = Counter()
    for days, late, seconds in spans:
        at = random.Random(days * 1000 + late).choice(["press", "table-1"])
        since = NOW - timedelta(days=days + 1, minutes=late)
        there(room, "olwen", at, since, since + seconds * SECOND)
        whole[at] += seconds
    for later in range(0, 900, 150):
        forgets(room, NOW + timedelta(days=later))
        assert _by_person_or_as_a_sum(room) == +whole
    assert kept(room) == []
    room.database.engine.dispose()


def _by_person_or_as_a_sum(room: Room) -> Counter[str]:
    slugs = {station_id: slug for slug, station_id in room.station.items()}
    found: Counter[str] = Counter()
    for (_, at), seconds in sums(room).items():
        found[at] += seconds
    with reading(room.database) as session:
        for row in session.execute(select(TIMES)):
            found[slugs[row.station_id]] += round((row.signed_out_at - row.signed_in_at).total_seconds())
    return +found


def test_the_database_of_an_empty_room_has_nothing_to_forget(database: Database) -> None:
    with transaction(database) as session:
        assert forget_old(session, NOW, LONDON) == 0
