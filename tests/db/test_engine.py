"""Writers one after the other in the order in which they came; readers who leave nothing behind."""

from __future__ import annotations

import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest
from sqlalchemy import insert, select
from sqlalchemy.exc import DBAPIError

from app.db.engine import Database, Turns, checkpoint, reading, transaction
from app.db.models import Setting, table_of

SETTING = table_of(Setting)


def test_turns_are_given_in_the_order_in_which_they_were_asked_for() -> None:
    turns, order = Turns(), []
    waiting: list[threading.Thread] = []

    def wait_for(number: int) -> None:
        with turns:
            order.append(number)

    with turns:
        for number in range(20):
            thread = threading.Thread(target=wait_for, args=(number,))
            thread.start()
            waiting.append(thread)
            _until(lambda number=number: len(turns._waiting) == number + 1)  # type: ignore[misc]
    for thread in waiting:
        thread.join(5)
    assert order == list(range(20))


def test_a_turn_is_given_back_when_the_work_fails() -> None:
    turns = Turns()
    with pytest.raises(ZeroDivisionError), turns:
        raise ZeroDivisionError
    with turns:
        assert turns._taken


def test_what_fails_is_undone_whole(database: Database) -> None:
    with pytest.raises(ZeroDivisionError), transaction(database) as session:
        session.execute(insert(SETTING), {"name": "a", "value": "1"})
        raise ZeroDivisionError
    assert _settings(database) == []


def test_a_reader_writes_nothing(database: Database) -> None:
    # A server refuses it; what is written to a file by somebody who reads is undone.
    with suppress(DBAPIError), reading(database) as session:
        session.execute(insert(SETTING), {"name": "a", "value": "1"})
    assert _settings(database) == []


def test_a_reader_sees_one_state_while_others_write(database: Database) -> None:
    with reading(database) as session:
        assert session.execute(select(SETTING.c.name)).scalars().all() == []
        with transaction(database) as writing:
            writing.execute(insert(SETTING), {"name": "a", "value": "1"})
        assert session.execute(select(SETTING.c.name)).scalars().all() == []
    assert _settings(database) == ["a"]


def test_eight_writers_at_once_lose_nothing(database: Database) -> None:
    def write(number: int) -> None:
        for turn in range(25):
            with transaction(database) as session:
                session.execute(insert(SETTING), {"name": f"{number}-{turn}", "value": ""})

    threads = [threading.Thread(target=write, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(_settings(database)) == 200


def _settings(database: Database) -> list[str]:
    with reading(database) as session:
        return list(session.execute(select(SETTING.c.name)).scalars())


def _until(is_so: object, limit_s: float = 5.0) -> None:
    end = time.monotonic() + limit_s
    while not is_so():  # type: ignore[operator]
        assert time.monotonic() < end
        time.sleep(0.001)


@pytest.mark.sqlite_only("a server looks after its own writing ahead")
def test_what_was_written_is_carried_over_while_others_read(database: Database) -> None:
    for number in range(20):
        with transaction(database) as session:
            session.execute(insert(SETTING), {"name": str(number), "value": "x" * 5000})
    ahead = Path(str(database.engine.url.database) + "-wal")
    assert ahead.stat().st_size > 0
    with reading(database) as session:
        assert len(session.execute(select(SETTING.c.name)).all()) == 20
        checkpoint(database)
    with database.engine.connect() as connection:
        busy, written, carried = connection.connection.driver_connection.execute(
            "PRAGMA wal_checkpoint(PASSIVE)"
        ).fetchone()  # type: ignore[union-attr]
        assert (busy, written) == (0, carried) and written > 0
    assert len(_settings(database)) == 20
