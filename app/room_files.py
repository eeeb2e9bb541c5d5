"""The room's folder and database as every command finds them: there, of this program's revision, and nobody's but its own."""

from __future__ import annotations

import atexit
import os
import sys
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from app.config import Config, is_checkout, load_config
from app.domain.shares import is_unc, share_of

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from app.db.engine import Database

# What Linux has mounted; other systems have no such file.
MOUNTS = Path("/proc/self/mounts")
_HELD = ExitStack()
atexit.register(_HELD.close)


class Failed(Exception):
    """What a person can put right; the message is one sentence."""


def room_config(data: Path | None, *, may_be_new: bool = False) -> Config:
    """The room's configuration; Failed for a folder that is not there, or cannot be used, and for a plain install.

    A database that was being put in place when the power went is put there now.
    """
    if not is_checkout():
        raise Failed("Blotter runs from its checkout. Install it there with: pip install -e .")
    if data is not None and not may_be_new and not data.is_dir():
        raise Failed(f"There is no folder {data}. Start a room in it with: blotter serve --data {data}")
    # What is written here is the room's, and is read by nobody else on this machine.
    os.umask(0o077)
    try:
        config = load_config(data)
    except ValueError as error:
        raise Failed(str(error)) from error
    except OSError as error:
        raise Failed(f"The folder {error.filename} cannot be used: {error.strerror}.") from error
    _finish(config.database_url)
    return config


def on_share(config: Config) -> str:
    """That the room's database lies on a network share, in a sentence; empty where it does not, and where no computer tells:
    Linux does, and Windows by the path.
    """
    from app.db.fitness import file_of

    file = file_of(config.database_url)
    folder = file.resolve().parent if file is not None else config.data
    kind = _share(folder) if file is not None else ""
    return f"{folder} lies on a network share ({kind}), where locks do not hold and data is lost." if kind else ""


def refuse_share(config: Config) -> None:
    """Failed, with ways out, for a room on a network share."""
    if words := on_share(config):
        out = (
            "Name a folder on a disk of this computer with --data, or a PostgreSQL database with BLOTTER_DATABASE_URL."
        )
        raise Failed(f"{words} {out} Whoever knows better adds --on-share.")


def _share(folder: Path) -> str:
    if os.name == "nt":
        return "of another computer" if is_unc(str(folder)) else ""
    with suppress(OSError):
        return share_of(str(folder), MOUNTS.read_text(encoding="utf-8", errors="replace"))
    return ""


def room_database(config: Config, *, may_be_new: bool = False) -> Database:
    """The room's database, of this program's revision; an empty one is migrated where it may be new. Failed otherwise.

    It is in use until `let_go`, so that nobody puts another in its place meanwhile.
    """
    from app.db.engine import open_database
    from app.db.fitness import state_of
    from app.db.lock import in_use

    state = state_of(config.database_url)
    if state != "newest" and not (state == "empty" and may_be_new):
        raise Failed(STATES[state])
    _HELD.enter_context(in_use(config.database_url))
    if state == "empty":
        from app.db.upgrade import upgrade

        upgrade(config.database_url)
    database = open_database(config.database_url)
    _HELD.callback(database.engine.dispose)
    make_sums(database, config.zone)
    return database


def let_go() -> None:
    """Let go of every database that this program used; the command is over."""
    _HELD.close()


def make_sums(database: Database, zone: ZoneInfo) -> None:
    """An upgrade leaves empty what the room can make from what it keeps, the sums of the log first; here it is made."""
    from app.db.engine import reading, transaction
    from app.services.made_anew import make_anew, to_be_made

    with reading(database) as session:
        words = to_be_made(session)
    if words:
        print(words, file=sys.stderr, flush=True)
        with transaction(database) as session:
            make_anew(session, zone)


def _finish(url: str) -> None:
    from app.db.fitness import file_of
    from app.db.swapping import finish_swap, is_half_way

    file = file_of(url)
    if file is not None and is_half_way(file):
        from app.db.lock import alone_with

        with alone_with(url):
            finish_swap(file)


STATES: dict[str, str] = {
    "empty": "There is no room here yet. Start it with: blotter serve",
    "older": "The database is of an older revision. Run: blotter upgrade",
    "newer": "The database is of a newer revision than this program. Use the newer Blotter that made it.",
    "foreign": "The database belongs to another program, and is left as it is. Name another with BLOTTER_DATABASE_URL or --data.",
}
