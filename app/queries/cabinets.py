"""Cabinets and shelves: how many sheets are in each, how old, and how many of them are stalled or held."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, and_, case, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Sheet, Shelf, table_of
from app.domain.natural_order import natural_order
from app.domain.stages import Stage
from app.domain.words import age
from app.queries.kinds import IN_QUEUE
from app.queries.places import is_for
from app.queries.sieve import Sieve, in_place
from app.queries.stalled import stalled_where
from app.queries.waiting import Judge, judge

SHEET = table_of(Sheet)
# The stages in which a sheet can wait in a cabinet; what lies under press lies in a stack.
IN_CABINETS = (Stage.INTAKE, Stage.DRYING, Stage.READY, Stage.MOUNTED, Stage.DRY)
Counted = tuple[int, datetime | None, int, int]


@dataclass(frozen=True, slots=True)
class ShelfView:
    """One shelf and how many sheets are on it by the log."""

    shelf_id: int
    name: str
    code: str
    count: int
    capacity: int | None


@dataclass(frozen=True, slots=True)
class CabinetView:
    """One cabinet; `loose` counts the sheets in it that are on no shelf of it by the log."""

    cabinet_id: int
    name: str
    code: str
    stage: str
    stage_words: str
    is_clean: bool
    capacity: int | None
    limit_open_days: int | None
    note: str
    count: int
    loose: int
    shelves: tuple[ShelfView, ...]

    @property
    def room(self) -> int | None:
        """How many sheets it holds: its own capacity, else that of its shelves where every one of them has one."""
        if self.capacity is not None or not self.shelves:
            return self.capacity
        of_shelves = [shelf.capacity for shelf in self.shelves if shelf.capacity is not None]
        return sum(of_shelves) if len(of_shelves) == len(self.shelves) else None


@dataclass(frozen=True, slots=True)
class ShelfSummary:
    """One shelf of a cabinet, or (without name and code) what is on none of them: how many lie there, since when the
    oldest of those that wait came into its stage, how many are stalled, and on how many there is any hold.
    """

    name: str
    code: str
    count: int
    capacity: int | None
    oldest_since: datetime | None
    oldest_age: str
    stalled: int
    held: int


@dataclass(frozen=True, slots=True)
class CabinetSummary:
    """One cabinet with its shelves from the top, and last, if there is anything, what is on no shelf."""

    cabinet: CabinetView
    shelves: tuple[ShelfSummary, ...]


def cabinets(session: Session) -> tuple[CabinetView, ...]:
    """Every cabinet in use with its shelves and counts, in walking order."""
    on_shelves, loose = _by_shelf(session), _loose(session)
    shelves: dict[int, list[ShelfView]] = {}
    for row in session.execute(select(Shelf).order_by(Shelf.id)).scalars():
        view = ShelfView(row.id, row.name, row.code, on_shelves.get(row.id, 0), row.capacity)
        shelves.setdefault(row.cabinet_id, []).append(view)
    rows = session.execute(select(Cabinet).where(Cabinet.closed_at.is_(None)).order_by(Cabinet.walk)).scalars().all()
    ordered = sorted(rows, key=lambda row: (row.walk, natural_order(row.name)))
    return tuple(_cabinet(row, tuple(shelves.get(row.id, ())), loose.get(row.id, 0)) for row in ordered)


def cabinet_names(session: Session) -> tuple[str, ...]:
    """The cabinets in use, in walking order; nothing is counted."""
    rows = session.execute(select(Cabinet.name, Cabinet.walk).where(Cabinet.closed_at.is_(None)))
    return tuple(row.name for row in sorted(rows, key=lambda row: (row.walk, natural_order(row.name))))


def cabinet_summary(session: Session, name: str, now: datetime, zone: ZoneInfo) -> CabinetSummary | None:
    """What lies in one cabinet, shelf by shelf; None when there is no such cabinet. Costs what lies in it."""
    cabinet = session.execute(select(Cabinet).where(Cabinet.name == name)).scalar_one_or_none()
    if cabinet is None:
        return None
    found = _counted(session, in_place(session, Sieve(cabinet=name)), judge(session, now, zone))
    rows = session.execute(select(Shelf).where(Shelf.cabinet_id == cabinet.id).order_by(Shelf.id)).scalars().all()
    shelves = [_summary(row.name, row.code, row.capacity, found.get(row.id), now) for row in rows]
    loose = [_summary("", "", None, found[None], now)] if None in found else []
    views = tuple(ShelfView(row.id, row.name, row.code, line.count, row.capacity)
                  for row, line in zip(rows, shelves, strict=True))  # fmt: skip
    return CabinetSummary(_cabinet(cabinet, views, sum(line.count for line in loose)), (*shelves, *loose))


def _counted(session: Session, where: ColumnElement[bool], judged: Judge) -> dict[int | None, Counted]:
    """Count, oldest that waits, stalled and held, by shelf."""
    stalled = or_(*(stalled_where(session, judged, stage) for stage in IN_CABINETS))
    columns = (
        func.count(), func.min(case((IN_QUEUE, SHEET.c.came_at))), func.sum(case((and_(IN_QUEUE, stalled), 1), else_=0)),
        func.sum(case((SHEET.c.holds != "", 1), else_=0)),
    )  # fmt: skip
    found = session.execute(select(SHEET.c.shelf_id, *columns).where(where).group_by(SHEET.c.shelf_id))
    return {row[0]: (row[1], row[2], row[3], row[4]) for row in found}


def _summary(name: str, code: str, capacity: int | None, found: Counted | None, now: datetime) -> ShelfSummary:
    count, oldest, stalled, held = found or (0, None, 0, 0)
    return ShelfSummary(name, code, count, capacity, oldest, age(oldest, now) if oldest else "", stalled, held)


def _by_shelf(session: Session) -> dict[int, int]:
    found = select(SHEET.c.shelf_id, func.count()).where(SHEET.c.shelf_id.is_not(None)).group_by(SHEET.c.shelf_id)
    return {shelf_id: count for shelf_id, count in session.execute(found)}


def _loose(session: Session) -> dict[int, int]:
    mine = (SHEET.c.shelf_id.is_(None), SHEET.c.cabinet_id.is_not(None))
    found = select(SHEET.c.cabinet_id, func.count()).where(*mine).group_by(SHEET.c.cabinet_id)
    return {cabinet_id: count for cabinet_id, count in session.execute(found)}


def _cabinet(row: Cabinet, shelves: tuple[ShelfView, ...], loose: int) -> CabinetView:
    return CabinetView(
        row.id, row.name, row.code, row.stage or "", is_for(row), row.is_clean,
        row.capacity, row.limit_open_days, row.note or "", loose + sum(shelf.count for shelf in shelves), loose, shelves,
    )  # fmt: skip
