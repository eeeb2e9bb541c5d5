"""Prepared statements give what SQLAlchemy gives: the same rows, the same types, the same errors."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from sqlalchemy import bindparam, insert, select, update
from sqlalchemy.exc import IntegrityError

from app.db.engine import Database, reading, transaction
from app.db.models import Entry, Scan, Sheet, Station, Worker, table_of
from app.db.prepared import prepared
from app.domain.stages import Step
from tests.room import Room

STATION, SHEET, SCAN = table_of(Station), table_of(Sheet), table_of(Scan)
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def test_a_row_read_by_a_prepared_statement_is_the_row_that_sqlalchemy_reads(room: Room) -> None:
    number = room.sheet_in("P1")
    plain = select(SHEET).where(SHEET.c.number == bindparam("number"))
    quick = prepared(select(SHEET).where(SHEET.c.number == bindparam("number")))
    with reading(room.database) as session:
        asked = {"number": number}
        expected, found = session.execute(plain, asked).mappings().one(), session.execute(quick, asked).mappings().one()
    assert dict(found) == dict(expected)
    assert found["glued_at"].tzinfo is UTC and isinstance(found["mounted_by"], list) and found["fresh"] is False


def test_a_list_is_read_whole_however_long_it_is(room: Room) -> None:
    quick = prepared(select(Worker.id).where(Worker.id.in_(bindparam("ids", expanding=True))).order_by(Worker.id))
    with reading(room.database) as session:
        for ids in ([], [2], [1, 3], [3, 2, 1], [4], []):
            assert list(session.execute(quick, {"ids": ids}).scalars()) == sorted(ids)


def test_an_update_writes_what_it_is_given_this_time(room: Room) -> None:
    quick = prepared(update(STATION).where(STATION.c.id == bindparam("of_station")))
    table = room.station["table-1"]
    with transaction(room.database) as session:
        session.execute(quick, {"of_station": table, "seen_at": NOON, "pending": {"step": "mount"}})
        session.execute(quick, {"of_station": table, "bulk": "bulky"})
        session.execute(quick, {"of_station": table, "pending": None})
    row = room.station_row("table-1")
    assert (row["seen_at"], row["bulk"], row["pending"]) == (NOON, "bulky", None)
    assert room.station_row("table-2")["bulk"] is None


def test_what_cannot_be_written_fails_in_sqlalchemys_words_and_leaves_nothing(room: Room) -> None:
    quick = prepared(insert(SCAN))
    row = {"scan_id": "twice", "fingerprint": "", "answer": {"kind": "done"}, "station_id": None, "received_at": NOON}
    with pytest.raises(IntegrityError), transaction(room.database) as session:
        session.execute(quick, row)
        session.execute(quick, row)
    with reading(room.database) as session:
        assert session.execute(select(Scan.id).where(Scan.scan_id == "twice")).first() is None


def test_a_naive_time_is_refused_here_too(room: Room) -> None:
    quick = prepared(update(STATION).where(STATION.c.id == bindparam("of_station")))
    with pytest.raises(ValueError, match="no time zone"), transaction(room.database) as session:
        session.execute(quick, {"of_station": 1, "seen_at": NOON.replace(tzinfo=None)})


def test_prepared_and_other_statements_see_one_and_the_same_state(room: Room, database: Database) -> None:
    quick = prepared(select(SHEET.c.stage).where(SHEET.c.number == bindparam("number")))
    number = room.sheet_ready()
    with reading(database) as session:
        before = session.execute(quick, {"number": number}).scalar_one()
        room.scans(number, "table-1", step=Step.TAKE_UP)
        room.scans(number, "table-1", step=Step.MOUNT)
        entries = session.execute(
            select(Entry.step).join(Sheet, Sheet.id == Entry.subject_id).where(Sheet.number == number)
        )
        assert (before, session.execute(quick, {"number": number}).scalar_one()) == ("ready-for-mounting",) * 2
        assert "mount" not in set(entries.scalars())
