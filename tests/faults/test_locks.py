"""Others at the same file: one that holds it too long, one that reads without an end, and a second server."""

from __future__ import annotations

import sqlite3
import threading
import time
from contextlib import closing
from datetime import timedelta

import pytest
from sqlalchemy import func, select

from app import doctor_room
from app.clock import utc_now
from app.config import load_config
from app.db.engine import reading
from app.db.models import Scan
from tests.faults.conftest import Place
from tests.faults.load import Numbers, Sender, staff
from tests.faults.served import FILES, Nursery, differences, free_port, opened, serving

BUSY_S = 5  # PRAGMA busy_timeout of the program
HELD = "Another program holds the room's database. Nothing was written. Try again in a moment; if it goes on, tell whoever looks after the computer."


def test_while_another_program_holds_the_database_it_is_said_and_read_and_written_when_it_lets_go(place: Place) -> None:
    scanner, page, press, table, lists = staff(place.keys, "held")
    told: dict[str, tuple[int, float, str]] = {}
    with closing(sqlite3.connect(place.folder / FILES[0], isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        begun = time.monotonic()
        threads = [
            threading.Thread(target=_tries, args=(place, each, told, begun)) for each in (scanner, press, table, lists)
        ]
        for thread in threads:
            thread.start()
        time.sleep(0.5)
        assert place.served.get("/api/board", place.keys.manager)[0] == 200
        assert time.monotonic() - begun < BUSY_S, "a reader waited for the one who writes"
        for thread in threads:
            thread.join()
        other.execute("ROLLBACK")
    assert sorted(status for status, _, _ in told.values()) == [503] * 4
    # One waits for the file, the others for that one; none of them waits for the file once more.
    assert max(waited for _, waited, _ in told.values()) < 2 * BUSY_S
    assert {words for _, _, words in told.values()} == {HELD}
    for sender in (scanner, press, table, lists):
        assert _sends(place, sender)[0] == 200
    assert (
        differences(place.folder) == []
        and [_count(place, f"held-{each.name}") for each in (scanner, press, table, lists)] == [1] * 4
    )
    assert page.held is None


def test_one_who_reads_without_an_end_holds_nobody_up_and_the_doctor_tells_of_it(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(doctor_room, "LONGEST_JOURNAL_MB", 1)
    journal = place.folder / FILES[1]
    lists = staff(place.keys, "reads")[-1]
    with closing(sqlite3.connect(place.folder / FILES[0], isolation_level=None)) as other:
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM entry").fetchone()
        while journal.stat().st_size < 3_000_000:
            assert _sends(place, lists)[0] == 200
        assert "MB wait" in _said_of_the_journal(place)
        other.execute("ROLLBACK")
    assert _said_of_the_journal(place) == "All that was written is carried over into it in time."
    grown = journal.stat().st_size
    for _ in range(10):
        assert _sends(place, lists)[0] == 200
    # What has been carried over is written over again: the journal grows no more.
    assert journal.stat().st_size == grown
    assert differences(place.folder) == []


def test_two_servers_on_one_file_are_safe_and_hear_of_each_other(place: Place, nursery: Nursery) -> None:
    numbers = Numbers()
    crews = [staff(place.keys, f"s{which}", numbers) for which in (1, 2)]
    senders = [*crews[0], crews[1][0], crews[1][1], crews[1][4]]
    stop = threading.Event()
    with serving(place.folder, nursery) as second:
        second.port = free_port()
        second.up()
        ports = [place.served.port] * 5 + [second.port] * 3
        threads = [
            threading.Thread(target=each.run, args=(port, stop)) for each, port in zip(senders, ports, strict=True)
        ]
        for thread in threads:
            thread.start()
        time.sleep(3)
        stop.set()
        for thread in threads:
            thread.join()
        # The board of each tells what was written by the other, at the latest after its look every five seconds.
        time.sleep(5.5)
        boards = [each.get("/api/board", place.keys.manager)[1] for each in (place.served, second)]
    assert not any(each.wrong for each in senders) and all(each.answered for each in senders)
    stored = sum(len(each.answered) for each in senders)
    assert _count(place, "s") >= stored
    assert boards[0].split(b'"stages"')[1] == boards[1].split(b'"stages"')[1]
    assert differences(place.folder) == []


def _tries(place: Place, sender: Sender, told: dict[str, tuple[int, float, str]], begun: float) -> None:
    status, answer = _sends(place, sender)
    told[sender.name] = status, time.monotonic() - begun, str(answer.get("detail"))


def _sends(place: Place, sender: Sender) -> tuple[int, dict[str, object]]:
    sender.held = sender.held or next(sender.work)
    status, told = place.served.post(sender.held.path, sender.key, sender.held.body)
    if status == 200:
        sender.held = None
    return status, told


def _count(place: Place, name: str) -> int:
    with opened(place.folder) as database, reading(database) as session:
        return int(
            session.execute(select(func.count()).select_from(Scan).where(Scan.scan_id.startswith(name))).scalar_one()
        )


def _said_of_the_journal(place: Place) -> str:
    found = doctor_room.look_at_room(load_config(place.folder), utc_now() + timedelta(seconds=1))
    return next(each.words for each in found if each.what == "Journal")
