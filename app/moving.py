"""The command that carries a room from its file into a database of PostgreSQL: copied, compared, audited, or nothing at all."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from app.room_files import Failed, let_go, room_config, room_database
from app.serving import progress

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from app.config import Config
    from app.db.moving import Moved

NO_FILE = "This room is in no file, so it cannot be moved. Unset BLOTTER_DATABASE_URL, and name its folder with --data."
NO_SERVER = "A room moves into PostgreSQL only. Name the database like postgresql://name@host/room"


def move_to(asked: argparse.Namespace) -> None:
    """Copy the whole room into an empty database of PostgreSQL, and look whether it is the same there."""
    from app.db.fitness import file_of
    from app.db.lock import alone_with
    from app.db.postgres import with_driver

    config = room_config(asked.data)
    file = file_of(config.database_url)
    if file is None:
        raise Failed(NO_FILE)
    if with_driver(asked.url).get_backend_name() != "postgresql":
        raise Failed(NO_SERVER)
    # What an upgrade left to be made is made first; it is used no longer than that.
    room_database(config).engine.dispose()
    let_go()
    with alone_with(config.database_url):
        moved = _moved(config, asked.url)
    print(
        f"Moved: {moved.rows:,} rows of {moved.tables} tables, read again there and the same. The log and the room agree."
    )
    print("From now on start Blotter with this address in BLOTTER_DATABASE_URL, and with the same --data.")
    print(f"The file {file} stays as it is. Put it away: what would be written there now is not in the new database.")


def _moved(config: Config, url: str) -> Moved:
    from app.db.engine import open_database, transaction
    from app.db.moving import move

    here, there = open_database(config.database_url), open_database(url)
    try:
        # In a writer's turn: what somebody wrote meanwhile would stay behind.
        with transaction(here) as source, progress("The room is copied") as heard:
            return move(source, there, lambda copy: _wrong(copy, config.zone), heard)
    finally:
        here.engine.dispose()
        there.engine.dispose()


def _wrong(copy: Session, zone: ZoneInfo) -> Iterator[str]:
    from app.services.audit import audit

    return (difference.sentence for difference in audit(copy, zone))
