"""Closing the room: everything that must not be left as it is overnight, with where it was last seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Entry, Sighting, Station
from app.domain.closing import Found, left_at_closing
from app.domain.day import Day, Item, Kind, day_of
from app.domain.day_words import CLOSING, opens_words, parts
from app.domain.language import say
from app.domain.stages import Stage
from app.domain.words import said
from app.queries import room_day
from app.queries.press import stacks_seen
from app.queries.room_day import SHEET, DayPart, Known, SheetFacts, day_parts, sheets_where
from app.queries.waiting import judge


@dataclass(frozen=True, slots=True)
class ClosingView:
    """The closing of one day: what must be seen to, what is good to know, and when the room opens again."""

    safe: bool
    to_do: tuple[DayPart, ...]
    to_know: tuple[DayPart, ...]
    opens: str


def closing_view(session: Session, now: datetime, zone: ZoneInfo) -> ClosingView:
    """What the closing card says, in full; safe when nothing must be seen to."""
    judged = judge(session, now, zone)
    day = day_of(now, judged.calendar)
    glued = sheets_where(session, SHEET.c.stage == Stage.MOUNTED, order=(SHEET.c.came_at,))
    taken_up = (SHEET.c.stage == Stage.READY, SHEET.c.table_id.is_not(None))
    on_tables = sheets_where(session, *taken_up, order=(Station.name,))
    found = Found(
        glued=room_day.glued(glued), bare=room_day.bare(stacks_seen(session, judged)), tables=_tables(on_tables),
        drying=room_day.drying(session), loads=room_day.loads(session), contacts=room_day.contacts(session),
        signed_in=room_day.signed_in(session),
    )  # fmt: skip
    known = {**_on_each(on_tables), **_last_seen(session, glued, day, zone)}
    every = day_parts(parts(CLOSING, left_at_closing(found, judged.house, day)), now, known)
    to_do = tuple(part for part in every if part.presses)
    return ClosingView(not to_do, to_do, tuple(part for part in every if not part.presses), opens_words(day))


def _tables(rows: Sequence[tuple[str, Any]]) -> list[Item]:
    by_table = groupby(rows, key=lambda each: str(each[1].on_table))
    return [Item(Kind.TABLE, table, len(list(mine))) for table, mine in by_table]


def _on_each(rows: Sequence[tuple[str, Any]]) -> Known:
    by_table = groupby(rows, key=lambda each: str(each[1].on_table))
    return {(Kind.TABLE, table): SheetFacts("", "", ", ".join(name for name, _ in mine)) for table, mine in by_table}


def _last_seen(session: Session, rows: Sequence[tuple[str, Any]], day: Day, zone: ZoneInfo) -> Known:
    seen = _seen_at(session, [row.id for _, row in rows]) if rows else {}
    known = {}
    for name, row in rows:
        at, station = seen.get(row.id, (None, ""))
        where = (
            say("last seen at {station}, {moment}", station=station, moment=said(at, zone, day.now))
            if at is not None
            else ""
        )
        known[Kind.GLUED, name] = SheetFacts(row.number, row.plant or "", where)
    return known


def _seen_at(session: Session, sheet_ids: Sequence[int]) -> dict[int, tuple[datetime | None, str]]:
    """When and at which station each sheet was last scanned, whatever came of it."""
    mine = (Entry.subject_kind == "sheet", Entry.subject_id.in_(sheet_ids), Entry.station_id.is_not(None))
    last = select(func.max(Entry.id)).where(*mine).group_by(Entry.subject_id)
    entries = select(Entry.subject_id, Entry.happened_at, Station.name).join(Station, Station.id == Entry.station_id)
    sighted = (Sighting.subject_kind == "sheet", Sighting.subject_id.in_(sheet_ids))
    seen = select(Sighting.subject_id, Sighting.seen_at, Station.name).join(Station, Station.id == Sighting.station_id)
    found: dict[int, tuple[datetime | None, str]] = {}
    rows = [*session.execute(entries.where(Entry.id.in_(last))), *session.execute(seen.where(*sighted))]
    for sheet_id, at, station in sorted(rows, key=lambda row: row[1]):
        found[sheet_id] = (at, station)
    return found
