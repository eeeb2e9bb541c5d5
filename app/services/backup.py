"""A backup of the room: a whole copy of its database, opened, read through and audited before it counts."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.db.copies import copy_whole, opened_as_it_lies, put_on_disk, sum_beside, write_sum
from app.db.engine import reading
from app.db.fitness import LAST_BACKUP, Unfit, file_of, in_plain_words
from app.db.models import Setting, table_of
from app.db.rules import room_house
from app.db.settings import BACKUP_FAILED, LAST_DIFFERENCES, SECOND_SINCE, SECOND_STATE
from app.db.upsert import replacing
from app.domain.backups import PlaceState, is_due, kept, moment_kept, moment_of
from app.domain.backups import backup_name as backup_name
from app.domain.language import mark, number, say, say_n
from app.services.audit import audit
from app.services.backup_places import WRITABLE, copy_there, place_of
from app.services.changes import changed

SETTING = table_of(Setting)
# A backup that was cut short, and for so long surely is not being made any more.
LEFT_OVER = timedelta(days=1)
NOT_ONE_FILE = mark(
    "This room's database is PostgreSQL, which is backed up by its own tools: pg_dump --format=custom --file=room.dump "
    "ADDRESS, and put back by pg_restore --clean --dbname=ADDRESS room.dump, with the address of BLOTTER_DATABASE_URL."
)


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy that was found whole: where it lies, how many bytes it has, and in how many places its log and its room
    differ; then how its second place stands, and why a copy to it failed, if one did.
    """

    path: Path
    size: int
    differences: int = 0
    second: PlaceState = "none"
    why: str = ""

    @property
    def said(self) -> str:
        """The copy in words."""
        return say("{name}, {size} MB", name=self.path.name, size=number(self.size / 1e6, ",.1f"))

    @property
    def found(self) -> str:
        """What looking through it found, in words."""
        if not self.differences:
            return say("looked through and whole")
        return say_n(
            "whole, but its log and its room differ in {n:,} place; look at it with: blotter audit",
            "whole, but its log and its room differ in {n:,} places; look at it with: blotter audit",
            self.differences,
        )


def back_up(session: Session, folder: Path, now: datetime, zone: ZoneInfo, *, keep_all: bool = False) -> Backup:
    """Back the room up into `folder`, copy that to the second place, and throw away what is no longer kept in both.

    Nothing is thrown away but after a new backup was found whole, and with `keep_all` nothing at all. A second place that
    fails takes nothing from the backup. ValueError with a sentence where there is no backup.
    """
    made = make_backup(session, folder / backup_name(now), zone)
    place = place_of(session, folder.parent)
    second, why = copy_there(place, made.path) if place is not None else ("none", "")
    if not keep_all:
        _throw_away(session, folder, now, zone)
        if place is not None and second in WRITABLE:
            _throw_away(session, place.folder, now, zone)
    return Backup(made.path, made.size, made.differences, second, why)


def make_backup(session: Session, target: Path, zone: ZoneInfo) -> Backup:
    """Copy the room's database to `target` while it is in use. Nobody waits: the copy reads what stood at its beginning.

    A copy that is cut short never bears the name of a backup. ValueError with a sentence for a database that is not one
    file, for a name that is taken, and where the copy cannot be written or is not whole.
    """
    source = file_of(session.info["database"].engine.url.render_as_string(hide_password=False))
    if source is None:
        raise ValueError(say(NOT_ONE_FILE))
    if target.exists():
        raise ValueError(say("There is a file {target} already. Name another.", target=target))
    part = target.with_name(f"{target.name}.part")
    with _in_one_sentence(target):
        target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        try:
            copy_whole(source, part)
            differences = _differences(part, zone)
            write_sum(part, target.name)
            part.replace(target)
            put_on_disk(target.parent)
        finally:
            part.unlink(missing_ok=True)
        return Backup(target, target.stat().st_size, differences)


def keep_backup(session: Session, backup: Backup, now: datetime, *, by: int | None = None) -> None:
    """Write down that the room was backed up at this moment, and how the second place stood."""
    _keep_settings(session, {LAST_BACKUP: now.isoformat(), LAST_DIFFERENCES: str(backup.differences)})
    keep_place(session, backup.second, now)
    session.execute(delete(SETTING).where(SETTING.c.name == BACKUP_FAILED))
    changed(session, now, by, "room", None, "backed up", new=backup.said, why=backup.why or None)


def backup_failed(session: Session, why: str) -> None:
    """Write down why there is no backup of now, until there is one again."""
    _keep_settings(session, {BACKUP_FAILED: why})


def keep_place(session: Session, state: PlaceState, now: datetime, *, was_copied: bool = True) -> bool:
    """Write down how the second place stands, and since when, where that has changed; whether it can be written to again.

    Where it was only looked at, and nothing copied, one that failed has still failed.
    """
    was = session.execute(select(SETTING.c.value).where(SETTING.c.name == SECOND_STATE)).scalar()
    if was == "failed" and not was_copied and state in WRITABLE:
        return True
    if was != state:
        _keep_settings(session, {SECOND_STATE: state, SECOND_SINCE: now.isoformat()})
    return state in WRITABLE and was not in WRITABLE


def _keep_settings(session: Session, values: Mapping[str, str]) -> None:
    statement = replacing(session.get_bind().dialect.name, SETTING, ("value",))
    for name, value in values.items():
        session.execute(statement, {"name": name, "value": value})


def backup_is_due(session: Session, now: datetime, zone: ZoneInfo) -> bool:
    """Whether the room's hour has passed since the last backup; never in a room of several server processes, whose database
    has tools of its own, and not before anything was written.
    """
    if file_of(session.info["database"].engine.url.render_as_string(hide_password=False)) is None:
        return False
    last = session.execute(select(SETTING.c.value).where(SETTING.c.name == LAST_BACKUP)).scalar()
    return is_due(now, moment_kept(last), room_house(session)[0].backup_hour, zone)


def _differences(copy: Path, zone: ZoneInfo) -> int:
    opened = opened_as_it_lies(copy)
    try:
        with reading(opened) as session:
            return sum(1 for _ in audit(session, zone))
    finally:
        opened.engine.dispose()


@contextmanager
def _in_one_sentence(target: Path) -> Iterator[None]:
    try:
        with in_plain_words():
            yield
    except Unfit as unfit:
        raise ValueError(say("There is no backup: {why}", why=str(unfit))) from unfit
    except (sqlite3.Error, OSError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise ValueError(say("The backup {target} cannot be written: {why}.", target=target, why=why)) from error


def _throw_away(session: Session, folder: Path, now: datetime, zone: ZoneInfo) -> None:
    house = room_house(session)[0]
    files = list(folder.iterdir())
    found = {moment: path for path in files if (moment := moment_of(path.name)) is not None}
    stays = kept(found, now, house.backup_keep_days, house.backup_keep_weeks, zone)
    for moment, path in found.items():
        if moment not in stays:
            path.unlink(missing_ok=True)
            sum_beside(path).unlink(missing_ok=True)
    for path in files:
        begun = moment_of(path.name.removesuffix(".part"))
        if path.suffix == ".part" and begun is not None and now - begun > LEFT_OVER:
            path.unlink(missing_ok=True)
