"""Another database in the place of the room's: as one step, whatever happens in the middle of it.

What is to be done is written down before it is begun and is done again from there, so that a power cut leaves either the
old database with all that belongs to it, or the new one. The caller has the room to itself (`lock.alone_with`).
"""

from __future__ import annotations

import json
import os
from pathlib import Path

from app.db.copies import put_on_disk

# What SQLite keeps beside a database that was not closed in order.
BESIDE = ("-wal", "-shm", "-journal")


def put_in_place(new: Path, room: Path, kept: Path | None) -> None:
    """Put the database `new`, which nobody has open, in the place of `room`, and leave the old one as `kept` beside it.

    All lie in the room's folder. The old one is not even opened: it may be damaged, and what waits beside it to be carried
    over goes with it. `kept` is None where it is not wanted. OSError where it cannot be done: then the old one is in its
    place, or the next command finishes what was begun.
    """
    put_on_disk(new)
    _write_whole(_intent(room), json.dumps({"new": new.name, "kept": kept.name if kept is not None else None}))
    finish_swap(room)


def finish_swap(room: Path) -> bool:
    """Finish what was begun and cut short, if anything was; whether there was."""
    intent = _intent(room)
    if not intent.exists():
        return False
    told = json.loads(intent.read_text(encoding="utf-8"))
    new = room.with_name(told["new"])
    if new.exists():
        # With all that belongs to it: SQLite would carry what waits beside the old one over into the new one.
        for ending in ("", *BESIDE):
            _put_away(room.with_name(room.name + ending), told["kept"] and room.with_name(told["kept"] + ending))
        put_on_disk(room.parent)
        os.replace(new, room)
    put_on_disk(room.parent)
    intent.unlink()
    put_on_disk(room.parent)
    return True


def is_half_way(room: Path) -> bool:
    """Whether somebody began to put another database in this place, and was cut short or is still at it."""
    return _intent(room).exists()


def _intent(room: Path) -> Path:
    return room.with_name(f"{room.name}.swap")


def _put_away(old: Path, kept: Path | None) -> None:
    if kept is None:
        old.unlink(missing_ok=True)
    elif old.exists():
        os.replace(old, kept)


def _write_whole(path: Path, text: str) -> None:
    part = path.with_name(f"{path.name}.part")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    os.replace(part, path)
    put_on_disk(path.parent)
