"""Sheets of one week by worker and step: each sheet once for each step, credited by its last entry of it that stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from sqlalchemy import Select, bindparam, func, select
from sqlalchemy.orm import Session

from app.db.models import Entry, EntryWorker, Inspection, table_of
from app.db.standing import STANDS, stands
from app.domain.stages import OF_THINGS, Step
from app.queries.weeks_kept import Span

ENTRY, ENTRY_WORKER, INSPECTION = table_of(Entry), table_of(EntryWorker), table_of(Inspection)
MOMENT = ENTRY.c.happened_at.type
# What is no work on a sheet: done with other things, written beside the opening of a load, or a word that an entry was
# wrong. Asking for the steps and not for the kind of subject leaves the index of moments and steps to be used.
NOT_OF_SHEETS = (Step.CORRECT, Step.TREATMENT, *sorted(OF_THINGS))
GLUINGS = (Step.MOUNT, Step.RE_GLUE)
# A look ends with its outcome, or with a step of its own: it is glued again, or goes back to the table.
LOOKS = (Step.INSPECT, Step.RE_GLUE, Step.BACK_TO_TABLE)
PASSED = "passed"
_BESIDE = ENTRY_WORKER.alias("beside")
WITHIN = (
    ENTRY.c.happened_at >= bindparam("since", type_=MOMENT),
    ENTRY.c.happened_at < bindparam("until", type_=MOMENT),
)


@dataclass(frozen=True, slots=True)
class Handed:
    """What a worker did with one step: sheets they had a hand in, and their shares; both also of what was learned."""

    sheets: int = 0
    credit: Fraction = Fraction(0)
    learning: int = 0
    learning_credit: Fraction = Fraction(0)

    def __add__(self, other: Handed) -> Handed:
        return Handed(
            self.sheets + other.sheets, self.credit + other.credit,
            self.learning + other.learning, self.learning_credit + other.learning_credit,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sheets:
    """A week's sheets by (worker's id, step), and those of the whole room by step: with those that name nobody."""

    by_worker: Mapping[tuple[int, Step], Handed]
    by_step: Mapping[Step, int]


@dataclass(frozen=True, slots=True)
class Looked:
    """First looks at a worker's gluings: how many, and how many passed; none of those glued while learning."""

    inspected: int = 0
    passed: int = 0

    def __add__(self, other: Looked) -> Looked:
        return Looked(self.inspected + other.inspected, self.passed + other.passed)


def sheets_of(session: Session, span: Span) -> Sheets:
    """The sheets of one week, as the standing entries of the log have them."""
    by_worker: dict[tuple[int, Step], Handed] = {}
    whole: dict[Step, Fraction] = {}
    for step, worker, share, shares, learning, count in session.execute(_SHEETS, moments(span)):
        part = Fraction(share, shares) if worker is not None else Fraction(1)
        whole[Step(step)] = whole.get(Step(step), Fraction(0)) + count * part
        if worker is not None:
            key, more = (worker, Step(step)), Handed(count, count * part, *((count, count * part) if learning else ()))
            by_worker[key] = by_worker.get(key, Handed()) + more
    return Sheets(by_worker, {step: int(sheets) for step, sheets in whole.items()})


def first_looks(session: Session, span: Span) -> dict[int, Looked]:
    """The first inspections of gluings in one week, by the worker who glued; two who glued together have one each.

    Those that arrived mounted are nobody's.
    """
    found: dict[int, Looked] = {}
    for worker, learning, passed, count in session.execute(_LOOKS, moments(span)):
        more = Looked() if learning else Looked(count, count if passed else 0)
        found[worker] = found.get(worker, Looked()) + more
    return found


def moments(span: Span) -> dict[str, Any]:
    """The bound values of WITHIN."""
    return {"since": span.since, "until": span.until}


def learning_at(entry_id: Any) -> Any:
    """A clause: whether somebody stood beside whoever did this entry."""
    return select(_BESIDE.c.entry_id).where(_BESIDE.c.entry_id == entry_id, _BESIDE.c.role == "beside").exists()


def _sheets() -> Select[Any]:
    last = func.row_number().over(
        partition_by=(ENTRY.c.step, ENTRY.c.subject_id), order_by=(ENTRY.c.happened_at.desc(), ENTRY.c.id.desc())
    )
    every = select(ENTRY.c.id, ENTRY.c.step, last.label("place"))
    mine = every.where(*WITHIN, ENTRY.c.step.not_in(NOT_OF_SHEETS), STANDS).subquery("mine")
    by = (
        mine.c.step,
        ENTRY_WORKER.c.worker_id,
        ENTRY_WORKER.c.share,
        ENTRY_WORKER.c.shares,
        learning_at(mine.c.id).label("learning"),
    )
    did = (ENTRY_WORKER.c.entry_id == mine.c.id) & (ENTRY_WORKER.c.role == "did")
    counted = select(*by, func.count()).outerjoin_from(mine, ENTRY_WORKER, did).where(mine.c.place == 1)
    return counted.group_by(*by[:-1], "learning")


def last_before() -> Any:
    """A clause: the last gluing or look of a sheet before the look in ENTRY. Only where it is a gluing is this the first
    look at it.
    """
    before = ENTRY.alias("before")
    earlier = (before.c.happened_at < ENTRY.c.happened_at) | (before.c.id < ENTRY.c.id)
    mine = (
        before.c.subject_kind == "sheet",
        before.c.subject_id == ENTRY.c.subject_id,
        before.c.step.in_((*GLUINGS, Step.INSPECT)),
    )
    found = select(before.c.id).where(*mine, before.c.happened_at <= ENTRY.c.happened_at, earlier, stands(before))
    return found.order_by(before.c.happened_at.desc(), before.c.id.desc()).limit(1).scalar_subquery()


def _looks() -> Select[Any]:
    gluing, last = ENTRY.alias("gluing"), last_before()
    credited = func.coalesce(INSPECTION.c.mount_entry_id, last)
    looks = (
        select(credited.label("mount_id"), last.label("last_id"), INSPECTION.c.outcome)
        .join(INSPECTION, INSPECTION.c.entry_id == ENTRY.c.id)
        .where(*WITHIN, ENTRY.c.step.in_(LOOKS), STANDS)
        .subquery("looks")
    )
    passed = (looks.c.outcome == PASSED).label("passed")
    return (
        select(ENTRY_WORKER.c.worker_id, learning_at(looks.c.mount_id).label("learning"), passed, func.count())
        .select_from(looks)
        .join(gluing, (gluing.c.id == looks.c.last_id) & gluing.c.step.in_(GLUINGS))
        .join(ENTRY_WORKER, (ENTRY_WORKER.c.entry_id == looks.c.mount_id) & (ENTRY_WORKER.c.role == "did"))
        .group_by(ENTRY_WORKER.c.worker_id, "learning", "passed")
    )


_SHEETS, _LOOKS = _sheets(), _looks()
