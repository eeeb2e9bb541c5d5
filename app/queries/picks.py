"""A pick list: sheets in the order in which one walks past them, with what must be known before a folder is opened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Bundle, Cabinet, Sheet, Shelf, Stack, Station, table_of
from app.domain.language import mark, say
from app.domain.natural_order import natural_order
from app.domain.numbers import shown
from app.domain.stages import Stage
from app.queries.fetching import cautions_by_sheet
from app.queries.house import patterns_now
from app.queries.lines import LINES, collected_words, hold_words, place_of, waits_of, with_places
from app.queries.sieve import Sieve, conditions
from app.queries.waiting import Judge, judge

SHEET = table_of(Sheet)
MOST_PICKED = 2000
ENDLESS = mark("That would be a list of everything. Choose a stage or a cabinet, or search for a name.")
ENDLESS_FILED = mark("Filed sheets are picked one cabinet at a time. Choose a cabinet, or search for a name.")

_PLACES = with_places(
    select(SHEET.c.id, SHEET.c.number, Cabinet.walk, Cabinet.name.label("cabinet"), Shelf.name.label("shelf"),
           Stack.name.label("stack"), Station.name.label("on_table"), Bundle.name.label("bundle"))
    .select_from(SHEET)
)  # fmt: skip
_ROWS = LINES.add_columns(SHEET.c.consignment_id, SHEET.c.wanted_at, Cabinet.note)


@dataclass(frozen=True, slots=True)
class PickLine:
    """One sheet to pick, and why: stalled since a moment, held by these holds, wanted by somebody."""

    number: str
    shown: str
    plant: str
    family: str
    collected: str
    cautions: tuple[str, ...]
    stalled_since: datetime | None
    holds: tuple[str, ...]
    is_wanted: bool


@dataclass(frozen=True, slots=True)
class PickGroup:
    """What lies in one place; `sign` is what hangs on the cabinet, to be read before its door is opened."""

    where: str
    sign: str
    lines: tuple[PickLine, ...]


@dataclass(frozen=True, slots=True)
class PickList:
    """The places in walking order; `matching` counts all that were asked for, also those that are not on the list."""

    groups: tuple[PickGroup, ...]
    count: int
    matching: int

    @property
    def has_cautions(self) -> bool:
        """Whether there is anything to be read before one of the folders is opened."""
        return any(line.cautions for group in self.groups for line in group.lines)


def pick_list(session: Session, sieve: Sieve, now: datetime, zone: ZoneInfo, most: int = MOST_PICKED) -> PickList:
    """The sheets that a sieve lets through, by cabinet, shelf and number as one walks; what is in no cabinet comes last.

    At most `most`, the first on the way. ValueError, in a sentence, as for a list, and for a list without end.
    """
    if not (sieve.cabinet or sieve.q.strip() or sieve.waits or sieve.wanted):
        raise ValueError(ENDLESS_FILED if sieve.stage == Stage.FILED else ENDLESS)
    judged = judge(session, now, zone)
    found = session.execute(_PLACES.where(*conditions(session, judged, sieve))).all()
    ids = [row.id for row in sorted(found, key=on_the_way)[:most]]
    return PickList(_groups(session, ids, judged), len(ids), len(found))


def picks_of(session: Session, sheet_ids: Sequence[int], now: datetime, zone: ZoneInfo) -> PickList:
    """These sheets as a pick list, wherever they lie now."""
    found = [row for start in range(0, len(sheet_ids), 500)
             for row in session.execute(_PLACES.where(SHEET.c.id.in_(sheet_ids[start : start + 500])))]  # fmt: skip
    ids = [row.id for row in sorted(found, key=on_the_way)]
    return PickList(_groups(session, ids, judge(session, now, zone)), len(ids), len(ids))


def on_the_way(row: Any) -> tuple[Any, ...]:
    """A key that puts rows of sheets in the order in which one walks: by cabinet and shelf; what is in none comes last."""
    if row.stack or row.on_table or not row.cabinet:
        return (1, 0, natural_order(place_of(row)), False, [], row.number)
    return (0, row.walk, natural_order(row.cabinet), row.shelf is None, natural_order(row.shelf or ""), row.number)


def _groups(session: Session, ids: Sequence[int], judged: Judge) -> tuple[PickGroup, ...]:
    by_id = {row.id: row for row in session.execute(_ROWS.where(SHEET.c.id.in_(ids)))} if ids else {}
    rows = [by_id[each] for each in ids]
    lines = dict(zip(ids, _lines(session, rows, judged), strict=True))
    together = ((where, list(mine)) for where, mine in groupby(rows, _where))
    return tuple(PickGroup(where, _sign(mine[0]), tuple(lines[row.id] for row in mine)) for where, mine in together)


def _lines(session: Session, rows: Sequence[Any], judged: Judge) -> list[PickLine]:
    cautions = cautions_by_sheet(session, rows) if rows else {}
    patterns = patterns_now(session)
    waits = waits_of(session, rows, judged)
    return [
        PickLine(row.number, shown(row.number, patterns), row.plant or "", row.family or "", _collected(row),
                 cautions.get(row.id, ()), wait.stalls_at if wait.stalled else None, hold_words(row.holds),
                 row.wanted_at is not None)
        for row, wait in zip(rows, waits, strict=True)
    ]  # fmt: skip


def _where(row: Any) -> str:
    if row.stack or row.on_table or not row.cabinet:
        words = place_of(row)
        return words[0].upper() + words[1:] if words else say("No place known")
    if row.shelf:
        return say("Cabinet {cabinet} · shelf {shelf}", cabinet=row.cabinet, shelf=row.shelf)
    return say("Cabinet {cabinet} · on no shelf", cabinet=row.cabinet)


def _sign(row: Any) -> str:
    return (row.note or "") if not (row.stack or row.on_table) else ""


def _collected(row: Any) -> str:
    return collected_words(row.collector, row.record_number)
