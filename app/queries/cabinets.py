"""Cabinets and shelves: how many sheets are in each, and which."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import and_, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Sheet, Shelf, table_of
from app.domain.stages import STAGES, Stage
from app.queries.house import patterns_now
from app.queries.lines import LINES, SheetRow, sheet_rows
from app.queries.press import name_order
from app.queries.waiting import judge

SHEET = table_of(Sheet)
MOST_ON_A_PAGE = 200


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


@dataclass(frozen=True, slots=True)
class ShelfPage:
    """One page of what is on a shelf, or in a cabinet, by number; `next_after` asks for the next page."""

    cabinet: str
    shelf: str
    count: int
    rows: tuple[SheetRow, ...]
    next_after: str


def cabinets(session: Session) -> tuple[CabinetView, ...]:
    """Every cabinet in use with its shelves and counts, in walking order."""
    on_shelves, loose = _by_shelf(session), _loose(session)
    shelves: dict[int, list[ShelfView]] = {}
    for row in session.execute(select(Shelf).order_by(Shelf.id)).scalars():
        view = ShelfView(row.id, row.name, row.code, on_shelves.get(row.id, 0), row.capacity)
        shelves.setdefault(row.cabinet_id, []).append(view)
    rows = session.execute(select(Cabinet).where(Cabinet.closed_at.is_(None)).order_by(Cabinet.walk)).scalars().all()
    ordered = sorted(rows, key=lambda row: (row.walk, name_order(row.name)))
    return tuple(_cabinet(row, tuple(shelves.get(row.id, ())), loose.get(row.id, 0)) for row in ordered)


def shelf_page(session: Session, cabinet: str, shelf: str, now: datetime, zone: ZoneInfo, *, after: str = "",
               limit: int = 50) -> ShelfPage | None:  # fmt: skip
    """One page of a shelf, or with no shelf named of the whole cabinet, by number; None when there is no such place."""
    where = _where(session, cabinet, shelf)
    if where is None:
        return None
    limit = max(1, min(limit, MOST_ON_A_PAGE))
    count = session.execute(select(func.count()).select_from(SHEET).where(where)).scalar_one()
    statement = LINES.where(where).order_by(SHEET.c.number).limit(limit + 1)
    rows = session.execute(statement.where(SHEET.c.number > after) if after else statement).all()
    lines = sheet_rows(session, rows[:limit], patterns_now(session), judge(session, now, zone))
    return ShelfPage(cabinet, shelf, count, lines, lines[-1].number if len(rows) > limit else "")


def _by_shelf(session: Session) -> dict[int, int]:
    found = select(SHEET.c.shelf_id, func.count()).where(SHEET.c.shelf_id.is_not(None)).group_by(SHEET.c.shelf_id)
    return {shelf_id: count for shelf_id, count in session.execute(found)}


def _loose(session: Session) -> dict[int, int]:
    mine = (SHEET.c.shelf_id.is_(None), SHEET.c.cabinet_id.is_not(None))
    found = select(SHEET.c.cabinet_id, func.count()).where(*mine).group_by(SHEET.c.cabinet_id)
    return {cabinet_id: count for cabinet_id, count in session.execute(found)}


def _cabinet(row: Cabinet, shelves: tuple[ShelfView, ...], loose: int) -> CabinetView:
    return CabinetView(
        row.id, row.name, row.code, row.stage or "", STAGES[Stage(row.stage)].words if row.stage else "", row.is_clean,
        row.capacity, row.limit_open_days, row.note or "", loose + sum(shelf.count for shelf in shelves), loose, shelves,
    )  # fmt: skip


def _where(session: Session, cabinet: str, shelf: str) -> Any:
    cabinet_id = session.execute(select(Cabinet.id).where(Cabinet.name == cabinet)).scalar()
    if cabinet_id is None:
        return None
    shelves = {
        row.name: row.id for row in session.execute(select(Shelf).where(Shelf.cabinet_id == cabinet_id)).scalars()
    }
    if not shelf:
        loose = and_(SHEET.c.shelf_id.is_(None), SHEET.c.cabinet_id == cabinet_id)
        return or_(SHEET.c.shelf_id.in_(shelves.values()), loose)
    return SHEET.c.shelf_id == shelves[shelf] if shelf in shelves else None
