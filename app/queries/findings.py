"""What inspections found wrong, told by whose mounting it was: to see what to teach, never to rank."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from app.db.models import Entry, EntryWorker, Finding, Inspection, table_of
from app.db.standing import stands
from app.domain.findings import kind_words
from app.domain.stages import Step
from app.queries.week_sheets import LOOKS

ENTRY = table_of(Entry)
HANDS = table_of(EntryWorker)
FINDING = table_of(Finding)
INSPECTION = table_of(Inspection)
_GLUING = ENTRY.alias()
# The gluing that was looked at: the one named beside the inspection, else the sheet's last before it.
_LAST_GLUED = (
    select(_GLUING.c.id)
    .where(
        _GLUING.c.subject_kind == "sheet", _GLUING.c.subject_id == INSPECTION.c.sheet_id,
        _GLUING.c.id != INSPECTION.c.entry_id, _GLUING.c.step.in_((Step.MOUNT.value, Step.RE_GLUE.value)),
        _GLUING.c.happened_at <= ENTRY.c.happened_at, stands(_GLUING),
    )
    .order_by(_GLUING.c.happened_at.desc(), _GLUING.c.id.desc()).limit(1)
    .correlate(ENTRY, INSPECTION).scalar_subquery()
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Found:
    """One kind of finding in a worker's mountings: how often, and how often of that while they were learning."""

    kind: str
    words: str
    times: int
    learning: int


@dataclass(frozen=True, slots=True)
class LookedAt:
    """A worker's mountings that were inspected: how many sheets, how many of them mounted while learning beside
    somebody, and what was found, the commonest first. Two who mounted together each have it whole.
    """

    sheets: int
    learning: int
    found: tuple[Found, ...]


NOTHING = LookedAt(0, 0, ())


def findings_by_worker(session: Session, since: datetime, until: datetime) -> dict[int, LookedAt]:
    """What inspections from `since` to `until`, both included, found, by the worker who mounted."""
    judged = _judged(since, until)
    mine = (HANDS.c.entry_id == judged.c.gluing, HANDS.c.role == "did")
    beside = (
        select(_TEACHING.worker_id).where(_TEACHING.entry_id == judged.c.gluing, _TEACHING.role == "beside").exists()
    )
    sheets = select(HANDS.c.worker_id, judged.c.sheet_id, beside.label("learning")).join(judged, mine[0]).where(mine[1])
    kinds = (
        select(HANDS.c.worker_id, FINDING.c.kind, beside.label("learning"), func.count().label("times"))
        .join(judged, mine[0]).join(FINDING, FINDING.c.inspection_id == judged.c.inspection_id)
        .where(mine[1]).group_by(HANDS.c.worker_id, FINDING.c.kind, "learning")
    )  # fmt: skip
    found = _found(session.execute(kinds).all())
    looked: dict[int, dict[int, bool]] = {}
    for row in session.execute(sheets.distinct()):
        of_worker = looked.setdefault(row.worker_id, {})
        of_worker[row.sheet_id] = of_worker.get(row.sheet_id, False) or row.learning
    return {worker: LookedAt(len(seen), sum(seen.values()), found.get(worker, ())) for worker, seen in looked.items()}


def _judged(since: datetime, until: datetime) -> Any:
    """The inspections of a span, each with the gluing that it looked at; one that was taken back has no row."""
    in_span = (ENTRY.c.step.in_(LOOKS), ENTRY.c.happened_at >= since, ENTRY.c.happened_at <= until)
    gluing = func.coalesce(INSPECTION.c.mount_entry_id, _LAST_GLUED).label("gluing")
    return (
        select(INSPECTION.c.id.label("inspection_id"), INSPECTION.c.sheet_id, gluing)
        .join(ENTRY, ENTRY.c.id == INSPECTION.c.entry_id).where(*in_span).subquery()
    )  # fmt: skip


def _found(rows: Any) -> dict[int, tuple[Found, ...]]:
    times: dict[int, dict[str, list[int]]] = {}
    for row in rows:
        counts = times.setdefault(row.worker_id, {}).setdefault(row.kind, [0, 0])
        counts[0] += row.times
        counts[1] += row.times if row.learning else 0
    return {worker: tuple(sorted((Found(kind, kind_words(kind), *counts) for kind, counts in kinds.items()),
                                 key=lambda each: (-each.times, each.kind))) for worker, kinds in times.items()}  # fmt: skip


_TEACHING = aliased(EntryWorker)
