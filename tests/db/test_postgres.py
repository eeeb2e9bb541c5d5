"""What PostgreSQL would do otherwise than the one-file database, and does not here. On SQLite the same tests say what is meant."""

from __future__ import annotations

import subprocess
import sys
import threading
from contextlib import nullcontext
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import bindparam, func, insert, literal, select, text
from sqlalchemy.exc import DBAPIError, IntegrityError

from app.config import HOME
from app.db.engine import Database, glance, open_database, reading, transaction
from app.db.fitness import Unfit, in_plain_words, state_of
from app.db.models import Cabinet, Setting, Sheet, Shelf, table_of
from app.db.postgres import with_driver
from app.db.prepared import ask_ahead, prepared
from app.db.talking import Talk
from app.db.upgrade import newest_revision, revision_of
from app.domain.stages import Step
from app.web.security import STATION_COOKIE
from tests.databases import SERVER, Rooms, address
from tests.room import Room
from tests.web.api_client import Scripts, bearer

CABINET, SETTING, SHEET, SHELF = (table_of(model) for model in (Cabinet, Setting, Sheet, Shelf))
ON_A_SERVER = pytest.mark.skipif(not SERVER, reason="the one-file database serves one process")
_ONE = prepared(select(SETTING.c.value).where(SETTING.c.name == bindparam("name")))
_ADD = prepared(insert(SETTING))
_WRITE = prepared(SETTING.update().where(SETTING.c.name == bindparam("of_name")).values(value=bindparam("to")))


def settings(database: Database, *names: str) -> list[str]:
    with transaction(database) as session:
        session.execute(insert(SETTING), [{"name": name, "value": ""} for name in names])
    with reading(database) as session:
        return list(session.execute(select(SETTING.c.name).order_by(SETTING.c.name)).scalars())


def test_texts_are_in_the_order_of_their_code_points_whatever_the_language_of_the_server(database: Database) -> None:
    found = settings(database, "b", "A", "a", "B", "É", "e", "-a", "_", "10", "9", "\U0001f33f")
    assert found == sorted(found) and found[:3] == ["-a", "10", "9"]
    with reading(database) as session:
        between = select(SETTING.c.name).where(SETTING.c.name >= "A", SETTING.c.name < "_")
        assert set(session.execute(between).scalars()) == {"A", "B"}
        assert session.execute(select(func.max(SETTING.c.name))).scalar() == "\U0001f33f"


def test_nothing_comes_first_and_last_the_other_way_round(room: Room) -> None:
    for made in (room.sheet_ready, room.sheet_mounted):
        made()
        room.wait(minutes=1)
    with transaction(room.database) as session:
        session.execute(SHEET.update().where(SHEET.c.id == 2).values(came_at=None))
    with reading(room.database) as session:
        up = [row is None for row in session.execute(select(SHEET.c.came_at).order_by(SHEET.c.came_at)).scalars()]
        down = [
            row is None for row in session.execute(select(SHEET.c.came_at).order_by(SHEET.c.came_at.desc())).scalars()
        ]
        joined = select(SHELF.c.name).select_from(SHEET).outerjoin(SHELF, SHELF.c.id == SHEET.c.shelf_id)
        names = session.execute(joined.order_by(SHELF.c.name)).scalars().all()
        rank = func.row_number().over(order_by=SHEET.c.came_at)
        first = session.execute(select(SHEET.c.id, rank.label("rank")).order_by("rank")).first()
    assert up == sorted(up, reverse=True) and down == sorted(down) and any(up) and not all(up)
    assert names[0] is None and names[-1] is not None
    assert first is not None and first.id == 2


def test_a_number_larger_than_its_column_is_not_found_and_no_fault(database: Database) -> None:
    with reading(database) as session:
        for number in (2**31, 2**40, 2**63 - 1, -(2**63)):
            assert session.execute(select(SHEET.c.id).where(SHEET.c.id == number)).first() is None
            assert session.execute(select(SHEET.c.id).where(SHEET.c.id.in_([1, number]))).first() is None


def test_a_sum_is_a_whole_number_and_a_mean_has_a_point(room: Room) -> None:
    with reading(room.database) as session:
        large = literal(2**40, CABINET.c.id.type)
        found = session.execute(select(func.sum(large + CABINET.c.id), func.avg(CABINET.c.id), func.sum(-large))).one()
    assert [type(each) for each in found] == [int, float, int] and found[1] == 2.5
    assert (found[0], found[2]) == (4 * 2**40 + 10, -4 * 2**40)


def test_a_text_with_a_nul_in_it_is_taken_somehow(database: Database) -> None:
    with transaction(database) as session:
        session.execute(insert(SETTING), {"name": "typed", "value": "a\0b"})
        assert session.execute(_ONE, {"name": "no\0such"}).first() is None
    with reading(database) as session:
        assert session.execute(_ONE, {"name": "typed"}).scalar_one()[::2] == "ab"


