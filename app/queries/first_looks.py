"""What to teach: of a worker's gluings, how many passed the first look at them, what that look found, and in which weeks.

For the trainer, and for each worker about themselves; nobody is set beside anybody else.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, bindparam, func, select
from sqlalchemy.orm import Session, aliased

from app.db.models import Entry, EntryWorker, Finding, Inspection, SignOff, Worker, table_of
from app.db.standing import STANDS
from app.domain.calendar import local_day
from app.domain.findings import PASSED, kind_words
from app.domain.intervals import Interval, wilson_interval
from app.domain.sign_off_rules import DIFFICULTIES
from app.domain.stages import Step
from app.queries.house import house_now
from app.queries.week_sheets import GLUINGS, LOOKS, WITHIN, last_before, learning_at

ENTRY, HANDS = table_of(Entry), table_of(EntryWorker)
INSPECTION, FINDING = table_of(Inspection), table_of(Finding)
SIGN_OFF = table_of(SignOff)
WEEKS = 26
_BY = aliased(Worker)


@dataclass(frozen=True, slots=True)
class First:
    """The first look at one gluing: when it was glued, whether it passed as it was, and what was found."""

    glued_at: datetime
    passed: bool
    learning: bool
    kinds: frozenset[str]


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many cases; the interval (95 %, Wilson) from 0 to 1, None where the cases are too few to tell."""

    count: int
    cases: int
    interval: Interval | None


@dataclass(frozen=True, slots=True)
class KindShare:
    """How many first looks found this, of all that were not learned; and how many of what was glued while learning."""

    kind: str
    words: str
    share: Share
    learning: int
    last_week: str


@dataclass(frozen=True, slots=True)
class WeekShare:
    """The gluings of one ISO week (2026-W47): how many passed, of how many looked at, and what was found, in words."""

    name: str
    first: date
    share: Share
    learning: int
    found: str


@dataclass(frozen=True, slots=True)
class Lesson:
    """A sign-off for mounting, and the gluings before it and since, those while learning included."""

    at: datetime
    words: str
    by: str
    before: Share
    since: Share


@dataclass(frozen=True, slots=True)
class FirstLooks:
    """A worker's first looks of the last weeks. `passed` leaves out what was glued while learning, which is in `learning`.

    `least` is the house rule for how many cases a share needs before its interval is told.
    """

    passed: Share
    learning: Share
    kinds: tuple[KindShare, ...]
    weeks: tuple[WeekShare, ...]
    lessons: tuple[Lesson, ...]
    least: int


def first_looks_of(session: Session, worker_id: int, now: datetime, zone: ZoneInfo) -> FirstLooks:
    """The first looks at a worker's gluings, of looks in the last 26 weeks; two who glued together have one each."""
    firsts = _firsts(session, now - timedelta(weeks=WEEKS), now).get(worker_id, [])
    least = house_now(session).first_pass_least
    own, learned = [each for each in firsts if not each.learning], [each for each in firsts if each.learning]
    return FirstLooks(_passed(own, least), _passed(learned, least), _kinds(own, learned, zone, least), _weeks(firsts, zone, least),
                      _lessons(session, worker_id, firsts, least), least)  # fmt: skip


def passed_first_by_worker(session: Session, since: datetime, now: datetime) -> dict[int, Share]:
    """Passed at the first look, by worker, of the looks since a moment; without what was glued while learning."""
    least = house_now(session).first_pass_least
    found = _firsts(session, since, now)
    return {worker: _passed([each for each in firsts if not each.learning], least) for worker, firsts in found.items()}


def share(count: int, cases: int, least: int) -> Share:
    """So many of so many, with an interval where the cases are enough."""
    return Share(count, cases, wilson_interval(count, cases) if cases and cases >= least else None)


def _firsts(session: Session, since: datetime, now: datetime) -> dict[int, list[First]]:
    # The span is half open, and what is looked at this very moment belongs in it.
    moments = {"since": since, "until": now + timedelta(microseconds=1)}
    rows = session.execute(_FIRSTS, moments).all()
    kinds: dict[int, set[str]] = defaultdict(set)
    for inspection, kind in session.execute(_FOUND, moments):
        kinds[inspection].add(kind)
    found: dict[int, list[First]] = defaultdict(list)
    for row in rows:
        of_look = frozenset(kinds.get(row.inspection_id, ()))
        found[row.worker_id].append(First(row.glued_at, row.outcome == PASSED, bool(row.learning), of_look))
    return found


def _passed(firsts: Sequence[First], least: int) -> Share:
    return share(sum(each.passed for each in firsts), len(firsts), least)


