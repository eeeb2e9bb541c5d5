"""The log on its way out, as traces of an event log: the sheets that are asked for, each with all of its log that stands."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import BindParameter, bindparam, func, select
from sqlalchemy.orm import Session

from app.db.models import Consignment, Entry, EntryWorker, Sheet, Station, Worker, table_of
from app.db.out_rows import AT_ONCE
from app.domain import xes
from app.domain.calendar import day_bounds
from app.domain.language import say
from app.domain.stages import Step
from app.domain.xes import Event

SHEET, ENTRY, STATION = table_of(Sheet), table_of(Entry), table_of(Station)
CONSIGNMENT, WORKER, HAND = table_of(Consignment), table_of(Worker), table_of(EntryWorker)
_IDS: BindParameter[int] = bindparam("sheets", expanding=True)
_ENTRIES = (
    select(
        ENTRY.c.id, ENTRY.c.subject_id, ENTRY.c.step, ENTRY.c.happened_at, ENTRY.c.to_stage, ENTRY.c.corrects,
        STATION.c.name.label("station"), SHEET.c.number, CONSIGNMENT.c.code.label("consignment"),
    )
    .select_from(ENTRY)
    .join(SHEET, SHEET.c.id == ENTRY.c.subject_id)
    .outerjoin(STATION, STATION.c.id == ENTRY.c.station_id)
    .outerjoin(CONSIGNMENT, CONSIGNMENT.c.id == SHEET.c.consignment_id)
    .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id.in_(_IDS))
    .order_by(ENTRY.c.subject_id, ENTRY.c.happened_at, ENTRY.c.id)
)  # fmt: skip
_HANDS = (
    select(HAND.c.entry_id, WORKER.c.number)
    .join(WORKER, WORKER.c.id == HAND.c.worker_id)
    .join(ENTRY, ENTRY.c.id == HAND.c.entry_id)
    .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id.in_(_IDS), HAND.c.role == "did")
    .order_by(HAND.c.entry_id, WORKER.c.id)
)
_OF_SHEET = (ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == SHEET.c.id)


@dataclass(frozen=True, slots=True)
class LogAsked:
    """Which sheets' logs are asked for: those with an entry from `since` to `until` (both days included), those of a
    consignment, or all; each with the whole of its log, for half a log says nothing true about how long things took.

    `workers`: with the number of whoever did it; no names. `everything`: what was taken back, too, and the corrections.
    """

    since: date | None = None
    until: date | None = None
    consignment: str = ""
    workers: bool = False
    everything: bool = False
    heard: Callable[[int, int], None] = lambda _done, _of: None


def log_out(session: Session, asked: LogAsked, name: str, zone: ZoneInfo) -> Iterator[str]:
    """The texts of which the file is made. ValueError, in a sentence, comes before the first."""
    where = _where(session, asked, zone)
    many = session.execute(select(func.count()).select_from(SHEET).where(*where)).scalar_one()
    yield xes.head(name, with_workers=asked.workers)
    after, done = 0, 0
    found = select(SHEET.c.id).where(*where).order_by(SHEET.c.id).limit(AT_ONCE)
    while ids := list(session.execute(found.where(SHEET.c.id > after)).scalars()):
        yield from _traces(session, ids, asked, zone)
        after, done = ids[-1], done + len(ids)
        asked.heard(done, many)
    yield xes.END


def _where(session: Session, asked: LogAsked, zone: ZoneInfo) -> list[Any]:
    if asked.since and asked.until and asked.since > asked.until:
        raise ValueError(say("The last day lies before the first."))
    during = [ENTRY.c.happened_at >= _bounds(asked.since, zone)[0]] if asked.since else []
    if asked.until:
        during.append(ENTRY.c.happened_at < _bounds(asked.until, zone)[1])
    where: list[Any] = [select(ENTRY.c.id).where(*_OF_SHEET, *during).exists()]
    if asked.consignment:
        mine = select(CONSIGNMENT.c.id).where(CONSIGNMENT.c.code == asked.consignment.replace("\0", ""))
        consignment_id = session.execute(mine).scalar()
        if consignment_id is None:
            raise ValueError(say("There is no consignment called {code}. Look its code up.", code=asked.consignment))
        where.append(SHEET.c.consignment_id == consignment_id)
    return where


def _bounds(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    try:
        return day_bounds(day, zone)
    except OverflowError:
        raise ValueError(say("No log reaches as far as that day.")) from None


def _traces(session: Session, ids: Sequence[int], asked: LogAsked, zone: ZoneInfo) -> Iterator[str]:
    hands: dict[int, list[str]] = {}
    if asked.workers:
        for entry_id, number in session.execute(_HANDS, {"sheets": ids}):
            hands.setdefault(entry_id, []).append(number)
    for _, some in groupby(session.execute(_ENTRIES, {"sheets": ids}), key=lambda row: row.subject_id):
        rows = list(some)
        corrected = {row.corrects for row in rows if row.corrects is not None}
        told = [row for row in rows if asked.everything or _stands(row, corrected)]
        if told:
            events = [_event(row, hands.get(row.id, []), corrected) for row in told]
            yield xes.trace(rows[0].number, [("consignment", rows[0].consignment or "")], events, zone)


def _stands(row: Any, corrected: set[int]) -> bool:
    return row.step != Step.CORRECT and row.id not in corrected


def _event(row: Any, workers: Sequence[str], corrected: set[int]) -> Event:
    return Event(
        row.id, row.step, row.happened_at, row.station or "", row.to_stage or "", tuple(workers), row.id in corrected, row.corrects
    )  # fmt: skip