def test_an_error_names_no_values(database: Database) -> None:
    settings(database, "a badge that nobody may read")
    for statement in (insert(SETTING), prepared(insert(SETTING))):
        with pytest.raises(IntegrityError) as failed, transaction(database) as session:
            session.execute(statement, {"name": "a badge that nobody may read", "value": ""})
        assert "badge" not in str(failed.value) and "badge" not in str(failed.value.orig)


def test_moments_are_the_same_instants_whatever_the_zone_of_the_server(database: Database) -> None:
    with reading(database) as session:
        moment = literal(datetime(2026, 11, 25, 9, 0, 0, 123456, tzinfo=UTC), SHEET.c.came_at.type)
        assert session.execute(select(moment)).scalar_one() == datetime(2026, 11, 25, 9, 0, 0, 123456, tzinfo=UTC)


@pytest.mark.parametrize("short", ["postgresql://a@b/c", "postgres://a@b/c", "postgresql+psycopg://a@b/c"])
def test_an_address_needs_no_driver(short: str) -> None:
    assert with_driver(short).render_as_string() == "postgresql+psycopg://a@b/c"


# -- what is said together -------------------------------------------------------------------------------------
def test_what_was_asked_ahead_is_asked_again_once_something_was_written(database: Database) -> None:
    settings(database, "a", "b")
    with transaction(database) as session:
        for number, write in enumerate((
            lambda to: session.execute(_WRITE, {"of_name": "a", "to": to}),
            lambda to: session.execute(SETTING.update().where(SETTING.c.name == "a").values(value=to)),
            lambda to: session.execute(text("UPDATE setting SET value = :to WHERE name = 'a'"), {"to": to}),
            lambda to: session.execute(Setting.__table__.update(), [{"value": to}, {"value": to}]),
        )):  # fmt: skip
            ask_ahead(session, [(_ONE, {"name": "a"}), (_ONE, {"name": "b"})])
            write(str(number))
            assert session.execute(_ONE, {"name": "a"}).scalar_one() == str(number)
    with reading(database) as session:
        ask_ahead(session, [(_ONE, {"name": "a"}), (_ONE, {"name": "none"})])
        asked = [session.execute(_ONE, {"name": name}).scalar() for name in ("a", "none", "b", "a")]
    assert asked == ["3", None, "3", "3"]


def test_a_write_that_nobody_waited_for_fails_before_the_end_and_leaves_nothing(database: Database) -> None:
    settings(database, "there")
    for last in (lambda session: None, lambda session: session.execute(_ONE, {"name": "new"}).first()):
        with pytest.raises(IntegrityError), transaction(database) as session:
            session.execute(_ADD, {"name": "new", "value": ""})
            session.execute(_ADD, [{"name": name, "value": ""} for name in ("newer", "there")])
            last(session)
    assert settings(database, "after") == ["after", "there"]


def test_a_write_that_nobody_waited_for_is_undone_with_its_part_alone(database: Database) -> None:
    with transaction(database) as session:
        session.execute(_ADD, {"name": "before", "value": "1"})
        for first in ("x", "before"):
            with pytest.raises(IntegrityError if first == "before" else RuntimeError), session.begin_nested():
                session.execute(_ADD, {"name": first, "value": "2"})
                if first == "x":
                    raise RuntimeError
        session.execute(_ADD, {"name": "behind", "value": "3"})
        assert session.execute(_ONE, {"name": "before"}).scalar_one() == "1"
    assert settings(database, "end") == ["before", "behind", "end"]


def test_nothing_of_what_was_not_ended_stays(database: Database) -> None:
    for ends in (True, False):
        with pytest.raises(RuntimeError), transaction(database) as session:
            session.execute(_ADD, {"name": "never", "value": ""})
            if ends:
                assert session.execute(_ONE, {"name": "never"}).scalar_one() == ""
            raise RuntimeError
    assert settings(database, "only") == ["only"]


@ON_A_SERVER
def test_a_line_that_forgot_what_was_prepared_there_says_it_anew(database: Database) -> None:
    settings(database, "a")
    for words in ("ALTER TABLE setting ALTER value SET DEFAULT ''", "DEALLOCATE ALL"):
        for _ in range(8):
            with transaction(database) as session:
                session.execute(select(SETTING.c.name)).all()
                assert session.execute(_ONE, {"name": "a"}).scalar_one() == ""
        with transaction(database) as session:
            session.execute(_ONE, {"name": "a"})
            session.execute(text(words))
            assert session.execute(_ONE, {"name": "a"}).scalar_one() == ""


