"""The rows that name a worker, table by table, for the page of what is kept about them; others are not named."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import (
    Attendance,
    Change,
    Entry,
    EntryWorker,
    Hold,
    Sheet,
    Sighting,
    SignOff,
    Stack,
    Station,
    Wanted,
    table_of,
)
from app.db.standing import STANDS
from app.domain.attendance import BEGAN_WORDS, ENDED_WORDS
from app.domain.holds import HOLDS
from app.domain.language import say
from app.domain.numbers import Pattern, shown
from app.domain.sign_off_rules import DIFFICULTIES
from app.domain.stages import STEP_WORDS, Step

ATTENDANCE, STATION, SIGN_OFF = table_of(Attendance), table_of(Station), table_of(SignOff)
ENTRY, HANDS, CHANGE, SHEET = table_of(Entry), table_of(EntryWorker), table_of(Change), table_of(Sheet)
WANTED, HOLD, SIGHTING, STACK = table_of(Wanted), table_of(Hold), table_of(Sighting), table_of(Stack)
SHOWN = 200


@dataclass(frozen=True, slots=True)
class KeptLine:
    """One row that bears a worker's name: when, what, and what else it says."""

    at: datetime
    what: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class Many:
    """The newest of many rows, and how many there are in all."""

    shown: tuple[KeptLine, ...]
    in_all: int

    @property
    def others(self) -> int:
        """How many are not shown."""
        return self.in_all - len(self.shown)


@dataclass(frozen=True, slots=True)
class KeptTime:
    """A time at a station; `beside` says that they learned there beside somebody."""

    station: str
    since: datetime
    until: datetime | None
    began: str
    ended: str
    beside: bool


def times(session: Session, worker_id: int) -> tuple[KeptTime, ...]:
    """Every time at a station that is kept by person, the latest first."""
    found = select(ATTENDANCE, STATION.c.name).join(STATION, STATION.c.id == ATTENDANCE.c.station_id)
    rows = session.execute(
        found.where(ATTENDANCE.c.worker_id == worker_id).order_by(
            ATTENDANCE.c.signed_in_at.desc(), ATTENDANCE.c.id.desc()
        )
    )
    return tuple(
        KeptTime(row.name, row.signed_in_at, row.signed_out_at, say(BEGAN_WORDS.get(row.how, row.how)),
                 say(ENDED_WORDS.get(row.ended_how or "out", "")) if row.signed_out_at else "", row.beside_id is not None)
        for row in rows
    )  # fmt: skip


def sign_offs(session: Session, worker_id: int) -> tuple[KeptLine, ...]:
    """What they were signed off for, the newest first, and until when."""
    rows = session.execute(select(SIGN_OFF).where(SIGN_OFF.c.worker_id == worker_id).order_by(SIGN_OFF.c.id.desc()))
    return tuple(
        KeptLine(row.signed_at, say("{step}, {difficulty}", step=_step(row.step)[0],
                                    difficulty=DIFFICULTIES.get(row.difficulty, row.difficulty)),
                 say("ended") if row.ended_at else say("holds"))
        for row in rows
    )  # fmt: skip


def entries_by_month(session: Session, worker_id: int, zone: ZoneInfo) -> Counter[tuple[str, str]]:
    """How many entries bear their name, by month of the room (YYYY-MM) and step, those taken back included."""
    rows = session.execute(
        select(ENTRY.c.happened_at, ENTRY.c.step).join(HANDS, HANDS.c.entry_id == ENTRY.c.id)
        .where(HANDS.c.worker_id == worker_id)
    )  # fmt: skip
    return Counter((f"{row.happened_at.astimezone(zone):%Y-%m}", say(_step(row.step)[1])) for row in rows)


def last_entries(session: Session, worker_id: int, patterns: Sequence[Pattern]) -> tuple[KeptLine, ...]:
    """The last 200 entries that bear their name, by when they were written, the newest first."""
    found = (
        select(ENTRY.c.happened_at, ENTRY.c.step, ENTRY.c.reason, HANDS.c.role, (~STANDS).label("taken_back"),
               SHEET.c.number, STACK.c.name.label("stack"), STATION.c.name.label("station"))
        .select_from(HANDS).join(ENTRY, ENTRY.c.id == HANDS.c.entry_id)
        .outerjoin(SHEET, (SHEET.c.id == ENTRY.c.subject_id) & (ENTRY.c.subject_kind == "sheet"))
        .outerjoin(STACK, (STACK.c.id == ENTRY.c.subject_id) & (ENTRY.c.subject_kind == "stack"))
        .outerjoin(STATION, STATION.c.id == ENTRY.c.station_id)
        .where(HANDS.c.worker_id == worker_id).order_by(HANDS.c.entry_id.desc()).limit(SHOWN)
    )  # fmt: skip
    return tuple(_entry(row, patterns) for row in session.execute(found))


