"""The last hands that a missing sheet went through before a check missed it, and the scan by which it was found later."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Entry, EntryWorker, Station, Worker, table_of
from app.domain.stages import STEP_WORDS, Step
from app.queries.checks import CHECK, EXPECTED, HOLD, PUT_BY_IT

ENTRY, STATION = table_of(Entry), table_of(Station)
_NO_SIGHT = (Step.PUT_HOLD.value, Step.LIFT_HOLD.value, Step.CORRECT.value)


@dataclass(frozen=True, slots=True)
class LastHand:
    """The last entry of a sheet before it was missed: what was done, when, at which station, and by whom if it may be shown."""

    words: str
    at: datetime
    station: str
    by: tuple[str, ...] = ()


def last_hands(session: Session, ids: Sequence[int], check: Any, names: bool) -> dict[int, LastHand]:
    """The last entry of each of these sheets, by a scan of it, that was written before the check ended."""
    mine = (ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id.in_(ids), ENTRY.c.step.not_in(_NO_SIGHT))
    until = (ENTRY.c.recorded_at <= check.closed_at,) if check.closed_at is not None else ()
    last = select(func.max(ENTRY.c.id)).where(*mine, *until).group_by(ENTRY.c.subject_id)
    found = (
        select(ENTRY.c.id, ENTRY.c.subject_id, ENTRY.c.step, ENTRY.c.happened_at, STATION.c.name)
        .outerjoin(STATION, STATION.c.id == ENTRY.c.station_id)
        .where(ENTRY.c.id.in_(last))
    )
    rows = session.execute(found).all()
    who = _who(session, [row.id for row in rows]) if names else {}
    return {row.subject_id: LastHand(STEP_WORDS[Step(row.step)][1], row.happened_at, row.name or "", who.get(row.id, ()))
            for row in rows}  # fmt: skip


def found_later(session: Session, check_id: int) -> dict[int, tuple[datetime | None, str]]:
    """When and where ("" for at no station) the sheets that a closing held as not found were scanned again, by their ids; a sheet
    that nobody has found is not among them.
    """
    found = (
        select(EXPECTED.c.sheet_id, HOLD.c.lifted_at, STATION.c.name)
        .select_from(CHECK).join(EXPECTED, EXPECTED.c.check_id == CHECK.c.id).join(HOLD, PUT_BY_IT)
        .outerjoin(ENTRY, ENTRY.c.id == HOLD.c.lifted_entry_id).outerjoin(STATION, STATION.c.id == ENTRY.c.station_id)
        .where(CHECK.c.id == check_id, HOLD.c.lifted_at.is_not(None))
    )  # fmt: skip
    return {row.sheet_id: (row.lifted_at, row.name or "") for row in session.execute(found)}


def _who(session: Session, entry_ids: Sequence[int]) -> dict[int, tuple[str, ...]]:
    found = select(EntryWorker.entry_id, Worker.name).join(Worker, Worker.id == EntryWorker.worker_id)
    mine = (EntryWorker.entry_id.in_(entry_ids), EntryWorker.role == "did")
    names: dict[int, tuple[str, ...]] = {}
    for entry_id, name in session.execute(found.where(*mine).order_by(Worker.name)):
        names[entry_id] = (*names.get(entry_id, ()), name)
    return names
