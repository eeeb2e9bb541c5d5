"""Consignments: how many were said and are here, how far they are, and all that is known of one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import and_, case, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Change, Consignment, Entry, Hold, Sheet, Worker, table_of
from app.domain.consigned import COUNT, COUNTED, JOINED, KINDS, difference
from app.domain.holds import HOLDS
from app.domain.language import mark, say
from app.domain.stages import STAGES, Stage, Step
from app.domain.words import age
from app.queries.hazards import Danger, dangers_with

CONSIGNMENT = table_of(Consignment)
SHEET = table_of(Sheet)
HOLD = table_of(Hold)
CHANGE = table_of(Change)
ENTRY = table_of(Entry)
PAGE = 40
MOST_CHANGES = 100
_OURS = or_(SHEET.c.closed_as.is_(None), ~SHEET.c.closed_as.startswith(JOINED))
# The parts of a bar, each with the stages that it is made of.
PARTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "filed": (mark("filed"), (Stage.FILED,)),
    "work": (mark("mounted and not yet filed"), (Stage.MOUNTED, Stage.UNDER_PRESS, Stage.DRY)),
    "ready": (mark("ready for mounting"), (Stage.READY,)),
    "before": (mark("before that"), (Stage.INTAKE, Stage.DRYING)),
    "expected": (mark("not taken in"), ("",)),
    "gone": (mark("withdrawn"), ("gone",)),
}


@dataclass(frozen=True, slots=True)
class BarPart:
    """One part of how far a consignment is: its kind, its words, how many sheets, and its share of all, 0 to 1."""

    kind: str
    words: str
    count: int
    share: float


@dataclass(frozen=True, slots=True)
class ConsignmentRow:
    """One consignment of the list. `here` counts what was taken in, whatever became of it; `difference` says in a sentence how
    that differs from what was said, `differs` whether it does. `waiting` is what is in the queue, `oldest` since when.
    """

    consignment_id: int
    code: str
    name: str
    source: str
    kind_words: str
    arrived_on: date | None
    closed_at: datetime | None
    said: int | None
    here: int
    difference: str
    differs: bool
    waiting: int
    oldest: datetime | None
    oldest_age: str
    bar: tuple[BarPart, ...]
    counts: Mapping[str, int]

    @property
    def in_all(self) -> int:
        """All the sheets that are known of it."""
        return sum(part.count for part in self.bar)


@dataclass(frozen=True, slots=True)
class Consignments:
    """One page of consignments, those that are open first, the latest first; `next_after` asks for the next page."""

    rows: tuple[ConsignmentRow, ...]
    next_after: str


@dataclass(frozen=True, slots=True)
class Counted:
    """That somebody counted a parcel by hand: how many, when, by whom (empty for who may not see names), and the difference."""

    count: int
    at: datetime
    by: str
    difference: str
    differs: bool


@dataclass(frozen=True, slots=True)
class ChangeOf:
    """One change of a consignment."""

    at: datetime
    by: str
    what: str
    old: str
    new: str
    why: str


@dataclass(frozen=True, slots=True)
class ConsignmentPage:
    """All that is known of one consignment. `stages` are the stages by name with how many stand there; `holds` are how many by
    kind. `left` is what is not filed and not withdrawn.
    """

    row: ConsignmentRow
    kind: str
    papers: str
    note: str
    stages: tuple[tuple[str, str, int], ...]
    holds: tuple[tuple[str, str, int], ...]
    dangers: tuple[Danger, ...]
    counted: Counted | None
    history: tuple[ChangeOf, ...]

    @property
    def left(self) -> int:
        """How many sheets are still to be done."""
        return self.row.waiting


def consignment_list(session: Session, now: datetime, after: str = "", most: int = PAGE) -> Consignments:
    """The consignments from a mark on; a mark that makes no sense begins at the first."""
    is_closed = case((CONSIGNMENT.c.closed_at.is_(None), 0), else_=1)
    found = select(CONSIGNMENT).order_by(is_closed, CONSIGNMENT.c.id.desc()).limit(most + 1)
    closed, _, last = after.partition(":")
    if closed in ("0", "1") and last.isascii() and last.isdigit() and len(last) < 18:
        found = found.where(or_(is_closed > int(closed), and_(is_closed == int(closed), CONSIGNMENT.c.id < int(last))))
    rows = session.execute(found).all()
    shown = rows[:most]
    mark = f"{int(shown[-1].closed_at is not None)}:{shown[-1].id}" if len(rows) > most else ""
    return Consignments(_rows(session, shown, now), mark)


def consignment_page(session: Session, code: str, now: datetime, *, by_names: bool) -> ConsignmentPage | None:
    """All that is known of the consignment with this code; None when there is none."""
    found = session.execute(select(CONSIGNMENT).where(CONSIGNMENT.c.code == code)).one_or_none()
    if found is None:
        return None
    row = _rows(session, [found], now)[0]
    stages = tuple((stage.value, words.words, row.counts.get(stage, 0)) for stage, words in STAGES.items())
    history = _history(session, found.id, by_names)
    return ConsignmentPage(row, found.kind, found.papers or "", found.note or "", stages, _holds(session, found.id),
                           dangers_with(session, found.id, by_names=by_names), _counted(history, row.here), history)  # fmt: skip


def _rows(session: Session, found: Sequence[Any], now: datetime) -> tuple[ConsignmentRow, ...]:
    ids = [row.id for row in found]
    counts, oldest = _standing(session, ids)
    here = {each: sum(many for stage, many in counts[each].items() if stage) for each in ids}
    made = _made_here(session, [row.id for row in found if row.sheets_said not in (None, here[row.id])])
    return tuple(
        _row(row, counts[row.id], here[row.id] - made.get(row.id, 0), oldest.get(row.id), now) for row in found
    )


def _row(row: Any, counts: Mapping[str, int], here: int, oldest: datetime | None, now: datetime) -> ConsignmentRow:
    waiting = sum(many for stage, many in counts.items() if stage not in ("", "gone", Stage.FILED))
    return ConsignmentRow(
        row.id, row.code, row.name, row.source or "", say(KINDS.get(row.kind, row.kind)), row.arrived_on, row.closed_at,
        row.sheets_said, here, difference(row.sheets_said, here), row.sheets_said not in (None, here), waiting, oldest,
        age(oldest, now) if oldest else "", _bar(counts), counts,
    )  # fmt: skip


def _standing(session: Session, ids: Sequence[int]) -> tuple[dict[int, dict[str, int]], dict[int, datetime]]:
    """How many sheets of each stand in which stage ("": not taken in, "gone": withdrawn), and since when the oldest waits."""
    where = case((SHEET.c.closed_as.is_not(None), "gone"), else_=func.coalesce(SHEET.c.stage, ""))
    asked = (
        select(SHEET.c.consignment_id, where.label("stage"), func.count().label("many"),
               func.min(case((SHEET.c.in_queue, SHEET.c.came_at))).label("oldest"))
        .where(SHEET.c.consignment_id.in_(ids), _OURS)
        .group_by(SHEET.c.consignment_id, where)
    )  # fmt: skip
    counts, oldest = {each: dict[str, int]() for each in ids}, dict[int, datetime]()
    for row in session.execute(asked) if ids else ():
        counts[row.consignment_id][row.stage] = row.many
        if row.oldest is not None:
            oldest[row.consignment_id] = min(row.oldest, oldest.get(row.consignment_id, row.oldest))
    return counts, oldest


def _made_here(session: Session, ids: Sequence[int]) -> dict[int, int]:
    """How many sheets of each never came in the parcel: a plant needed one more sheet, or two plants lay in one fold."""
    first = (ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == SHEET.c.id)
    came = select(ENTRY.c.id).where(*first, ENTRY.c.step.in_([Step.TAKE_IN, Step.TELL_APART]))
    made = select(ENTRY.c.id).where(*first, ENTRY.c.step.in_([Step.ANOTHER_SHEET, Step.DIVIDE]))
    asked = (
        select(SHEET.c.consignment_id, func.count())
        .where(SHEET.c.consignment_id.in_(ids), _OURS, or_(SHEET.c.stage.is_not(None), SHEET.c.closed_as.is_not(None)),
               made.exists(), ~came.exists())
        .group_by(SHEET.c.consignment_id)
    )  # fmt: skip
    return {row[0]: row[1] for row in session.execute(asked)} if ids else {}


def _bar(counts: Mapping[str, int]) -> tuple[BarPart, ...]:
    in_all = sum(counts.values())
    parts = ((kind, words, sum(counts.get(stage, 0) for stage in stages)) for kind, (words, stages) in PARTS.items())
    return tuple(BarPart(kind, say(words), many, many / in_all) for kind, words, many in parts if many)


def _holds(session: Session, consignment_id: int) -> tuple[tuple[str, str, int], ...]:
    asked = (
        select(HOLD.c.kind, func.count())
        .join(SHEET, SHEET.c.id == HOLD.c.sheet_id)
        .where(SHEET.c.consignment_id == consignment_id, SHEET.c.closed_as.is_(None), HOLD.c.lifted_at.is_(None))
        .group_by(HOLD.c.kind)
    )
    found = {row[0]: row[1] for row in session.execute(asked)}
    return tuple((kind, say(row.words), found[kind]) for kind, row in HOLDS.items() if kind in found)


def _history(session: Session, consignment_id: int, by_names: bool) -> tuple[ChangeOf, ...]:
    mine = (CHANGE.c.subject == "consignment", CHANGE.c.subject_id == consignment_id)
    found = select(CHANGE, Worker.name.label("who")).outerjoin(Worker, Worker.id == CHANGE.c.changed_by).where(*mine)
    rows = session.execute(found.order_by(CHANGE.c.id.desc()).limit(MOST_CHANGES))
    return tuple(
        ChangeOf(
            row.changed_at, (row.who or "") if by_names else "", row.what, row.old or "", row.new or "", row.why or ""
        )
        for row in rows
    )


def _counted(history: Sequence[ChangeOf], here: int) -> Counted | None:
    last = next((each for each in history if each.what == COUNT), None)
    if last is None:
        return None
    count = int(last.new)
    return Counted(count, last.at, last.by, difference(count, here, by=COUNTED), count != here)
