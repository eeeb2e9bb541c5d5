"""The second place of the backups: a folder on another disk, which the room knows again by a mark that lies in it."""

from __future__ import annotations

import json
import os
import platform
import secrets
import shutil
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.db.copies import checksum, put_on_disk, write_sum
from app.db.models import Setting, table_of
from app.db.settings import ROOM_MARK, SECOND_PLACE, SECOND_SINCE, SECOND_STATE
from app.db.upsert import replacing
from app.domain.backups import PlaceState
from app.domain.language import say
from app.services.changes import changed

SETTING = table_of(Setting)
MARKER = "room.json"
# Its states in which backups are copied to it.
WRITABLE: tuple[PlaceState, ...] = ("good", "same-disk")


@dataclass(frozen=True, slots=True)
class Place:
    """The folder of this room in its second place, and the folder in which the room itself lies."""

    folder: Path
    room: Path


def name_place(session: Session, text: str, room: Path, now: datetime, *, by: int | None) -> PlaceState:
    """Name the second place, or none any more; how it stands. A folder of the room's own is made in it.

    ValueError with a sentence for one that is not there, cannot be written in, or lies in the room's own folder.
    """
    named, old = _settings(session), _settings(session).get(SECOND_PLACE)
    if not text.strip():
        session.execute(delete(SETTING).where(SETTING.c.name.in_((SECOND_PLACE, SECOND_STATE, SECOND_SINCE))))
        if old:
            changed(session, now, by, "room", None, "second place", old=old)
        return "none"
    chosen = _chosen(text, room)
    mark = named.get(ROOM_MARK) or secrets.token_hex(4)
    place = Place(chosen / f"blotter-{mark}", room)
    _settle_in(place)
    state = state_of(place)
    keep = replacing(session.get_bind().dialect.name, SETTING, ("value",))
    for name, value in (
        (ROOM_MARK, mark),
        (SECOND_PLACE, str(chosen)),
        (SECOND_STATE, state),
        (SECOND_SINCE, now.isoformat()),
    ):
        session.execute(keep, {"name": name, "value": value})
    if str(chosen) != old:
        changed(session, now, by, "room", None, "second place", old=old, new=str(chosen))
    return state


def place_of(session: Session, room: Path) -> Place | None:
    """The second place of the room that lies in this folder; None where none is named."""
    found = _settings(session)
    named, mark = found.get(SECOND_PLACE), found.get(ROOM_MARK)
    return Place(Path(named) / f"blotter-{mark}", room) if named and mark else None


def state_of(place: Place | None) -> PlaceState:
    """How the second place stands at this moment. A disk that is gone leaves an empty folder behind, without the mark."""
    if place is None:
        return "none"
    try:
        marker = json.loads((place.folder / MARKER).read_text(encoding="utf-8"))
        if not os.access(place.folder, os.W_OK):
            return "gone"
        same_disk = place.folder.stat().st_dev == place.room.stat().st_dev
    except (OSError, ValueError):
        return "gone"
    if not isinstance(marker, dict) or marker.get("of") != _whose(place.room):
        return "other"
    return "same-disk" if same_disk else "good"


def copy_there(place: Place, backup: Path) -> tuple[PlaceState, str]:
    """Copy a backup to the second place and read it there again; how the place stands, and why the copy failed, if it did."""
    state = state_of(place)
    if state not in WRITABLE:
        return state, ""
    target = place.folder / backup.name
    part = target.with_name(f"{target.name}.part")
    try:
        shutil.copyfile(backup, part)
        _to_oneself(part)
        put_on_disk(part)
        if checksum(part) != checksum(backup):
            return "failed", say("What was read there again is not what was written. That disk may be failing.")
        write_sum(part, target.name)
        part.replace(target)
        put_on_disk(place.folder)
    except OSError as error:
        return "failed", say("{why}.", why=error.strerror or str(error))
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    return state, ""


def _chosen(text: str, room: Path) -> Path:
    chosen = Path(text.strip()).expanduser()
    if not chosen.is_absolute() or not text.isprintable():
        raise ValueError(say("Name the whole path of a folder, from the top of its disk."))
    chosen = chosen.resolve()
    if chosen == room or room in chosen.parents:
        raise ValueError(
            say("That lies in the room's own folder: what takes one takes the other. Name a folder elsewhere.")
        )
    if not chosen.is_dir():
        raise ValueError(say("There is no folder {folder} on the computer on which Blotter runs.", folder=chosen))
    return chosen


def _settle_in(place: Place) -> None:
    try:
        place.folder.mkdir(mode=0o700, exist_ok=True)
        marker = place.folder / MARKER
        marker.write_text(json.dumps({"of": _whose(place.room)}) + "\n", encoding="utf-8")
        _to_oneself(marker)
    except OSError as error:
        words = say("Nothing can be written in {folder}: {why}.", folder=place.folder.parent, why=error.strerror)
        raise ValueError(words) from error


def _to_oneself(path: Path) -> None:
    # Not every disk knows who may read what; one that is carried home seldom does.
    with suppress(OSError):
        path.chmod(0o600)


def _whose(room: Path) -> str:
    """Which room on which computer, so that a copy of a room that was put back elsewhere does not mix its backups in."""
    return f"{platform.node()}:{room.resolve()}"


def _settings(session: Session) -> dict[str, str]:
    names = (SECOND_PLACE, SECOND_STATE, ROOM_MARK)
    return dict(session.execute(select(SETTING.c.name, SETTING.c.value).where(SETTING.c.name.in_(names))).all())
