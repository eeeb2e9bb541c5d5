"""Corrections: an earlier entry is named as wrong; nothing is ever changed or deleted."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import delete, select, update

from app.db.models import Doubt, Entry, Finding, Inspection, Layer, Stack, table_of
from app.db.standing import STANDS
from app.domain.answer import Answer
from app.domain.calendar import local_day
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.sheet import replay
from app.domain.stages import OF_CHECKS, Stage, Step
from app.services import tallies
from app.services.custody import enter_correction, enter_thing, standing_of
from app.services.desk import Desk
from app.services.doubts import call_in_question, look_again
from app.services.facts import sheet_by_id, stack_by_id
from app.services.freezing_undone import as_they_count, correct_freezer, correct_load, hear_again
from app.services.kept_times import refuse_too_late
from app.services.loads import untie
from app.services.log import log_entry, standing_rows, workers_of
from app.services.press import refold
from app.services.specimens import leave_specimen
from app.services.traces import take_back
from app.services.undone_words import undone
from app.services.wanted import ENDED_BY, wish_again

ENTRY = table_of(Entry)
LAYER = table_of(Layer)
STACK = table_of(Stack)


def undo(desk: Desk, entry_id: int, why: str) -> Answer:
    """Take back the last standing entry of its subject, and what was written by the same scan with it."""
    refuse_too_late(desk, Step.CORRECT)
    entry = _entry(desk, entry_id)
    together = _same_scan(desk, entry)
    for each in together:
        _may_undo(desk, each)
    ids = {each.id for each in together}
    tails = [_last_of_all(desk, kind, subject_id, ids) for kind, subject_id in _subjects(together)]
    before = as_they_count(desk.session) if any(kind in ("load", "cabinet") for kind, *_ in tails) else {}
    for kind, subject_id, tail, rest in tails:
        _correct(desk, kind, subject_id, tail, rest, why)
    hear_again(desk, before, {subject_id for kind, subject_id, *_ in tails if kind == "sheet"})
    return undone(desk, entry, len(together))


def take_back_from(desk: Desk, entry_id: int, reason: str) -> Answer:
    """Take back an entry and everything after it of the same subject: the manager's, with one reason."""
    entry = _entry(desk, entry_id)
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
    entry = _entry(desk, entry_id)
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


def _subjects(entries: Sequence[Any]) -> list[tuple[str, int]]:
    return list(dict.fromkeys((each.subject_kind, each.subject_id) for each in entries))


def _last_of_all(desk: Desk, kind: str, subject_id: int, ids: set[int]) -> tuple[str, int, list[Any], list[Any]]:
    """A subject's entries among these ids and those before them; refused before anything is written if others follow."""
    rows = standing_rows(desk.session, kind, subject_id)
    mine = [row for row in rows if row.id in ids]
    if rows[len(rows) - len(mine) :] != mine:
        raise Refused(
            Refusal(
                "not-last", say("Something else has happened to it since."), say("Ask the manager to put it right.")
            )
        )
    return kind, subject_id, mine, rows[: len(rows) - len(mine)]


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


def _entry(desk: Desk, entry_id: int) -> Any:
    entry = desk.session.execute(select(ENTRY).where(ENTRY.c.id == entry_id)).one_or_none()
    if entry is None or entry.step == Step.CORRECT:
        words = say("A correction cannot be corrected.") if entry else say("There is no such entry.")
        raise Refused(Refusal("not-last", words, say("Write what really happened as a new entry.")))
    _is_of_no_check(entry)
    corrected = select(ENTRY.c.id).where(ENTRY.c.corrects == entry_id)
    if desk.session.execute(corrected).scalar() is not None:
        raise Refused(
            Refusal("already-corrected", say("This entry was already taken back."), say("Nothing more is to be done."))
        )
    return entry


def _is_of_no_check(entry: Any) -> None:
    if entry.step in OF_CHECKS:
        words = say("A cabinet check is not taken back like a scan.")
        raise Refused(Refusal("not-last", words, say("Go on with it, or let the manager break it off.")))


def _may_undo(desk: Desk, entry: Any) -> None:
    # The holds of a closing were written with it: each is taken back by itself, and the closing stays.
    _is_of_no_check(entry)
    if entry.step == Step.RENUMBER:
        raise Refused(
            Refusal(
                "not-last", say("A number is not taken back like a scan."), say("Give the sheet its old number again.")
            )
        )
    if entry.step in (Step.WEIGHTS_ON, Step.WEIGHTS_OFF):
        _weights_may_be_undone(desk, entry)
    if desk.request.manages:
        return
    mine = set(workers_of(desk.session, entry.id)) & {worker.worker_id for worker in desk.by}
    if not mine:
        raise Refused(
            Refusal(
                "manager-only", say("Somebody else scanned this."), say("Ask them, or the manager, to take it back.")
            )
        )
    zone = desk.occasion.zone
    if local_day(entry.recorded_at, zone) != local_day(desk.now, zone):
        raise Refused(
            Refusal(
                "undo-too-late", say("This was scanned on an earlier day."), say("Ask the manager to take it back.")
            )
        )


def _weights_may_be_undone(desk: Desk, entry: Any) -> None:
    limit = timedelta(minutes=desk.house.undo_weights_min)
    moved = select(LAYER.c.id).where(
        LAYER.c.stack_id == entry.subject_id, (LAYER.c.laid_entry_id > entry.id) | (LAYER.c.out_entry_id > entry.id)
    )
    if desk.now - entry.recorded_at <= limit and desk.session.execute(moved).first() is None:
        return
    name = stack_by_id(desk.session, entry.subject_id)["name"]
    words = say("The weights of {name} were written too long ago to be undone, or sheets were moved since.", name=name)
    raise Refused(Refusal("undo-too-late", words, say("Scan the card of {name} as you find it now.", name=name)))


def _same_scan(desk: Desk, entry: Any) -> list[Any]:
    if entry.scan_id is None:
        return [entry]
    found = select(ENTRY).where(ENTRY.c.scan_id == entry.scan_id, ENTRY.c.step != Step.CORRECT, STANDS)
    return list(desk.session.execute(found.order_by(ENTRY.c.id)))


def _position(rows: Sequence[Any], entry_id: int) -> int:
    for position, row in enumerate(rows):
        if row.id == entry_id:
            return position
    raise Refused(Refusal("already-corrected", say("This entry no longer stands."), say("Nothing more is to be done.")))
