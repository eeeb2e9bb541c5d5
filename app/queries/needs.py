"""What needs a person, worst first: each line names the thing, since when, and what can be done about it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby
from typing import Any

from sqlalchemy import bindparam, select, text
from sqlalchemy.orm import Session, aliased

from app.db.models import Doubt, Entry, Hold, Sheet, Stack, table_of
from app.domain.limits import limit_of
from app.domain.stages import STEP_WORDS, Stage, Step
from app.domain.stalls import is_stalled
from app.domain.words import duration
from app.queries.house import patterns_now
from app.queries.need import Asked, Need, of_sheet, of_stack, sheets_said
from app.queries.overdue import overdue
from app.queries.press import StackView
from app.queries.stalled import IN_QUEUE, Waiting
from app.queries.waiting import Judge

SHEET = table_of(Sheet)
QUEUED = SHEET.alias("queued")
ENTRY = table_of(Entry)
# More lines of one kind than this are told as a number: a list that nobody reads to its end helps nobody.
MOST_OF_A_KIND = 12
TOLD = {"against-a-rule": ("mounted against a rule", "look at it"), "not-found": ("not found", "look for it")}

_CORRECTION = aliased(Entry)
_CORRECTED = select(_CORRECTION.id).where(_CORRECTION.corrects == ENTRY.c.id).exists()
_LAST_STEP = (
    select(ENTRY.c.step)
    .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == SHEET.c.id, ENTRY.c.step != Step.CORRECT, ~_CORRECTED)
    .order_by(ENTRY.c.happened_at.desc(), ENTRY.c.id.desc())
    .limit(1)
    .correlate(SHEET)
    .scalar_subquery()
)
_MOUNTED = (
    select(SHEET.c.number, SHEET.c.came_at, _LAST_STEP.label("last_step"))
    .where(IN_QUEUE, SHEET.c.stage == Stage.MOUNTED)
    .order_by(SHEET.c.came_at, SHEET.c.id)
)
# In two readings, because nothing says to the database that doubts are few and entries many.
_DOUBTS = (
    select(Doubt.entry_id, Doubt.short_s, Doubt.raised_at)
    .where(Doubt.settled_at.is_(None))
    .order_by(Doubt.raised_at, Doubt.id)
)
_NUMBERS = (
    select(ENTRY.c.id, SHEET.c.number)
    .join(SHEET, SHEET.c.id == ENTRY.c.subject_id)
    .where(ENTRY.c.id.in_(bindparam("entries", expanding=True)))
)
# Asked of the queue's rows, where the holds stand as text, so that it costs nothing that was ever held.
_HELD_NOW = select(QUEUED.c.id).where(
    text("queued.in_queue"), QUEUED.c.stage.in_([stage.value for stage in Stage]), QUEUED.c.holds != ""
)
_HELD = (
    select(SHEET.c.number, SHEET.c.stage, Hold.kind, Hold.put_at)
    .join(Hold, (Hold.sheet_id == SHEET.c.id) & Hold.lifted_at.is_(None))
    .where(SHEET.c.id.in_(_HELD_NOW), Hold.kind.in_(list(TOLD)))
    .order_by(Hold.put_at, Hold.id)
)
_AFTER_NOW = (
    select(ENTRY.c.step, ENTRY.c.happened_at, SHEET.c.number, Stack.name.label("stack"))
    .outerjoin(SHEET, (ENTRY.c.subject_kind == "sheet") & (SHEET.c.id == ENTRY.c.subject_id))
    .outerjoin(Stack, (ENTRY.c.subject_kind == "stack") & (Stack.id == ENTRY.c.subject_id))
    .where(ENTRY.c.happened_at > bindparam("now"), ENTRY.c.step != Step.CORRECT, ~_CORRECTED)
    .order_by(ENTRY.c.happened_at, ENTRY.c.id)
)


def needs_a_person(
    session: Session, judged: Judge, waiting: Sequence[Waiting], stacks: Sequence[StackView]
) -> tuple[Need, ...]:
    """Everything in the room that needs a person, worst first; more than a few alike are told as a number."""
    asked = Asked(session, judged, waiting, stacks, patterns_now(session))
    every = [need for seek in SEEKERS for need in seek(asked)]
    return tuple(need for _, alike in groupby(every, key=lambda need: need.kind) for need in _a_few(list(alike)))


def _a_few(found: Sequence[Need]) -> list[Need]:
    rest = found[MOST_OF_A_KIND:]
    if not rest:
        return list(found)
    kind, stage = rest[0].kind, rest[0].stage
    more = Need(kind, f"{len(rest):,} more", rest[0].what, rest[0].since, "see the list", "stage", stage, stage)
    return [*found[:MOST_OF_A_KIND], more]


def _mounted_too_long(asked: Asked) -> list[Need]:
    limit = limit_of(Stage.MOUNTED, asked.judged.house)
    assert limit is not None
    rows = [row for row in asked.session.execute(_MOUNTED) if row.last_step != Step.FOUND_OUT]
    late = [row for row in rows if is_stalled(limit, row.came_at, asked.judged.now, asked.judged.calendar)]
    what = "glued, and not under weight"
    return [of_sheet(asked, "mounted-too-long", row.number, what, row.came_at, "where seen", "mounted") for row in late]


def _weights_off(asked: Asked) -> list[Need]:
    bare = [stack for stack in asked.stacks if stack.off_too_long]
    said = [f"{sheets_said(stack.sheets)} in it, and its weights are off" for stack in bare]
    found = [of_stack("weights-off", stack.name, what, stack.bare_since, "see the stack")
             for stack, what in zip(bare, said, strict=True)]  # fmt: skip
    return sorted(found, key=lambda need: str(need.since))


def _out_early(asked: Asked) -> list[Need]:
    rows = [row for row in asked.session.execute(_MOUNTED) if row.last_step == Step.FOUND_OUT]
    what = "found out of its stack before its time; it must go under weight again"
    return [of_sheet(asked, "out-early", row.number, what, row.came_at, "where seen", "mounted") for row in rows]


def _called_in_question(asked: Asked) -> list[Need]:
    """Only take-outs of sheets are ever called in question."""
    doubts = asked.session.execute(_DOUBTS).all()
    entries = {"entries": [doubt.entry_id for doubt in doubts]}
    numbers = {row.id: row.number for row in asked.session.execute(_NUMBERS, entries)} if doubts else {}
    return [
        of_sheet(asked, "called-in-question", numbers[doubt.entry_id],
                 f"came out {duration(doubt.short_s)} short, by what is known now", doubt.raised_at, "look at it", "")
        for doubt in doubts
    ]  # fmt: skip


def _ready_forgotten(asked: Asked) -> list[Need]:
    found = []
    for stack in asked.stacks:
        since = [layer.ready_since for layer in stack.layers if layer.forgotten and layer.ready_since is not None]
        if since:
            what = f"{sheets_said(len(since))} ready and not taken out"
            found.append(of_stack("ready-forgotten", stack.name, what, min(since), "take out"))
    return sorted(found, key=lambda need: str(need.since))


def _held(asked: Asked) -> list[Need]:
    """The holds that wait for somebody to look, those of the graver kind first."""
    rows = asked.session.execute(_HELD).all()
    return [
        of_sheet(asked, kind, row.number, what, row.put_at, do, row.stage or "")
        for kind, (what, do) in TOLD.items() for row in rows if row.kind == kind
    ]  # fmt: skip


def _count_differs(asked: Asked) -> list[Need]:
    differing = [stack for stack in asked.stacks if stack.count_differs]
    said = [f"{stack.counted} counted, {stack.counted_of} by the log" for stack in differing]
    return [of_stack("count-differs", stack.name, what, stack.counted_at, "check it")
            for stack, what in zip(differing, said, strict=True)]  # fmt: skip


def _after_now(asked: Asked) -> list[Need]:
    return [_dated_after(asked, row) for row in asked.session.execute(_AFTER_NOW, {"now": asked.judged.now})]


def _dated_after(asked: Asked, row: Any) -> Need:
    what = f"“{STEP_WORDS[Step(row.step)][1]}” is dated after now"
    if row.number is not None:
        return of_sheet(asked, "after-now", row.number, what, row.happened_at, "take it back", "")
    return of_stack("after-now", row.stack or "", what, row.happened_at, "take it back")


SEEKERS: tuple[Callable[[Asked], list[Need]], ...] = (
    _mounted_too_long,
    _weights_off,
    _out_early,
    _called_in_question,
    _ready_forgotten,
    _held,
    _count_differs,
    _after_now,
    overdue,
)
