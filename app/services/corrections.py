"""Corrections: an earlier entry is named as wrong; nothing is ever changed or deleted."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, select, update

from app.db.models import Doubt, Entry, Finding, Inspection, Stack, table_of
from app.db.standing import STANDS
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.sheet import replay
from app.domain.stages import Stage, Step
from app.services import tallies
from app.services.custody import enter_correction, enter_thing, standing_of
from app.services.desk import Desk
from app.services.doubts import call_in_question, look_again
from app.services.facts import sheet_by_id
from app.services.freezing_undone import as_they_count, correct_freezer, correct_load, hear_again
from app.services.kept_times import refuse_too_late
from app.services.loads import untie
from app.services.log import log_entry, standing_rows, workers_of
from app.services.press import refold
from app.services.specimens import leave_specimen
from app.services.traces import take_back
from app.services.undoable import entry_of, to_undo
from app.services.undone_words import undone
from app.services.wanted import ENDED_BY, wish_again

ENTRY = table_of(Entry)
STACK = table_of(Stack)


def undo(desk: Desk, entry_id: int, why: str) -> Answer:
    """Take back the last standing entry of its subject, and what was written by the same scan with it."""
    refuse_too_late(desk, Step.CORRECT)
    entry, together, tails = to_undo(desk, entry_id)
    before = as_they_count(desk.session) if any(kind in ("load", "cabinet") for kind, *_ in tails) else {}
    for kind, subject_id, tail, rest in tails:
        _correct(desk, kind, subject_id, tail, rest, why)
    hear_again(desk, before, {subject_id for kind, subject_id, *_ in tails if kind == "sheet"})
    return undone(desk, entry, len(together))


def take_back_from(desk: Desk, entry_id: int, reason: str) -> Answer:
    """Take back an entry and everything after it of the same subject: the manager's, with one reason."""
    entry = entry_of(desk, entry_id)
    if not desk.request.manages:
        raise Refused(
            Refusal("manager-only", say("Only the manager takes back earlier entries."), say("Ask the manager."))
        )
    if not reason.strip():
        raise Refused(Refusal("reason-needed", say("A reason is needed; it stays in the log."), say("Say why.")))
    count = take_back_tail(desk, entry.subject_kind, entry.subject_id, entry.id, reason)
    return undone(desk, entry, count)


def take_back_tail(desk: Desk, kind: str, subject_id: int, first_id: int, reason: str) -> int:
    """Take back a subject's entries from `first_id` on; return how many."""
    rows = standing_rows(desk.session, kind, subject_id)
    position = _position(rows, first_id)
    before = as_they_count(desk.session) if kind in ("load", "cabinet") else {}
    _correct(desk, kind, subject_id, rows[position:], rows[:position], reason)
    hear_again(desk, before)
    return len(rows) - position


def tail_from(desk: Desk, entry_id: int) -> list[Any]:
    """The entries that would be taken back together with this one, in the order in which they happened."""
    entry = entry_of(desk, entry_id)
    rows = standing_rows(desk.session, entry.subject_kind, entry.subject_id)
    return rows[_position(rows, entry_id) :]


def step_of(desk: Desk, entry_id: int) -> str:
    """The step that an entry of a sheet wrote; empty for anything else."""
    mine = (ENTRY.c.id == entry_id, ENTRY.c.subject_kind == "sheet")
    return desk.session.execute(select(ENTRY.c.step).where(*mine)).scalar() or ""


def latest_at(desk: Desk, station_id: int, since: datetime) -> int | None:
    """The last entry that was scanned at a station since a moment, if it still stands."""
    found = select(ENTRY.c.id).where(
        ENTRY.c.station_id == station_id, ENTRY.c.recorded_at >= since, ENTRY.c.step != Step.CORRECT, STANDS
    )
    return desk.session.execute(found.order_by(ENTRY.c.id.desc()).limit(1)).scalar()


def _correct(desk: Desk, kind: str, subject_id: int, tail: Sequence[Any], rest: Sequence[Any], reason: str) -> None:
    if kind == "sheet":
        _correct_sheet(desk, subject_id, tail, rest, reason)
    else:
        _CORRECTS[kind](desk, subject_id, tail, reason)


def _correct_sheet(desk: Desk, sheet_id: int, tail: Sequence[Any], rest: Sequence[Any], reason: str) -> None:
    was = standing_of(sheet_by_id(desk.session, sheet_id))
    entries = [log_entry(row) for row in (*rest, *tail)]
    for row in reversed(tail):
        entries.pop()
        now_stands = replay(entries)
        enter_correction(desk, sheet_id, was, now_stands, row.id, reason)
        _uncount(desk, row)
        was = now_stands
    ids = [row.id for row in tail]
    take_back(desk, ids)
    untie(desk, tail)
    leave_specimen(desk, sheet_id, tail)
    for row in reversed(tail):
        if row.step in ENDED_BY:
            wish_again(desk, sheet_id, Step(row.step), row.happened_at)
    inspections = select(Inspection.id).where(Inspection.entry_id.in_(ids))
    desk.session.execute(delete(Finding).where(Finding.inspection_id.in_(inspections)))
    desk.session.execute(delete(Inspection).where(Inspection.entry_id.in_(ids)))
    _settle_doubts(desk, ids, reason)
    if any(row.step == Step.RESTATE for row in tail):
        look_again(desk, sheet_id, desk.written[-1], None)


def _correct_stack(desk: Desk, stack_id: int, tail: Sequence[Any], reason: str) -> None:
    for row in reversed(tail):
        enter_thing(
            desk, "stack", stack_id, Step.CORRECT, happened_at=desk.now, facts={}, reason=reason, corrects=row.id
        )
    refold(desk, stack_id)
    if any(row.step == Step.COUNT for row in tail):
        forget = {"counted": None, "counted_of": None, "counted_at": None}
        desk.session.execute(update(STACK).where(STACK.c.id == stack_id).values(**forget))
    call_in_question(desk, stack_id, desk.written[-1], min(row.happened_at for row in tail))


_CORRECTS = {"stack": _correct_stack, "load": correct_load, "cabinet": correct_freezer}


def _uncount(desk: Desk, row: Any) -> None:
    # As it was counted in: entries of before stays were counted by cabinet do not say where a taken up sheet had lain.
    kept_in = row.from_cabinet_id or row.facts.get("kept_in")
    moved = row.from_stage != row.to_stage
    left = Stage(row.from_stage) if moved and row.from_stage else None
    workers = workers_of(desk.session, row.id)
    tallies.count(desk, Step(row.step), left, row.came_at, kept_in, row.happened_at, workers, -1)


def _settle_doubts(desk: Desk, ids: Sequence[int], reason: str) -> None:
    mine = (Doubt.entry_id.in_(ids), Doubt.settled_at.is_(None))
    desk.session.execute(update(Doubt).where(*mine).values(settled_at=desk.now, why=f"taken back: {reason}"))


def _position(rows: Sequence[Any], entry_id: int) -> int:
    for position, row in enumerate(rows):
        if row.id == entry_id:
            return position
    raise Refused(Refusal("already-corrected", say("This entry no longer stands."), say("Nothing more is to be done.")))