def sightings(session: Session, worker_id: int, patterns: Sequence[Pattern]) -> Many:
    """The sheets that they were the last to scan without writing anything, by when."""
    mine = SIGHTING.c.worker_id == worker_id
    found = (
        select(SIGHTING.c.seen_at, SHEET.c.number, STATION.c.name)
        .outerjoin(SHEET, (SHEET.c.id == SIGHTING.c.subject_id) & (SIGHTING.c.subject_kind == "sheet"))
        .outerjoin(STATION, STATION.c.id == SIGHTING.c.station_id)
        .where(mine).order_by(SIGHTING.c.seen_at.desc()).limit(SHOWN)
    )  # fmt: skip
    lines = [
        KeptLine(row.seen_at, shown(row.number or "–", patterns), row.name or "") for row in session.execute(found)
    ]
    return Many(tuple(lines), count(session, mine))


def changes(session: Session, *which: ColumnElement[bool]) -> Many:
    """Changes to what is no sheet: what, from what to what, and why."""
    found = select(CHANGE).where(*which).order_by(CHANGE.c.id.desc()).limit(SHOWN)
    lines = [
        KeptLine(row.changed_at, f"{say(row.subject)}: {say(row.what)}", _change_words(row))
        for row in session.execute(found)
    ]
    return Many(tuple(lines), count(session, *which))


def wanted(session: Session, worker_id: int, patterns: Sequence[Pattern]) -> Many:
    """The sheets that they asked for, and why."""
    mine = or_(WANTED.c.asked_by == worker_id, WANTED.c.ended_by == worker_id)
    found = select(WANTED.c.asked_at, WANTED.c.why, SHEET.c.number).join(SHEET, SHEET.c.id == WANTED.c.sheet_id)
    rows = session.execute(found.where(mine).order_by(WANTED.c.id.desc()).limit(SHOWN))
    return Many(
        tuple(KeptLine(row.asked_at, shown(row.number, patterns), row.why) for row in rows), count(session, mine)
    )


def holds(session: Session, worker_id: int, patterns: Sequence[Pattern]) -> Many:
    """The holds that they put, and why."""
    mine = (HOLD.c.put_entry_id == HANDS.c.entry_id, HANDS.c.worker_id == worker_id)
    found = select(HOLD.c.put_at, HOLD.c.kind, HOLD.c.why, SHEET.c.number).join(SHEET, SHEET.c.id == HOLD.c.sheet_id)
    rows = session.execute(found.where(*mine).order_by(HOLD.c.id.desc()).limit(SHOWN))
    lines = [
        KeptLine(row.put_at, say("{number}: {hold}", number=shown(row.number, patterns),
                                 hold=HOLDS[row.kind].words if row.kind in HOLDS else row.kind), row.why or "")
        for row in rows
    ]  # fmt: skip
    return Many(tuple(lines), count(session, *mine))


def count(session: Session, *which: ColumnElement[bool]) -> int:
    """How many rows fit."""
    return int(session.execute(select(func.count()).where(*which)).scalar_one())


def _entry(row: Any, patterns: Sequence[Pattern]) -> KeptLine:
    thing = shown(row.number, patterns) if row.number else say("stack {stack}", stack=row.stack) if row.stack else ""
    told = (say("at {station}", station=row.station) if row.station else "", say("stood beside") if row.role != "did" else "",
            say("taken back") if row.taken_back else "", row.reason or "")  # fmt: skip
    return KeptLine(row.happened_at, f"{_step(row.step)[1]} {thing}".strip(), ", ".join(filter(None, told)))


def _change_words(row: Any) -> str:
    told = (
        say("from {old}", old=row.old) if row.old else "",
        say("to {new}", new=row.new) if row.new else "",
        row.why or "",
    )
    return ", ".join(filter(None, told))


def _step(step: str) -> tuple[str, str]:
    return STEP_WORDS[Step(step)] if step in set(Step) else (step, step)
