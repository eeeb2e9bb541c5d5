"""Lists of sheets, a page at a time: by stage, by cabinet and shelf, by what holds them, or by what was searched for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Sheet, table_of
from app.queries.house import patterns_now
from app.queries.lines import SheetRow, line_rows, sheet_rows
from app.queries.orders import page_of_ids
from app.queries.sieve import Sieve, conditions
from app.queries.waiting import judge

SHEET = table_of(Sheet)
MOST_ON_A_PAGE = 200


@dataclass(frozen=True, slots=True)
class SheetList:
    """One page of a list; `next_after` asks for the page that follows, and is empty at the end."""

    rows: tuple[SheetRow, ...]
    next_after: str


def list_sheets(session: Session, now: datetime, zone: ZoneInfo, *, stage: str = "", cabinet: str = "", stalled: bool = False,
                left_behind: bool = False, q: str = "", after: str = "", limit: int = 50) -> SheetList:  # fmt: skip
    """One page of sheets: what waits, longest first; what is filed, or everything, by number.

    ValueError, in a sentence, for a stage or cabinet that is not there, or an `after` that no page gave.
    """
    sieve = Sieve(stage=stage, cabinet=cabinet, stalled=stalled, left_behind=left_behind, q=q)
    return sheets_like(session, sieve, now, zone, after=after, limit=limit)


def sheets_like(session: Session, sieve: Sieve, now: datetime, zone: ZoneInfo, *, after: str = "",
                limit: int = 50) -> SheetList:  # fmt: skip
    """One page of what a sieve lets through, in its order; a sheet that stays as it is comes once on all the pages.

    ValueError, in a sentence, for what is not there, or an `after` that no page gave.
    """
    judged = judge(session, now, zone)
    limit = max(1, min(limit, MOST_ON_A_PAGE))
    where = conditions(session, judged, sieve)
    ids, next_after = page_of_ids(session, where, sieve.order, after, limit, of_all=sieve.is_of_all)
    return SheetList(sheet_rows(session, line_rows(session, ids), patterns_now(session), judged), next_after)


def count_like(session: Session, sieve: Sieve, now: datetime, zone: ZoneInfo) -> int:
    """How many sheets a sieve lets through: asked of one cabinet, not of the collection. ValueError as for the list."""
    where = conditions(session, judge(session, now, zone), sieve)
    return int(session.execute(select(func.count()).select_from(SHEET).where(*where)).scalar_one())


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
