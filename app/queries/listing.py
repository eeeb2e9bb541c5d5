"""Lists of sheets, a page at a time: by stage, by cabinet, or by what was searched for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Select, and_, literal, or_, select, tuple_
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Sheet, Shelf, table_of
from app.domain.stages import Stage
from app.queries.house import patterns_now
from app.queries.lines import LINES, SheetRow, sheet_rows
from app.queries.search import matching
from app.queries.stalled import IN_QUEUE, stalled_where
from app.queries.waiting import Judge, judge

SHEET = table_of(Sheet)
MOST_ON_A_PAGE = 200
MOST_FOUND = 500
NO_PLACE = "This is no place in the list. Begin at its first page."


@dataclass(frozen=True, slots=True)
class SheetList:
    """One page of a list; `next_after` asks for the page that follows, and is empty at the end."""

    rows: tuple[SheetRow, ...]
    next_after: str


def list_sheets(session: Session, now: datetime, zone: ZoneInfo, *, stage: str = "", cabinet: str = "", stalled: bool = False,
                q: str = "", after: str = "", limit: int = 50) -> SheetList:  # fmt: skip
    """One page of sheets: what waits, longest first; what is filed, or everything, by number.

    ValueError, in a sentence, for a stage or cabinet that is not there, or an `after` that no page gave.
    """
    judged = judge(session, now, zone)
    waits = stalled or stage not in ("", Stage.FILED)
    statement = LINES.where(*_filters(session, judged, stage, cabinet, stalled, q))
    statement = _by_wait(statement, after) if waits else _by_number(statement, after)
    limit = max(1, min(limit, MOST_ON_A_PAGE))
    rows = session.execute(statement.limit(limit + 1)).all()
    more = len(rows) > limit
    page = sheet_rows(session, rows[:limit], patterns_now(session), judged)
    return SheetList(page, _token(page[-1], waits) if more else "")


def list_json(found: SheetList) -> dict[str, Any]:
    """A page of sheets as the JSON interface gives it."""
    return {
        "sheets": [
            {
                "number": row.number, "shown": row.shown, "plant": row.plant, "family": row.family, "stage": row.stage or None,
                "since": row.since.isoformat() if row.since else None, "place": row.place, "stalled": row.stalled,
                "holds": list(row.holds), "bulk": row.bulk, "outcome": row.outcome or None,
            }
            for row in found.rows
        ],
        "next": found.next_after or None,
    }  # fmt: skip


def _filters(session: Session, judged: Judge, stage: str, cabinet: str, stalled: bool, q: str) -> list[Any]:
    where: list[Any] = []
    if stage:
        where += _of_stage(stage)
    if cabinet:
        where.append(_in_cabinet(session, cabinet))
    if stalled:
        where.append(stalled_where(session, judged, Stage(stage) if stage else None))
    if q.strip():
        where.append(SHEET.c.id.in_(matching(session, q, patterns_now(session), MOST_FOUND)))
    return where


def _of_stage(stage: str) -> list[Any]:
    if stage not in list(Stage):
        raise ValueError(f"There is no stage called {stage}. The stages are {', '.join(Stage)}.")
    if stage == Stage.FILED:
        return [SHEET.c.stage == stage, SHEET.c.closed_as.is_(None)]
    return [IN_QUEUE, SHEET.c.stage == stage]


def _in_cabinet(session: Session, cabinet: str) -> ColumnElement[bool]:
    cabinet_id = session.execute(select(Cabinet.id).where(Cabinet.name == cabinet)).scalar()
    if cabinet_id is None:
        raise ValueError(f"There is no cabinet called {cabinet}. Look it up on the cabinets page.")
    shelves = list(session.execute(select(Shelf.id).where(Shelf.cabinet_id == cabinet_id)).scalars())
    # By shelf, because the shelf has an index; a sheet in the cabinet and on no shelf of it is found among those on none.
    loose = and_(SHEET.c.shelf_id.is_(None), SHEET.c.cabinet_id == cabinet_id)
    return or_(SHEET.c.shelf_id.in_(shelves), loose)


def _by_wait(statement: Select[Any], after: str) -> Select[Any]:
    ordered = statement.where(IN_QUEUE).order_by(SHEET.c.came_at, SHEET.c.id)
    if not after:
        return ordered
    came_at, last = _place(after)
    further = tuple_(literal(came_at, SHEET.c.came_at.type), literal(last))
    return ordered.where(tuple_(SHEET.c.came_at, SHEET.c.id) > further)


def _place(after: str) -> tuple[datetime, int]:
    moment, _, sheet_id = after.partition(" ")
    try:
        came_at, last = datetime.fromisoformat(moment), int(sheet_id)
    except ValueError:
        raise ValueError(NO_PLACE) from None
    if came_at.tzinfo is None or not 0 <= last < 2**63:
        raise ValueError(NO_PLACE)
    return came_at, last


def _by_number(statement: Select[Any], after: str) -> Select[Any]:
    ordered = statement.order_by(SHEET.c.number)
    return ordered.where(SHEET.c.number > after) if after else ordered


def _token(row: SheetRow, waits: bool) -> str:
    return f"{row.since.isoformat()} {row.sheet_id}" if waits and row.since else row.number
