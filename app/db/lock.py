"""Who uses a room's database: many may at once, but nobody puts another in its place while somebody does.

The lock lies in a file beside the database and is the operating system's own: it ends with the program that holds it, in
whatever way that ends. In the file stands what the program that serves the room said of itself.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from app.db.fitness import Unfit, file_of

IN_USE = "Blotter runs on this room, or a command is at work in it. Stop it first, then try again."
BEING_REPLACED = (
    "The room's database is just being put in place by another command. Wait until that is done, then try again."
)

if sys.platform == "win32":
    import msvcrt

    USERS = 64

    def _take(descriptor: int, *, alone: bool) -> bool:
        # Windows has no shared lock of this kind: each user takes one byte of many, and whoever wants to be alone takes all.
        for first, many in [(1, USERS)] if alone else [(each, 1) for each in range(1, USERS + 1)]:
            os.lseek(descriptor, first + 4096, os.SEEK_SET)
            with suppress(OSError):
                msvcrt.locking(descriptor, msvcrt.LK_NBLCK, many)
                return True
        return False

else:
    import fcntl

    def _take(descriptor: int, *, alone: bool) -> bool:
        try:
            fcntl.flock(descriptor, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)
        except OSError:
            return False
        return True


@contextmanager
def in_use(url: str) -> Iterator[None]:
    """Use the room's database beside others. Unfit while somebody puts another in its place. Nothing for PostgreSQL."""
    with _locked(url, alone=False, words=BEING_REPLACED):
        yield


@contextmanager
def alone_with(url: str) -> Iterator[None]:
    """Have the room's database to oneself; Unfit while anybody uses it. Nothing for PostgreSQL, which has its own ways."""
    with _locked(url, alone=True, words=IN_USE):
        yield


def tell_of_oneself(url: str, told: Mapping[str, str]) -> None:
    """Say beside the database how the room is served, for whoever looks after it."""
    path = _path(url)
    if path is not None:
        # Nothing depends on it: on a full disk the room opens all the same.
        with suppress(OSError):
            path.write_text(json.dumps(dict(told)), encoding="utf-8")


def told_last(url: str) -> dict[str, str]:
    """What the program that served the room last said of itself; nothing where none ever did."""
    path = _path(url)
    try:
        found = json.loads(path.read_text(encoding="utf-8")) if path is not None else {}
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def is_used(url: str) -> bool:
    """Whether a program uses the room's database at this moment."""
    path = _path(url)
    if path is None or not path.exists():
        return False
    try:
        with alone_with(url):
            return False
    except Unfit:
        return True


@contextmanager
def _locked(url: str, *, alone: bool, words: str) -> Iterator[None]:
    path = _path(url)
    if path is None:
        yield
        return
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        words = f"The file {path} cannot be written: {error.strerror}. The room needs a folder that it may write in."
        raise Unfit(words) from error
    try:
        if not _take(descriptor, alone=alone):
            raise Unfit(words)
        yield
    finally:
        # Closing lets go.
        os.close(descriptor)


def _path(url: str) -> Path | None:
    file = file_of(url)
    return file.with_name(f"{file.name}.lock") if file is not None else None
