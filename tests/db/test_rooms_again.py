"""The tests' own rooms: what one test leaves behind is found by no other, whether its room is used again or thrown away."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import func, select, text

from app.db.engine import Database, reading, transaction
from app.db.models import Base
from app.db.upgrade import newest_revision, revision_of
from tests.databases import Rooms, address, guards, unguard
from tests.room import Room

# More than are free at any time, so that some are used again.
OFTEN = 9
WITHOUT_A_GUARD = (2, 4)


def rows(database: Database) -> dict[str, int]:
    """How many rows each table has that has any."""
    with reading(database) as session:
        found = {table.name: session.execute(select(func.count()).select_from(table)).scalar_one()
                 for table in Base.metadata.sorted_tables}  # fmt: skip
    return {name: many for name, many in found.items() if many}


def test_what_a_test_leaves_behind_is_found_by_no_other(rooms: Rooms, tmp_path: Path) -> None:
    open_before, guarded, furnished, addresses = len(rooms.opened), [], [], set()
    for turn in range(OFTEN):
        database = rooms.open(tmp_path / f"{turn}.sqlite3")
        assert rows(database) == {} and revision_of(address(database)) == newest_revision()
        guarded.append(guards(database))
        room = Room(database)
        furnished.append((rows(database), room.worker, room.station, room.row(room.sheet_ready())["id"]))
        with transaction(database) as session:
            session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
        if turn in WITHOUT_A_GUARD:
            unguard(database, sorted(guarded[-1])[turn])
        addresses.add(str(database.engine.url))
        rooms.close_since(open_before)
    # Furnished by the verbs at first, then copied: nobody could tell which.
    assert furnished == [furnished[0]] * OFTEN and furnished[0][0]["worker"] == len(furnished[0][1])
    assert guarded == [guarded[0]] * OFTEN and guarded[0]
    assert len(addresses) == OFTEN
