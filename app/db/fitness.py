"""Whether a room's database can be worked with: what stands at its address, and what its errors mean in plain words."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

from sqlalchemy import create_engine, inspect
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from app.db.postgres import with_driver
from app.db.upgrade import newest_revision, revision_of

# Written by whatever makes a backup; a room without the setting has none on record.
LAST_BACKUP = "last-backup-at"
State = Literal["empty", "older", "newest", "newer", "foreign"]


class Unfit(Exception):
    """A database that cannot be worked with; the message is one sentence for a person."""


def state_of(url: str) -> State:
    """How the database at this address stands to this program: without tables, of which revision, or somebody else's."""
    revision = revision_of(url)
    if revision is None:
        return "foreign" if _has_tables(url) else "empty"
    if revision == newest_revision():
        return "newest"
    return "older" if revision < newest_revision() else "newer"


def file_of(url: str) -> Path | None:
    """The file of a one-file database; None for a database of another kind."""
    parsed = make_url(url)
    return Path(parsed.database) if parsed.get_backend_name() == "sqlite" and parsed.database else None


@contextmanager
def in_plain_words() -> Iterator[None]:
    """Turn every error of the database into one plain sentence; Unfit."""
    try:
        yield
    except DBAPIError as error:
        raise Unfit(_sentence(str(error.orig))) from error
    except sqlite3.Error as error:
        raise Unfit(_sentence(str(error))) from error
    except ModuleNotFoundError as error:
        if error.name != "psycopg":
            raise Unfit(f"The address of the database cannot be used: {_first_line(str(error))}.") from error
        raise Unfit(
            'PostgreSQL is spoken to through psycopg. Install it with: pip install -e ".[postgresql]"'
        ) from error
    except SQLAlchemyError as error:
        raise Unfit(f"The address of the database cannot be used: {_first_line(str(error))}.") from error


def _has_tables(url: str) -> bool:
    engine = create_engine(with_driver(url))
    try:
        return bool(inspect(engine).get_table_names())
    finally:
        engine.dispose()


def _sentence(said: str) -> str:
    found = (sentence for sign, sentence in SIGNS.items() if sign in said)
    return next(found, f"The room's database does not answer: {_first_line(said)}.")


def _first_line(said: str) -> str:
    return said.strip().splitlines()[0].rstrip(".") if said.strip() else "no reason given"


# What SQLite and PostgreSQL say, and what it means to a person.
SIGNS: dict[str, str] = {
    "file is not a database": "The file that the room's database should be is something else. Name the room's folder with --data.",
    "malformed": "The room's database is damaged. Leave it as it is, and go back to the last backup.",
    "is locked": "Another program holds the room's database and does not let go. Close it, then try again.",
    "unable to open": "The room's database cannot be opened. See that its folder is there and that you may write in it.",
    "readonly": "The room's database may only be read. See that you may write in its folder.",
    "is full": "The disk is full. Make room on it, then try again.",
    "onnection refused": "No PostgreSQL answers at the address of the room's database. See that it runs, then try again.",
    "resolve host": "There is no machine of the name in the address of the room's database. See how it is written.",
    "authentication failed": "PostgreSQL does not let this name and password in. See how they are written in the address.",
    "does not exist": "PostgreSQL does not know what the address names. Make the database first, with: createdb NAME",
    "permission denied": "PostgreSQL does not permit it. The name in the address must own the room's database.",
    "No space left": "The disk of the database is full. Make room on it, then try again.",
    "lock timeout": "Another program holds the room's database and does not let go. Close it, then try again.",
    "terminating connection": "PostgreSQL was stopped meanwhile. Start it, then try again.",
}
