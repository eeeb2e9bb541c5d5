"""Teaching: who may do which step alone, who has not done it for long, and what was found in each one's mountings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from app.db.models import Change, SignOff, TallyDay, Worker, table_of
from app.domain.calendar import local_day
from app.domain.language import say
from app.domain.sign_off_rules import DIFFICULTIES, ORDINARY, TAUGHT, sheets_words
from app.domain.stages import STEP_WORDS, Step
from app.queries.findings import NOTHING, LookedAt, findings_by_worker
from app.queries.house import house_now

SIGN_OFF = table_of(SignOff)
WORKER = table_of(Worker)
CHANGE = table_of(Change)
TALLY = table_of(TallyDay)
WEEKS_LOOKED_BACK = 8
_BY = aliased(Worker)


@dataclass(frozen=True, slots=True)
class Mark:
    """One sign-off in force: for sheets of which difficulty, since when, and by whom (empty: nobody is named)."""

    sign_off_id: int
    difficulty: str
    words: str
    since: datetime
    by: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One step of one worker. `last_on` is the day on which they last did it (None: never); `is_stale` says that they are
    signed off and that it is longer ago than the house rule has it, or was never done in that time.
    """

    step: Step
    words: str
    marks: tuple[Mark, ...]
    last_on: date | None
    is_stale: bool

    @property
    def may(self) -> frozenset[str]:
        """The difficulties that they are signed off for."""
        return frozenset(mark.difficulty for mark in self.marks)


@dataclass(frozen=True, slots=True)
class Learner:
    """A worker with a cell for each step that is taught, and what inspections of the last weeks found."""

    worker_id: int
    number: str
    name: str
    cells: tuple[Cell, ...]
    looked_at: LookedAt


@dataclass(frozen=True, slots=True)
class Teaching:
    """Everybody who works at stations, by name. `is_asked`: the house rule is kept; `uncovered` says what nobody may do
    alone with ordinary sheets.
    """

    is_asked: bool
    stale_weeks: int
    steps: tuple[str, ...]
    learners: tuple[Learner, ...]
    uncovered: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Past:
    """One line of a worker's history of sign-offs."""

    at: datetime
    what: str
    words: str
    by: str
    why: str


def teaching(session: Session, now: datetime, zone: ZoneInfo) -> Teaching:
    """Who may do what alone, as it stands now."""
    house = house_now(session)
    here = select(WORKER.c.id, WORKER.c.number, WORKER.c.name).where(
        WORKER.c.retired_at.is_(None), WORKER.c.rights != "reader"
    )
    marks, last = _marks(session), _last_done(session)
    found = findings_by_worker(session, now - timedelta(weeks=WEEKS_LOOKED_BACK), now)
    oldest = local_day(now, zone) - timedelta(weeks=house.sign_off_stale_weeks)
    learners = tuple(
        Learner(
            row.id, row.number, row.name, _cells(marks[row.id], last[row.id], oldest, zone), found.get(row.id, NOTHING)
        )
        for row in session.execute(here.order_by(WORKER.c.name, WORKER.c.id))
    )
    covered = {cell.step for learner in learners for cell in learner.cells if ORDINARY in cell.may}
    uncovered = tuple(sheets_words(step, ORDINARY) for step in TAUGHT if step not in covered)
    return Teaching(
        house.sign_offs, house.sign_off_stale_weeks, tuple(_words(step) for step in TAUGHT), learners, uncovered
    )


def learner_by_id(found: Teaching, worker_id: int) -> Learner | None:
    """One of those who learn or teach here; None for a reader, for whoever has left, and for nobody."""
    return next((learner for learner in found.learners if learner.worker_id == worker_id), None)


def sign_offs_told(session: Session, worker_id: int) -> tuple[Past, ...]:
    """What was signed off and ended for a worker, the newest first, with the reasons."""
    of_worker = (
        CHANGE.c.subject == "worker",
        CHANGE.c.subject_id == worker_id,
        CHANGE.c.what.in_(("signed off", "sign-off ended")),
    )
    found = select(CHANGE, _BY.name.label("by")).outerjoin(_BY, _BY.id == CHANGE.c.changed_by).where(*of_worker)
    rows = session.execute(found.order_by(CHANGE.c.id.desc()))
    return tuple(Past(row.changed_at, row.what, row.new or row.old or "", row.by or "", row.why or "") for row in rows)


def _cells(
    marks: Mapping[str, tuple[Mark, ...]], last: Mapping[str, date], oldest: date, zone: ZoneInfo
) -> tuple[Cell, ...]:
    return tuple(_cell(step, marks.get(step.value, ()), last.get(step.value), oldest, zone) for step in TAUGHT)


def _cell(step: Step, marks: tuple[Mark, ...], last_on: date | None, oldest: date, zone: ZoneInfo) -> Cell:
    # Whoever was signed off lately has had no time yet to let it lie.
    known = [local_day(min(mark.since for mark in marks), zone)] if marks else []
    is_stale = bool(marks) and max([*known, *([last_on] if last_on else [])]) < oldest
    return Cell(step, _words(step), marks, last_on, is_stale)


def _marks(session: Session) -> Mapping[int, dict[str, tuple[Mark, ...]]]:
    rows = session.execute(
        select(SIGN_OFF, _BY.name.label("by")).outerjoin(_BY, _BY.id == SIGN_OFF.c.signed_by)
        .where(SIGN_OFF.c.ended_at.is_(None)).order_by(SIGN_OFF.c.signed_at, SIGN_OFF.c.id)
    )  # fmt: skip
    found: defaultdict[int, dict[str, tuple[Mark, ...]]] = defaultdict(dict)
    order = list(DIFFICULTIES)
    for row in rows:
        mark = Mark(
            row.id, row.difficulty, DIFFICULTIES.get(row.difficulty, row.difficulty), row.signed_at, row.by or ""
        )
        of_step = (*found[row.worker_id].get(row.step, ()), mark)
        found[row.worker_id][row.step] = tuple(sorted(of_step, key=lambda each: order.index(each.difficulty)))
    return found


def _last_done(session: Session) -> Mapping[int, dict[str, date]]:
    done = (TALLY.c.sheets > 0, TALLY.c.step.in_([step.value for step in TAUGHT]))
    rows: Any = session.execute(
        select(TALLY.c.worker_id, TALLY.c.step, func.max(TALLY.c.day).label("last")).where(*done)
        .group_by(TALLY.c.worker_id, TALLY.c.step)
    )  # fmt: skip
    found: defaultdict[int, dict[str, date]] = defaultdict(dict)
    for row in rows:
        found[row.worker_id][row.step] = row.last
    return found


def _words(step: Step) -> str:
    return say(STEP_WORDS[step][0]).capitalize()
