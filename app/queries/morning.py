"""The morning list: what was left overnight, and what the day asks for, on one sheet of paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.domain.closing import Found, waits_in_the_morning
from app.domain.day import Item, Kind, date_words, day_of, press_due
from app.domain.day_words import MORNING, closed_words, parts
from app.domain.language import say
from app.domain.stages import Stage
from app.queries import room_day
from app.queries.lines import place_of, stage_words
from app.queries.lying import WITHIN
from app.queries.press import stacks_seen
from app.queries.room_day import SHEET, DayPart, Known, SheetFacts, day_parts, sheets_where
from app.queries.waiting import judge

# Under one head; the whole list fits on one sheet of A4 or Letter.
MOST = 7


@dataclass(frozen=True, slots=True)
class MorningView:
    """The list of one morning: its date, since when the room was closed (empty after an open day), and its parts."""

    date: str
    closed: str
    parts: tuple[DayPart, ...]


def morning_view(session: Session, now: datetime, zone: ZoneInfo) -> MorningView:
    """What the morning card says, in full; it names no person."""
    judged = judge(session, now, zone)
    day, stacks = day_of(now, judged.calendar), stacks_seen(session, judged)
    glued = sheets_where(session, SHEET.c.stage == Stage.MOUNTED, order=(SHEET.c.came_at,))
    wanted = sheets_where(session, SHEET.c.wanted_at.is_not(None), order=(SHEET.c.wanted_at,))
    pressing = (press_due(view.name, (layer.ready_at for layer in view.layers), day) for view in stacks)
    found = Found(
        glued=room_day.glued(glued), bare=room_day.bare(stacks), drying=room_day.drying(session),
        loads=room_day.loads(session), pressing=[item for item in pressing if item is not None],
        wanted=[Item(Kind.WANTED, name, at=row.wanted_at) for name, row in wanted], ready=room_day.ready(session),
    )  # fmt: skip
    known = {**_known(Kind.GLUED, glued), **_known(Kind.WANTED, wanted)}
    every = parts(MORNING, waits_in_the_morning(found, judged.house, day))
    return MorningView(date_words(day.today, day.today), closed_words(day), day_parts(every, now, known, MOST))


def _known(kind: Kind, rows: Sequence[tuple[str, Any]]) -> Known:
    return {(kind, name): SheetFacts(row.number, row.plant or "", _where(row)) for name, row in rows}


def _stage(stage: str | None) -> str:
    return say(WITHIN[Stage(stage)]) if stage else stage_words(stage).lower()


def _where(row: Any) -> str:
    return ", ".join(filter(None, (_stage(row.stage), place_of(row))))