@ON_A_SERVER
def test_a_scan_goes_to_the_server_and_back_a_few_times_only(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    number, trips = room.sheet_ready(), counted(monkeypatch)
    for step, station in ((Step.TAKE_UP, "table-1"), (Step.MOUNT, "table-1")):
        trips.clear()
        assert room.scans(number, station, step=step).kind == "done"
        assert len(trips) <= 6 and sum(trips) > 3 * len(trips), trips


@ON_A_SERVER
def test_who_is_at_the_door_is_asked_in_one_trip(room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scripts = Scripts(room, tmp_path)
    keys = {"read": 403, "unknown": 401}
    headers = {name: bearer(scripts.key(name) if name == "read" else "k" * 43) for name in keys}
    trips = counted(monkeypatch)
    for _ in range(2):
        for name, status in keys.items():
            trips.clear()
            assert scripts.client.post("/api/sheets", headers=headers[name]).status_code == status
            assert trips == [1], name
    scripts.client.set_cookie(STATION_COOKIE, "of no station")
    trips.clear()
    assert scripts.client.get("/board").status_code == 302 and trips == [1]


def counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many statements go to the server in each trip, from now on."""
    trips, there_and_back = list[int](), Talk._there_and_back
    monkeypatch.setattr(
        Talk, "_there_and_back", lambda talk, said: trips.append(len(said)) or there_and_back(talk, said)
    )
    return trips


def test_a_glance_finds_what_was_written_last_and_leaves_its_line_as_it_was(database: Database) -> None:
    settings(database, "a")
    for to in ("1", "2"):
        with transaction(database) as session:
            session.execute(_WRITE, {"of_name": "a", "to": to})
        with glance(database) as session:
            assert session.execute(_ONE, {"name": "a"}).scalar_one() == to
    with pytest.raises(ZeroDivisionError), glance(database) as session:
        session.execute(_ONE, {"name": "a"})
        raise ZeroDivisionError
    assert settings(database, "b") == ["a", "b"]


def test_nothing_is_written_in_a_glance(database: Database) -> None:
    settings(database, "a")
    for write in (
        lambda session: session.execute(_ADD, {"name": "b", "value": ""}),
        lambda session: session.execute(_WRITE, {"of_name": "a", "to": "x"}),
        lambda session: session.execute(insert(SETTING), {"name": "c", "value": ""}),
        lambda session: session.execute(text("UPDATE setting SET value = 'x'")),
        lambda session: session.add(Setting(name="d", value="")) or session.flush(),
    ):
        refused = pytest.raises(RuntimeError, match="only prepared questions") if SERVER else nullcontext()
        with refused, glance(database) as session:
            write(session)
    with reading(database) as session:
        assert session.execute(select(SETTING.c.name, SETTING.c.value)).all() == [("a", "")]


# -- several processes ------------------------------------------------------------------------------------------
@ON_A_SERVER
def test_writers_of_several_programs_come_one_at_a_time(database: Database) -> None:
    others = [open_database(address(database)) for _ in range(4)]

    def count(one: Database) -> None:
        for _ in range(25):
            with transaction(one) as session:
                value = int(session.execute(_ONE, {"name": "count"}).scalar_one())
                session.execute(SETTING.update().where(SETTING.c.name == "count").values(value=str(value + 1)))

    with transaction(database) as session:
        session.execute(insert(SETTING), {"name": "count", "value": "0"})
    threads = [threading.Thread(target=count, args=(one,)) for one in others]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    for one in others:
        one.engine.dispose()
    with reading(database) as session:
        assert session.execute(_ONE, {"name": "count"}).scalar_one() == "100"


@ON_A_SERVER
def test_the_turn_is_given_back_by_a_program_that_dies(database: Database) -> None:
    other = open_database(address(database))
    with pytest.raises(DBAPIError), transaction(other) as session:
        mine = session.execute(text("SELECT pg_backend_pid()")).scalar_one()
        with reading(database) as outside:
            outside.execute(select(func.pg_terminate_backend(mine)))
        session.execute(_ONE, {"name": "x"})
    assert settings(database, "after") == ["after"]
    assert settings(other, "again") == ["after", "again"], "the connection that was cut is given up"
    other.engine.dispose()


@ON_A_SERVER
def test_two_programs_that_start_on_an_empty_database_make_one_room(rooms: Rooms, tmp_path: Path) -> None:
    url = rooms.empty_url(tmp_path / "x")
    assert state_of(url) == "empty"
    words = "import sys; from app.db.upgrade import upgrade; upgrade(sys.argv[1])"
    both = [subprocess.Popen([sys.executable, "-c", words, url], cwd=HOME) for _ in range(2)]
    assert [each.wait(60) for each in both] == [0, 0]
    assert revision_of(url) == newest_revision() and state_of(url) == "newest"


# -- said plainly -----------------------------------------------------------------------------------------------
@ON_A_SERVER
def test_what_is_wrong_with_the_address_is_said_in_a_sentence(database: Database) -> None:
    right = with_driver(address(database))
    for url, said in (
        (right.set(database="no_such_room"), "createdb"),
        (right.set(port=1), "No PostgreSQL answers"),
        (right.set(host="no-such-machine.invalid"), "no machine of the name"),
    ):
        with pytest.raises(Unfit, match=said), in_plain_words():
            state_of(url.render_as_string(hide_password=False))
