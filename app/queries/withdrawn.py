"""What was withdrawn and where it went; and what was withdrawn, and was scanned here since."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from app.db.models import Entry, EntryWorker, PlantName, RefusedScan, Sheet, Worker, table_of
from app.domain.language import say
from app.domain.numbers import Pattern, shown
from app.domain.stages import Step
from app.queries.house import patterns_now
from app.queries.need import Asked, Need, NeedKind, of_sheet

SHEET, ENTRY, REFUSED = table_of(Sheet), table_of(Entry), table_of(RefusedScan)
MOST = 200
# A scan that was refused longer ago is for the log of refusals (no source).
LOOKS_BACK = timedelta(days=60)
_BY = (
    select(func.min(Worker.name))
    .join(EntryWorker, EntryWorker.worker_id == Worker.id)
    .where(EntryWorker.entry_id == ENTRY.c.id)
    .correlate(ENTRY)
    .scalar_subquery()
)
_WITHDRAWN: Select[Any] = (
    select(SHEET.c.number, PlantName.name.label("plant"), PlantName.family, SHEET.c.closed_as, ENTRY.c.happened_at, _BY.label("by"))
    .select_from(ENTRY)
    .join(SHEET, (SHEET.c.id == ENTRY.c.subject_id) & (SHEET.c.last_at == ENTRY.c.happened_at))
    .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
    .where(ENTRY.c.step == Step.WITHDRAW, SHEET.c.closed_as.is_not(None))
    .order_by(ENTRY.c.happened_at.desc(), ENTRY.c.id.desc())
    .limit(MOST)
)  # fmt: skip
_SEEN = (
    select(SHEET.c.number, PlantName.name.label("plant"), PlantName.family, SHEET.c.closed_as,
           func.max(REFUSED.c.refused_at).label("at"))
    .select_from(REFUSED)
    .join(SHEET, SHEET.c.id == REFUSED.c.sheet_id)
    .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
    .where(REFUSED.c.codes.contains("withdrawn"), SHEET.c.closed_as.is_not(None), REFUSED.c.refused_at > SHEET.c.last_at)
    .group_by(SHEET.c.id, SHEET.c.number, PlantName.name, PlantName.family, SHEET.c.closed_as)
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class WithdrawnLine:
    """One withdrawn sheet: why and where it went, when (or when it was scanned since), and by whom for who may see names."""

    number: str
    shown: str
    plant: str
    family: str
    closed_as: str
    at: datetime
    by: str


def withdrawn_sheets(session: Session, *, by_names: bool) -> tuple[WithdrawnLine, ...]:
    """The last that were withdrawn and did not come again, newest first, a few hundred at most."""
    rows, patterns = session.execute(_WITHDRAWN).all(), patterns_now(session)
    return tuple(_line(row, patterns, row.happened_at, (row.by or "") if by_names else "") for row in rows)


def seen_again(session: Session, now: datetime) -> tuple[WithdrawnLine, ...]:
    """Withdrawn sheets that somebody scanned here since they left, in the last weeks: they are in the room, and not in the log."""
    found = _SEEN.where(REFUSED.c.refused_at > now - LOOKS_BACK).order_by(func.max(REFUSED.c.refused_at).desc())
    patterns = patterns_now(session)
    return tuple(_line(row, patterns, row.at, "") for row in session.execute(found.limit(MOST)))


def came_again(asked: Asked, kind: NeedKind) -> list[Need]:
    """Lines about withdrawn sheets that are here again: the manager takes them in, or puts the number right."""
    found = seen_again(asked.session, asked.judged.now)
    return [
        of_sheet(
            asked,
            kind,
            each.number,
            each.at,
            "intake",
            say("{what}: {reason}", what=kind.words, reason=say(each.closed_as)),
        )
        for each in found
    ]


def _line(row: Any, patterns: Sequence[Pattern], at: datetime, by: str) -> WithdrawnLine:
    return WithdrawnLine(
        row.number, shown(row.number, patterns), row.plant or "", row.family or "", row.closed_as, at, by
    )
