"""What goes out of the room of a test, and comes into another: files made as the pages make them, and sheets held together."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import select

from app.db.engine import open_database, reading, sqlite_url, transaction
from app.db.models import Collector, PlantName, Sheet, table_of
from app.domain.answer import Answer
from app.domain.zip_out import zipped
from app.queries.out_hand_overs import Ready, hand_over, hand_over_archive, hand_over_table, ready
from app.queries.out_log import LogAsked, log_out
from app.queries.out_sheets import Asked, archive_out, outgoing, table_out
from app.services.desk import Desk
from app.services.facts import sheet_by_number
from app.services.hand_over import make_hand_over
from app.services.registering import renumber
from tests.room import Room
from tests.services.parcels import consign, run
from tests.services.test_numbers_given import as_trainer

SHEET, PLANT, COLLECTOR = table_of(Sheet), table_of(PlantName), table_of(Collector)
# What a list tells of a sheet, and a room keeps of it.
_KNOWN = (
    select(SHEET.c.number, PLANT.c.name, PLANT.c.authorship, PLANT.c.family, COLLECTOR.c.name.label("collector"), SHEET.c.record_number,
           SHEET.c.event_date, SHEET.c.locality, SHEET.c.notes, SHEET.c.kept, SHEET.c.is_sensitive)
    .outerjoin(PLANT, PLANT.c.id == SHEET.c.plant_name_id)
    .outerjoin(COLLECTOR, COLLECTOR.c.id == SHEET.c.collector_id)
    .order_by(SHEET.c.number)
)  # fmt: skip


def table(room: Room, *, bom: bool = True, **asked: Any) -> bytes:
    with reading(room.database) as session:
        return "".join(table_out(outgoing(session, Asked(**asked), room.now, room.zone), bom=bom)).encode()


def archived(room: Room, **asked: Any) -> bytes:
    with reading(room.database) as session:
        found = outgoing(session, Asked(**asked), room.now, room.zone)
        return b"".join(zipped(archive_out(found, "Sheets of the room", room.now)))


def log_of(room: Room, **asked: Any) -> str:
    with reading(room.database) as session:
        return "".join(log_out(session, LogAsked(**asked), "The room", room.zone))


def hands_over(room: Room, whom: str = "Ida Thwaite", **more: Any) -> int:
    with transaction(room.database) as session:
        return make_hand_over(session, whom, room.now, room.zone, room.worker["hedda"], **more)


def lies_ready(room: Room) -> Ready:
    with reading(room.database) as session:
        return ready(session, room.zone)


def told_in(room: Room, number: int) -> tuple[str, bytes]:
    """A hand-over as a table and as an archive."""
    with reading(room.database) as session:
        line = hand_over(session, number)
        assert line is not None
        rows = "".join(hand_over_table(session, line))
        return rows, b"".join(zipped(hand_over_archive(session, line, "The room", room.zone), packed=False))


def renumbers(room: Room, old: str, new: str) -> None:
    """A sheet is given another number."""
    as_trainer(room, lambda desk: _renumbered(desk, old, new), f"{old} to {new}")


def _renumbered(desk: Desk, old: str, new: str) -> Answer:
    row = sheet_by_number(desk.session, old)
    assert row is not None
    return Answer("done", "Done.", entry=renumber(desk, row, new))


def sheets_of(room: Room) -> list[dict[str, Any]]:
    """Every sheet by what is known of it."""
    with reading(room.database) as session:
        return [dict(row) for row in session.execute(_KNOWN).mappings()]


@contextmanager
def another_room(room: Room, migrated: Path, folder: Path) -> Iterator[Room]:
    """A room of its own, in which nothing has been taken in yet."""
    path = folder / "another.sqlite3"
    shutil.copy(migrated, path)
    database = open_database(sqlite_url(path))
    try:
        other = Room(database, room.now, room.zone)
        consign(other)
        yield other
    finally:
        database.engine.dispose()


def taken_in(room: Room, migrated: Path, folder: Path, data: bytes) -> tuple[list[dict[str, Any]], bytes]:
    """The sheets of an empty room into which a file was taken, and what that room gives out again."""
    with another_room(room, migrated, folder) as other:
        run(other, data)
        return sheets_of(other), archived(other, exact_places=True)
