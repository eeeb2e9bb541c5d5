"""The dryers: how many sheets lie in each, what its thermometer showed lately, and what of that needs a person."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from app.db.models import Bundle, Cabinet, Sheet, Temperature, Worker, table_of
from app.domain.drying import HEATED, Warmth, warmth
from app.domain.house import House
from app.domain.numbers import shown
from app.domain.stages import Stage

SHEET, BUNDLE, CABINET, TEMPERATURE = table_of(Sheet), table_of(Bundle), table_of(Cabinet), table_of(Temperature)
IN_QUEUE = text("sheet.in_queue")
RECENT = timedelta(days=14)
MOST_SHOWN = 60


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """One reading: when, in degrees Celsius, what it means by the house rules, by whom, and a note."""

    at: datetime
    celsius: float
    warmth: Warmth
    by: str
    note: str


@dataclass(frozen=True, slots=True)
class DryerView:
    """One dryer: the sheets that dry in it, its bundles, and its readings of two weeks, the newest first.

    `since` is since when something has lain in it, None while nothing does. `unread_since` is when it was read last, or
    since when something lies in it, where that is longer ago than the house allows.
    """

    name: str
    code: str
    shown: str
    sheets: int
    bundles: tuple[str, ...]
    since: datetime | None
    readings: tuple[ReadingLine, ...]
    unread_since: datetime | None

    @property
    def last(self) -> ReadingLine | None:
        """The newest reading."""
        return self.readings[0] if self.readings else None


def dryers(session: Session, now: datetime, house: House) -> tuple[DryerView, ...]:
    """Every dryer in use, by name. What dries with heat in no dryer by the log lies in the only one, where there is one."""
    found = select(CABINET.c.id, CABINET.c.name, CABINET.c.code).where(
        CABINET.c.is_dryer, CABINET.c.closed_at.is_(None)
    )
    rows = session.execute(found.order_by(CABINET.c.name)).all()
    lying = _lying(session, only=rows[0].id if len(rows) == 1 else None) if rows else {}
    return tuple(_view(session, row, lying.get(row.id, []), now, house) for row in rows)


def _view(session: Session, row: Any, lying: Sequence[Any], now: datetime, house: House) -> DryerView:
    readings = _readings(session, row.id, now, house)
    since = min((each.since for each in lying), default=None)
    last = readings[0].at if readings else None
    counts_from = max(filter(None, (since, last)), default=None) if since is not None else None
    unread = counts_from is not None and counts_from + timedelta(hours=house.dry_read_h) < now
    names = tuple(each.bundle for each in lying if each.bundle)
    many = sum(each.many for each in lying)
    return DryerView(
        row.name, row.code, shown(row.code, ()), many, names, since, readings, counts_from if unread else None
    )


def _lying(session: Session, only: int | None) -> dict[int, list[Any]]:
    """What dries, by dryer and bundle: how many, and since when."""
    found = (
        select(BUNDLE.c.dryer_id, BUNDLE.c.name.label("bundle"), SHEET.c.method, func.count().label("many"),
               func.min(SHEET.c.came_at).label("since"))
        .select_from(SHEET)
        .outerjoin(BUNDLE, BUNDLE.c.id == SHEET.c.bundle_id)
        .where(IN_QUEUE, SHEET.c.stage == Stage.DRYING)
        .group_by(BUNDLE.c.dryer_id, BUNDLE.c.name, SHEET.c.method)
        .order_by(BUNDLE.c.name)
    )  # fmt: skip
    lying: dict[int, list[Any]] = {}
    for row in session.execute(found):
        dryer = row.dryer_id or (only if row.method == HEATED else None)
        if dryer is not None:
            lying.setdefault(dryer, []).append(row)
    return lying


def _readings(session: Session, dryer_id: int, now: datetime, house: House) -> tuple[ReadingLine, ...]:
    """The readings of two weeks; of an older dryer at least the last one."""
    found = (
        select(TEMPERATURE.c.read_at, TEMPERATURE.c.celsius, TEMPERATURE.c.note, Worker.name)
        .outerjoin(Worker, Worker.id == TEMPERATURE.c.read_by)
        .where(TEMPERATURE.c.cabinet_id == dryer_id)
        .order_by(TEMPERATURE.c.read_at.desc(), TEMPERATURE.c.id.desc())
        .limit(MOST_SHOWN)
    )
    rows = session.execute(found).all()
    recent = [row for row in rows if row.read_at > now - RECENT] or rows[:1]
    return tuple(
        ReadingLine(row.read_at, row.celsius, warmth(row.celsius, house), row.name or "", row.note or "")
        for row in recent
    )
