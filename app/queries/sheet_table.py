"""Lists of sheets as a table for other programs: Darwin Core terms where they fit, and no place of gathering."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.domain.calendar import local_iso
from app.queries.lines import hold_words, line_rows, waits_of
from app.queries.orders import page_of_ids
from app.queries.sieve import Sieve, conditions
from app.queries.waiting import Judge, judge

# The first five are terms of Darwin Core (TDWG); the others are the room's own.
COLUMNS = ("catalogNumber", "scientificName", "family", "recordedBy", "recordNumber",
           "stage", "since", "cabinet", "shelf", "holds", "stalled")  # fmt: skip
AT_ONCE = 500


def table_rows(session: Session, sieve: Sieve, now: datetime, zone: ZoneInfo) -> Iterator[tuple[str, ...]]:
    """The headings, then a row for each sheet that a sieve lets through, in its order, a few hundred read at a time.

    `since` is in ISO 8601 with the offset of the room's zone, `stalled` yes or no. ValueError, in a sentence, for what
    is not there comes before the headings.
    """
    judged = judge(session, now, zone)
    where = conditions(session, judged, sieve)
    yield COLUMNS
    after = ""
    while True:
        ids, after = page_of_ids(session, where, sieve.order, after, AT_ONCE, of_all=sieve.is_of_all)
        yield from _cells(session, ids, judged, zone)
        if not after:
            return


def _cells(session: Session, ids: list[int], judged: Judge, zone: ZoneInfo) -> Iterator[tuple[str, ...]]:
    rows = line_rows(session, ids)
    for row, wait in zip(rows, waits_of(session, rows, judged), strict=True):
        yield (row.number, *_named(row), row.stage or "", local_iso(row.came_at, zone), row.cabinet or "", row.shelf or "",
               "; ".join(hold_words(row.holds)), "yes" if wait.stalled else "no")  # fmt: skip


def _named(row: Any) -> tuple[str, ...]:
    return tuple(text or "" for text in (row.plant, row.family, row.collector, row.record_number))
