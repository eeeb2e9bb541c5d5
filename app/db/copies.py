"""Whole copies of a one-file database: made while it is in use, looked through, and opened as they lie there."""

from __future__ import annotations

import hashlib
import os
import sqlite3
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import quote

from sqlalchemy import NullPool, create_engine

from app.db.engine import Database, sqlite_url
from app.db.fitness import Unfit
from app.db.upgrade import upgrade

_GUARDS = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"


def copy_whole(source: Path, target: Path, *, lies_still: bool = False) -> None:
    """Copy a one-file database as it stands at this moment to a new file of one's own, and look through the copy.

    Nobody who writes waits for it. The copy is one file, opens on a disk that can only be read, and lies on the disk when
    this returns. A source that `lies_still` is used by nobody; it may be on a disk that can only be read. Unfit where the
    copy is not whole; sqlite3.Error or OSError where it cannot be made.
    """
    opened = _as_it_lies if lies_still and not _is_written_to(source) else _for_reading
    target.unlink(missing_ok=True)
    target.touch(mode=0o600)
    with closing(opened(source)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)
        new.execute("PRAGMA journal_mode = DELETE")
    look_through(target)
    put_on_disk(target)


def look_through(path: Path) -> None:
    """Read every page of a database that nobody writes to; Unfit where something in it is not whole."""
    with closing(_as_it_lies(path)) as copy:
        wrong = [row[0] for row in copy.execute("PRAGMA integrity_check(3)") if row[0] != "ok"]
        astray = copy.execute("PRAGMA foreign_key_check").fetchone()
    if wrong or astray:
        why = "; ".join(" ".join(str(each).split()) for each in wrong) or f"a row of {astray[0]} points nowhere"
        raise Unfit(f"{path.name} is not whole ({why}).")


def sum_beside(path: Path) -> Path:
    """Where the checksum of a copy lies: beside it, as `sha256sum --check` reads it."""
    return path.with_name(f"{path.name}.sha256")


def write_sum(path: Path, name: str) -> None:
    """Write the checksum of a file beside where it will lie under this name, so that one wrong bit of it is seen."""
    beside = sum_beside(path.with_name(name))
    beside.unlink(missing_ok=True)
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="ascii", newline="\n") as file:
        file.write(f"{checksum(path)}  {name}\n")
        file.flush()
        os.fsync(file.fileno())


def fits_its_sum(path: Path) -> bool | None:
    """Whether a copy is what its checksum says; None where there is none. OSError where one of them cannot be read."""
    beside = sum_beside(path)
    if not beside.exists():
        return None
    return beside.read_text(encoding="ascii", errors="replace").split()[:1] == [checksum(path)]


def checksum(path: Path) -> str:
    """The SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def missing_guards(path: Path) -> list[str]:
    """The guards that a room of this program's revision has and this one lacks, or has otherwise; by name.

    Which those are is read off an empty room that is made for it, so nothing is to be kept up beside the migrations.
    """
    with closing(_for_reading(path)) as room:
        found = set(room.execute(_GUARDS))
    with TemporaryDirectory(prefix="blotter-") as folder:
        empty = Path(folder) / "empty.sqlite3"
        upgrade(sqlite_url(empty))
        with closing(_as_it_lies(empty)) as room:
            return sorted(name for name, text in room.execute(_GUARDS) if (name, text) not in found)


def opened_as_it_lies(path: Path) -> Database:
    """A copy that nobody writes to, opened for reading only; nothing is written, not even beside it."""
    address = f"sqlite:///file:{quote(str(path))}?mode=ro&immutable=1&uri=true"
    return Database(create_engine(address, poolclass=NullPool, hide_parameters=True))


def opened_for_reading(path: Path) -> Database:
    """A database, opened for reading only, with what waits beside it to be carried over. It need not be there, or whole."""
    address = f"sqlite:///file:{quote(str(path))}?mode=ro&uri=true"
    return Database(create_engine(address, poolclass=NullPool, hide_parameters=True))


def put_on_disk(path: Path) -> None:
    """Have what was written to a file, or what was named in a folder, put on the disk before anything else is done."""
    if path.is_dir() and os.name != "posix":
        # Windows opens no folders; it writes their names by itself.
        return
    descriptor = os.open(path, os.O_RDONLY if os.name == "posix" else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _for_reading(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)


def _as_it_lies(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"file:{quote(str(path))}?mode=ro&immutable=1", uri=True)


def _is_written_to(path: Path) -> bool:
    """Whether something waits beside it to be carried over: then the file by itself is not the whole."""
    beside = path.with_name(f"{path.name}-wal")
    return not path.exists() or (beside.exists() and beside.stat().st_size > 0)
