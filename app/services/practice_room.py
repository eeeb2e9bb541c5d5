"""The practice room: a small database of its own, in which nothing is ever written of the room that people practise for.

It is the one service that keeps a database itself: made by the same migrations, beside the room's own, at its first use on
each day and whenever somebody begins again. That nothing practised shows in the room's log, board, week or search needs no
rule anywhere, because it is not there.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from threading import Lock
from zoneinfo import ZoneInfo

from sqlalchemy import delete, insert, select, update
from sqlalchemy.exc import IntegrityError, SQLAlchemyError
from sqlalchemy.orm import Session

from app.db.engine import Database, open_database, reading, sqlite_url, transaction
from app.db.models import NumberPattern, Setting, Station, table_of
from app.db.upgrade import newest_revision, revision_of, upgrade
from app.domain.calendar import local_day
from app.domain.language import say
from app.domain.numbers import Pattern
from app.services.practice_copy import copy_in, state_of_room
from app.services.practice_sheets import lay_out

FILE_NAME = "practice.sqlite3"
SETTING = table_of(Setting)
STATION = table_of(Station)
PATTERN = table_of(NumberPattern)
MARK, MADE_ON, OF_ROOM, AHEAD_S = "practice-mark", "practice-made-on", "practice-of", "practice-ahead-s"
DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Practising:
    """The practice room as it is open now: its database, the mark that its scans carry, how far its clock was moved on."""

    database: Database
    mark: str
    ahead: timedelta


@dataclass
class PracticeRoom:
    """The practice room of one running room; `path` is its file."""

    path: Path
    lock: Lock = field(default_factory=Lock)
    database: Database | None = None
    mark: str = ""

    def opened(self, room: Session, now: datetime, zone: ZoneInfo) -> Practising:
        """The practice room, begun anew where there is none of today, with the room's people and rules as they stand.

        `now` is the room's own time. ValueError where the room has no practice slips: no station was ever set to practise.
        """
        with self.lock:
            kept, state = self._kept(), state_of_room(room)
            if kept.get(MADE_ON) != local_day(now, zone).isoformat() or not self._follows(room, kept, state):
                kept = self._make(room, now, zone)
            return self._as_kept(kept)

    def begin_again(self, room: Session, now: datetime, zone: ZoneInfo) -> None:
        """All practice sheets back where they begin, and what was practised until now forgotten. ValueError as above."""
        with self.lock:
            self._make(room, now, zone)

    def forget(self, room: Session, now: datetime, zone: ZoneInfo) -> None:
        """Begin again where anything was practised, so that no name stays in it that has gone from the room."""
        if self.path.exists():
            self.begin_again(room, now, zone)

    def pass_a_day(self, now: datetime) -> None:
        """Move the practice clock on by a day; whoever practises stays signed in. `now` is the room's own time."""
        with self.lock:
            kept = self._kept()
            if self.database is None or AHEAD_S not in kept:
                return
            ahead_s = int(kept[AHEAD_S]) + DAY_S
            moment = now + timedelta(seconds=ahead_s)
            with transaction(self.database) as session:
                session.execute(update(SETTING).where(SETTING.c.name == AHEAD_S).values(value=str(ahead_s)))
                session.execute(update(STATION).where(STATION.c.seen_at.is_not(None)).values(seen_at=moment))
                session.execute(update(STATION).where(STATION.c.clear_at.is_not(None)).values(clear_at=moment))

    def _as_kept(self, kept: Mapping[str, str]) -> Practising:
        assert self.database is not None
        if self.mark != kept[MARK]:
            # Made anew, perhaps by another process: what was read of the old one counts no more.
            self.database.kept.clear()
            self.mark = kept[MARK]
        return Practising(self.database, kept[MARK], timedelta(seconds=int(kept[AHEAD_S])))

    def _kept(self) -> dict[str, str]:
        """What the practice room says of itself; nothing where there is none that this program can use."""
        if self.database is None:
            if not self._is_usable():
                return {}
            self.database = open_database(sqlite_url(self.path), is_practice=True)
        with suppress(SQLAlchemyError), reading(self.database) as session:
            return {row.name: row.value for row in session.execute(select(SETTING))}
        return {}

    def _is_usable(self) -> bool:
        with suppress(SQLAlchemyError):
            return self.path.exists() and revision_of(sqlite_url(self.path)) == newest_revision()
        return False

    def _follows(self, room: Session, kept: Mapping[str, str], state: str) -> bool:
        """Bring over what was changed in the room meanwhile; False where the two no longer fit together."""
        if kept.get(OF_ROOM) == state:
            return True
        assert self.database is not None
        try:
            with transaction(self.database) as session:
                copy_in(session, room)
                session.execute(update(SETTING).where(SETTING.c.name == OF_ROOM).values(value=state))
        except IntegrityError:
            return False
        self.database.kept.clear()
        return True

    def _make(self, room: Session, now: datetime, zone: ZoneInfo) -> dict[str, str]:
        """Make a whole one beside it and put that in its place, so that nobody ever meets half of one."""
        kept = {
            MARK: secrets.token_hex(6),
            MADE_ON: local_day(now, zone).isoformat(),
            OF_ROOM: state_of_room(room),
            AHEAD_S: "0",
        }
        part = self.path.with_name(f"{self.path.name}.part")
        _unlink(part)
        try:
            _build(part, room, kept, now, zone)
            self._take_over(part)
        finally:
            _unlink(part)
        return kept

    def _take_over(self, part: Path) -> None:
        if self.database is None:
            if not self._is_usable():
                _unlink(self.path)
            self.database = open_database(sqlite_url(self.path), is_practice=True)
        with (
            self.database.turns,
            closing(sqlite3.connect(part)) as new,
            closing(sqlite3.connect(self.path, timeout=30)) as old,
        ):
            new.backup(old)
            # What was there before must not linger in what was written ahead.
            old.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self.database.kept.clear()


def practice_pattern_of(room: Session) -> Pattern:
    """The pattern of the room's practice slips; ValueError while it has none."""
    row = room.execute(select(PATTERN).where(PATTERN.c.is_practice)).mappings().first()
    if row is None:
        raise ValueError(say("No station practises yet. Set one to practise on the page of stations."))
    return Pattern(row["prefix"], row["width"], row["has_check"])


def _build(path: Path, room: Session, kept: Mapping[str, str], now: datetime, zone: ZoneInfo) -> None:
    pattern = practice_pattern_of(room)
    upgrade(sqlite_url(path))
    database = open_database(sqlite_url(path), is_practice=True)
    try:
        with transaction(database) as session:
            copy_in(session, room)
            lay_out(session, pattern, now, zone)
            session.execute(delete(SETTING).where(SETTING.c.name.in_(kept)))
            session.execute(insert(SETTING), [{"name": name, "value": value} for name, value in kept.items()])
    finally:
        database.engine.dispose()


def _unlink(path: Path) -> None:
    for each in (path, path.with_name(f"{path.name}-wal"), path.with_name(f"{path.name}-shm")):
        each.unlink(missing_ok=True)
