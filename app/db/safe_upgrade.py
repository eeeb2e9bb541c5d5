"""An upgrade that leaves the room as it was when it fails, wherever in the middle that is."""

from __future__ import annotations

from pathlib import Path

from app.db.copies import copy_whole, look_through, missing_guards
from app.db.engine import sqlite_url
from app.db.fitness import Unfit
from app.db.swapping import put_in_place
from app.db.upgrade import upgrade


def upgrade_with_copy(room: Path, copy: Path) -> str:
    """Copy the room's database to `copy`, migrate it, and look through what came out; its revision now.

    The caller has the room to itself. Where anything fails the copy is put back; Unfit says so.
    """
    copy_whole(room, copy)
    try:
        revision = upgrade(sqlite_url(room))
        _look(room)
    except BaseException as error:
        _put_back(copy, room)
        if not isinstance(error, Exception):
            raise
        why = str(error) if isinstance(error, Unfit) else f"{type(error).__name__}: {error}".strip().splitlines()[0]
        raise Unfit(
            f"The upgrade failed ({why.rstrip('.')}). The room was put back as it was before, from {copy}."
        ) from error
    return revision


def _look(room: Path) -> None:
    look_through(room)
    missing = missing_guards(room)
    if missing:
        raise Unfit(f"the upgraded log lacks its guards: {', '.join(missing)}")


def _put_back(copy: Path, room: Path) -> None:
    again = room.with_name(f"{room.name}.again")
    copy_whole(copy, again)
    put_in_place(again, room, None)
