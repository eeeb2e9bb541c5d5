"""What the manager's pages cost: time in stage beside window functions over the log, cabinets, the list and the forecast."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import perf_counter
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.engine import Database, reading
from app.db.models import Cabinet, Sheet, table_of
from app.domain.stages import Stage
from app.queries.board import board
from app.queries.cabinets import cabinet_summary
from app.queries.forecast import forecast_lines
from app.queries.listing import sheets_like
from app.queries.sieve import Sieve
from app.queries.usual import usual
from app.queries.waiting import judge
from app.queries.week import week
from tests.bench.rounds import Round, shuffled
from tests.bench.work import ZONE

SHEET = table_of(Sheet)
# What the page says of each stage, worked out from the log itself: half and nine in ten of the stays of a year.
BY_WINDOWS = """
    WITH moved AS (
        SELECT to_stage AS stage, happened_at, lead(happened_at) OVER mine AS left_at
        FROM entry WHERE subject_kind = 'sheet' AND to_stage IS NOT from_stage
        WINDOW mine AS (PARTITION BY subject_id ORDER BY happened_at, id)
    ), stays AS (
        SELECT stage, julianday(left_at) - julianday(happened_at) AS days,
            ntile(10) OVER (PARTITION BY stage ORDER BY julianday(left_at) - julianday(happened_at)) AS tenth
        FROM moved WHERE left_at >= ?
    )
    SELECT stage, max(CASE WHEN tenth <= 5 THEN days END), max(CASE WHEN tenth <= 9 THEN days END), count(*)
    FROM stays GROUP BY stage"""

BY_FULL_SCAN = (
    """SELECT step, count(*), count(DISTINCT subject_id) FROM entry NOT INDEXED WHERE happened_at >= ? GROUP BY step"""
)


def usual_round(database: Database, path: Path) -> Round:
    """What is usual in every stage and cabinet, and the same for the stages by window functions: seconds."""
    return {
        "usual": _seconds(database, lambda session: usual(session, datetime.now(UTC), ZONE)),
        "windows": _windows(path),
    }


def week_round(database: Database, path: Path) -> Round:
    """The whole report of last week, and counting its entries in a full scan of the log: seconds."""
    now = datetime.now(UTC)
    year, number, _ = (now - timedelta(days=7)).date().isocalendar()
    report = _seconds(database, lambda session: week(session, year, number, now, ZONE), times=1)
    return {"week": report, "full scan": _full_scan(path, now - timedelta(days=7))}


def cabinet_round(small: Database, large: Database) -> Round:
    """A cabinet's page (its shelves and its first list) in a small and in a large collection with the same queue."""
    rooms = shuffled([("small", small), ("large", large)])
    return {name: _seconds(database, _cabinet_page) for name, database in rooms}


def page_round(database: Database) -> Round:
    """Each of the manager's pages, and one look-up by number through the same session: seconds."""
    return {name: _seconds(database, read) for name, read in shuffled(list(PAGES.items()))}


def _full_scan(path: Path, since: datetime) -> float:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA mmap_size = 268435456")
        begin = perf_counter()
        connection.execute(BY_FULL_SCAN, (f"{since:%Y-%m-%d %H:%M:%S}",)).fetchall()
        return perf_counter() - begin


def _windows(path: Path) -> float:
    since = f"{datetime.now(UTC) - timedelta(days=365):%Y-%m-%d %H:%M:%S}"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA mmap_size = 268435456")
        connection.execute("PRAGMA cache_size = -65536")
        connection.execute("PRAGMA temp_store = MEMORY")
        begin = perf_counter()
        connection.execute(BY_WINDOWS, (since,)).fetchall()
        return perf_counter() - begin


def _seconds(database: Database, read: Callable[[Session], object], times: int = 3) -> float:
    found = []
    for _ in range(times):
        begin = perf_counter()
        with reading(database) as session:
            read(session)
        found.append(perf_counter() - begin)
    return sorted(found)[times // 2]


def _cabinet_page(session: Session) -> object:
    now, name = datetime.now(UTC), _a_cabinet(session)
    return cabinet_summary(session, name, now, ZONE), sheets_like(session, Sieve(cabinet=name), now, ZONE)


def _a_cabinet(session: Session) -> str:
    found = select(Cabinet.name).where(Cabinet.stage == Stage.READY).order_by(Cabinet.id).limit(1)
    return str(session.execute(found).scalar_one())


def _ahead(session: Session) -> object:
    now = datetime.now(UTC)
    return forecast_lines(session, judge(session, now, ZONE), board(session, now, ZONE).stages)


def _look_up(session: Session) -> Any:
    return session.execute(select(SHEET).where(SHEET.c.number == "TQX0000017")).mappings().first()


PAGES: dict[str, Callable[[Session], object]] = {
    "board": lambda session: board(session, datetime.now(UTC), ZONE),
    "a cabinet": _cabinet_page,
    "stalled sheets": lambda session: sheets_like(session, Sieve(stalled=True), datetime.now(UTC), ZONE),
    "when it will be done": _ahead,
    "usual here": lambda session: usual(session, datetime.now(UTC), ZONE),
    "look-up": _look_up,
}
