"""Looking over a room itself: its database, its log and its guards, its clock, its backups and their second place."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import islice
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.backing_up import FOLDER
from app.config import Config
from app.db.copies import fits_its_sum, missing_guards
from app.db.engine import open_database, reading
from app.db.fitness import LAST_BACKUP, Unfit, file_of, in_plain_words, state_of
from app.db.models import Entry, Setting, table_of
from app.db.rules import room_house
from app.db.settings import BACKUP_FAILED, LAST_DIFFERENCES, SECOND_STATE
from app.domain.backups import PLACE_WORDS, moment_of
from app.domain.words import age
from app.room_files import STATES
from app.services.audit import audit
from app.services.backup import NOT_ONE_FILE
from app.services.backup_places import place_of
from app.services.backup_places import state_of as state_of_place
from app.services.heartbeat import clock_is_strange

GOOD, LOOK, BAD = "good", "look at it", "bad"
ENTRY = table_of(Entry)
MOST_SAID = 3
# What runs well has four thousand pages at most, 16 MB. No source: so much as nobody notices on a disk of today.
LONGEST_JOURNAL_MB = 100


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at: good, look at it, or bad; what it is; and in a sentence how it is and what to do."""

    mark: str
    what: str
    words: str


def look_at_room(config: Config, now: datetime) -> list[Finding]:
    """The room's database, log, clock and backups; what stands behind something that is bad is not looked at."""
    try:
        with in_plain_words():
            state = state_of(config.database_url)
            if state != "newest":
                return [Finding(LOOK if state == "empty" else BAD, "Database", STATES[state])]
            return list(_look(config, now))
    except Unfit as unfit:
        return [Finding(BAD, "Database", str(unfit))]


def _look(config: Config, now: datetime) -> Iterator[Finding]:
    file = file_of(config.database_url)
    if file is not None:
        yield _whole(file)
        yield _guards(file)
        yield _journal(file)
    database = open_database(config.database_url)
    try:
        with reading(database) as session:
            yield _log(session, config)
            yield _clock(session, now)
            if file is None:
                yield Finding(LOOK, "Backup", f"{NOT_ONE_FILE} See that somebody does it.")
                return
            yield _backup(session, now)
            yield from _newest(config.data / FOLDER)
            yield _second(session, config.data)
    finally:
        database.engine.dispose()


def _whole(file: Path) -> Finding:
    with closing(sqlite3.connect(file)) as connection:
        wrong = [row[0] for row in connection.execute("PRAGMA integrity_check(3)") if row[0] != "ok"]
    if wrong:
        words = f"It is damaged: {'; '.join(wrong)}. Leave it as it is, and put the last backup back with: blotter restore FILE"
        return Finding(BAD, "Database", words)
    return Finding(
        GOOD, "Database", f"{file}, {file.stat().st_size / 1e6:,.1f} MB, whole and of this program's revision."
    )


def _guards(file: Path) -> Finding:
    missing = missing_guards(file)
    if missing:
        words = f"The log is not guarded against changes: {', '.join(missing)} missing. Find out who did it; restore a backup."
        return Finding(BAD, "Guards", words)
    return Finding(GOOD, "Guards", "Every guard of the log is in its place.")


def _journal(file: Path) -> Finding:
    """What waits beside the database to be carried over: more than a little only while somebody reads without an end."""
    with closing(sqlite3.connect(file)) as connection:
        _, written, carried = connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
        waits_mb = max(written - carried, 0) * connection.execute("PRAGMA page_size").fetchone()[0] / 1e6
    if waits_mb > LONGEST_JOURNAL_MB:
        words = (
            f"{waits_mb:,.0f} MB wait to be carried over into it, because another program has been reading it for long. "
            "Close that program: until then the disk fills."
        )
        return Finding(LOOK, "Journal", words)
    return Finding(GOOD, "Journal", "All that was written is carried over into it in time.")


def _log(session: Session, config: Config) -> Finding:
    found = [each.sentence for each in islice(audit(session, config.zone), MOST_SAID)]
    if found:
        return Finding(BAD, "Log", f"The log and the room differ: {' '.join(found)} All of it: blotter audit")
    entries = session.execute(select(func.count()).select_from(ENTRY)).scalar_one()
    return Finding(GOOD, "Log", f"{entries:,} entries, read again; the room agrees with them.")


def _clock(session: Session, now: datetime) -> Finding:
    house = room_house(session)[0]
    last = session.execute(select(func.max(ENTRY.c.recorded_at))).scalar()
    if last is not None and last - now > timedelta(minutes=house.clock_ahead_min):
        return Finding(
            BAD, "Clock", f"It stands {age(now, last)} before the last entry. Set it right before work goes on."
        )
    if clock_is_strange(session, now, house):
        return Finding(LOOK, "Clock", "It stands far from the last sign of life. See whether the date is right.")
    return Finding(GOOD, "Clock", "It stands after the last entry, and not far from the last sign of life.")


def _backup(session: Session, now: datetime) -> Finding:
    kept = _setting(session, LAST_BACKUP)
    if failed := _setting(session, BACKUP_FAILED):
        return Finding(BAD, "Backup", f"The last one that was tried was not made. {failed}")
    if not kept:
        return Finding(LOOK, "Backup", "None was made yet. The room makes one by itself once a day, or: blotter backup")
    made, hours = datetime.fromisoformat(kept), room_house(session)[0].backup_h
    if now - made > timedelta(hours=hours):
        return Finding(BAD, "Backup", f"The last one was made {age(made, now)} ago. Make one: blotter backup")
    if _setting(session, LAST_DIFFERENCES) not in ("", "0"):
        return Finding(
            LOOK, "Backup", f"The last, {age(made, now)} ago, is whole, but log and room differed. See: blotter audit"
        )
    return Finding(GOOD, "Backup", f"The last one was made {age(made, now)} ago, read through and audited.")


def _newest(folder: Path) -> Iterator[Finding]:
    files = [path for path in folder.glob("*.sqlite3") if moment_of(path.name) is not None] if folder.is_dir() else []
    if not files:
        return
    newest = max(files)
    if fits_its_sum(newest):
        yield Finding(GOOD, "Newest copy", f"{newest.name} is what its checksum says; kept in all: {len(files)}.")
    else:
        yield Finding(
            BAD, "Newest copy", f"{newest.name} is not what its checksum says. Make another; look at the disk."
        )


def _second(session: Session, data: Path) -> Finding:
    state = state_of_place(place_of(session, data))
    if state in ("good", "same-disk") and _setting(session, SECOND_STATE) == "failed":
        state = "failed"
    words = str(PLACE_WORDS[state])
    if not words:
        return Finding(GOOD, "Second place", "It is there, and on another disk.")
    todo = "Name a folder on another disk on the page Room, under Backup."
    return Finding(LOOK if state in ("none", "same-disk") else BAD, "Second place", f"The backups {words}. {todo}")


def _setting(session: Session, name: str) -> str:
    return session.execute(select(Setting.value).where(Setting.name == name)).scalar() or ""