def _kinds(own: Sequence[First], learned: Sequence[First], zone: ZoneInfo, least: int) -> tuple[KindShare, ...]:
    every = sorted({kind for each in (*own, *learned) for kind in each.kinds})
    lines = []
    for kind in every:
        mine, theirs = _with(own, kind), _with(learned, kind)
        last = max(each.glued_at for each in (*mine, *theirs))
        lines.append(
            KindShare(kind, kind_words(kind), share(len(mine), len(own), least), len(theirs), _week(last, zone)[0])
        )
    return tuple(sorted(lines, key=lambda line: (-line.share.count, -line.learning, line.kind)))


def _with(firsts: Sequence[First], kind: str) -> list[First]:
    return [each for each in firsts if kind in each.kinds]


def _weeks(firsts: Iterable[First], zone: ZoneInfo, least: int) -> tuple[WeekShare, ...]:
    """By the week in which it was glued, not that of the look: the newest first."""
    by_week: dict[tuple[str, date], list[First]] = defaultdict(list)
    for each in firsts:
        by_week[_week(each.glued_at, zone)].append(each)
    return tuple(
        _of_week(name, monday, within, least) for (name, monday), within in sorted(by_week.items(), reverse=True)
    )


def _of_week(name: str, monday: date, within: Sequence[First], least: int) -> WeekShare:
    own = [each for each in within if not each.learning]
    times: dict[str, int] = defaultdict(int)
    for each in within:
        for kind in each.kinds:
            times[kind] += 1
    found = sorted(times, key=lambda kind: (-times[kind], kind))
    words = ", ".join(kind_words(kind) + (f" ({times[kind]})" if times[kind] > 1 else "") for kind in found)
    return WeekShare(name, monday, _passed(own, least), len(within) - len(own), words)


def _lessons(session: Session, worker_id: int, firsts: Sequence[First], least: int) -> tuple[Lesson, ...]:
    mine = (SIGN_OFF.c.worker_id == worker_id, SIGN_OFF.c.step == Step.TAKE_UP.value)
    found = select(SIGN_OFF.c.signed_at, SIGN_OFF.c.difficulty, _BY.name).outerjoin(_BY, _BY.id == SIGN_OFF.c.signed_by)
    rows = session.execute(found.where(*mine).order_by(SIGN_OFF.c.signed_at.desc(), SIGN_OFF.c.id.desc()))
    return tuple(_lesson(row, firsts, least) for row in rows)


def _lesson(row: Any, firsts: Sequence[First], least: int) -> Lesson:
    before = [each for each in firsts if each.glued_at < row.signed_at]
    since = [each for each in firsts if each.glued_at >= row.signed_at]
    return Lesson(row.signed_at, DIFFICULTIES.get(row.difficulty, row.difficulty), row.name or "", _passed(before, least),
                  _passed(since, least))  # fmt: skip


def _week(moment: datetime, zone: ZoneInfo) -> tuple[str, date]:
    day = local_day(moment, zone)
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02}", day - timedelta(days=day.weekday())


def _first_rows() -> Select[Any]:
    gluing, last = ENTRY.alias("gluing"), last_before()
    looks = (
        select(INSPECTION.c.id, func.coalesce(INSPECTION.c.mount_entry_id, last).label("mount_id"), last.label("last_id"),
               INSPECTION.c.outcome)
        .join(INSPECTION, INSPECTION.c.entry_id == ENTRY.c.id).where(*WITHIN, ENTRY.c.step.in_(LOOKS), STANDS).subquery("looks")
    )  # fmt: skip
    glued = ENTRY.alias("glued")
    return (
        select(looks.c.id.label("inspection_id"), HANDS.c.worker_id, glued.c.happened_at.label("glued_at"), looks.c.outcome,
               learning_at(looks.c.mount_id).label("learning"))
        .join(gluing, (gluing.c.id == looks.c.last_id) & gluing.c.step.in_(GLUINGS))
        .join(glued, glued.c.id == looks.c.mount_id)
        .join(HANDS, (HANDS.c.entry_id == looks.c.mount_id) & (HANDS.c.role == "did"))
        .order_by(glued.c.happened_at, looks.c.id)
    )  # fmt: skip


_FIRSTS = _first_rows()
_FOUND = (
    select(FINDING.c.inspection_id, FINDING.c.kind).join(INSPECTION, INSPECTION.c.id == FINDING.c.inspection_id)
    .where(INSPECTION.c.inspected_at >= bindparam("since", type_=ENTRY.c.happened_at.type))
    .where(INSPECTION.c.inspected_at < bindparam("until", type_=ENTRY.c.happened_at.type))
)  # fmt: skip
