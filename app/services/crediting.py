"""Not me: a run of scans is credited to the worker whose hands it really was."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import func, select

from app.db.models import Attendance, Entry, table_of
from app.domain.answer import Answer
from app.domain.attempt import WorkerFacts
from app.domain.errors import Refused
from app.domain.language import say, say_n
from app.domain.sheet import LogEntry, Standing
from app.domain.stages import Stage, Step
from app.services.corrections import take_back_tail
from app.services.custody import Writing, enter, standing_of
from app.services.desk import Desk, workers_named
from app.services.doubts import look_again
from app.services.facts import sheet_by_id
from app.services.inspecting import keep_look
from app.services.log import log_entry, standing_rows, workers_of
from app.services.signing import only_reads
from app.services.specimens import are_parts_again, parts_of

ENTRY = table_of(Entry)


def credit_to(desk: Desk, worker: WorkerFacts) -> Answer:
    """Take back what was scanned here for sheets since those now signed in came, and write it again for `worker`.

    Refused: unknown-worker for whoever only reads.
    """
    if worker.rights == {"reader"}:
        raise Refused(only_reads(worker.name))
    since = _signed_in_since(desk)
    subjects = _sheets_since(desk, since)
    again = 0
    for sheet_id in subjects:
        again += _again(desk, sheet_id, worker, since)
    line = (
        say_n("{n} scan is credited to {name} now.", "{n} scans are credited to {name} now.", again, name=worker.name)
        if again
        else say("Nothing was scanned here since the sign-in.")
    )
    return Answer("done", say("Put right."), (line,), say("{name} is working here now.", name=worker.name))


def _again(desk: Desk, sheet_id: int, worker: WorkerFacts, since: datetime) -> int:
    rows = standing_rows(desk.session, "sheet", sheet_id)
    first = next((row for row in rows if row.station_id == desk.station_id and row.recorded_at >= since), None)
    if first is None:
        return 0
    tail = rows[rows.index(first) :]
    if any(row.station_id != desk.station_id for row in tail):
        return 0
    parts = parts_of(desk.session, sheet_id)
    take_back_tail(desk, "sheet", sheet_id, first.id, "not me: credited to the right worker")
    told = desk.time_from, desk.is_late
    credited = sum(_write_again(desk, sheet_id, row, worker) for row in tail)
    # What else is written here was told now, whatever these were.
    desk.time_from, desk.is_late = told
    are_parts_again(desk.session, parts)
    return credited


def _write_again(desk: Desk, sheet_id: int, row: Any, worker: WorkerFacts) -> bool:
    """Write an entry again, with its time; whether it is the worker's now."""
    was: Standing = standing_of(sheet_by_id(desk.session, sheet_id))
    entry = log_entry(row)
    facts = {**{name: value for name, value in row.facts.items() if name not in _KEPT_APART}, "credits": row.id}
    counts_from, counts_until = (_moment(row.facts.get(name)) for name in ("counts_from", "counts_until"))
    by = _by(desk, row, worker)
    sets = {**entry.sets, **_hands(was, entry, by)}
    writing = Writing(
        Step(row.step), Stage(row.to_stage) if row.to_stage else None, entry.to_place, sets, entry.holds, entry.lifts, facts,
        row.reason or "", by, row.after_the_fact, row.happened_at, counts_from, counts_until, row.early_by_s,
    )  # fmt: skip
    desk.time_from, desk.is_late = row.time_from, row.is_late
    entry_id, _ = enter(desk, sheet_id, was, writing)
    keep_look(desk, sheet_id, entry_id, row.facts, row.happened_at)
    if entry.step is Step.TAKE_OUT:
        look_again(desk, sheet_id, entry_id, None)
    return by == (worker,)


def _by(desk: Desk, row: Any, worker: WorkerFacts) -> tuple[WorkerFacts, ...]:
    # What somebody else had done, a sheet glued before it came here, stays theirs.
    did = workers_of(desk.session, row.id)
    wrong = {each.worker_id for each in desk.by}
    return (worker,) if wrong & set(did) else workers_named(desk.session, tuple(did), desk.house)


def _hands(was: Standing, entry: LogEntry, by: tuple[WorkerFacts, ...]) -> dict[str, tuple[int, ...]]:
    """Whose hands mounted, mended and inspected by this entry; those who had mended before it are as they stand now."""
    did = tuple(each.worker_id for each in by)
    hands: dict[str, tuple[int, ...]] = {name: did for name in ("mounted_by", "inspected_by") if entry.sets.get(name)}
    if entry.sets.get("mended_by"):
        hands["mended_by"] = tuple(dict.fromkeys((*was.mended_by, *did)))
    return hands


def _moment(kept: str | None) -> datetime | None:
    return datetime.fromisoformat(kept) if kept else None


def _signed_in_since(desk: Desk) -> datetime:
    mine = (Attendance.station_id == desk.station_id, Attendance.signed_out_at.is_(None))
    since: datetime | None = desk.session.execute(select(func.max(Attendance.signed_in_at)).where(*mine)).scalar()
    return since or desk.now


def _sheets_since(desk: Desk, since: datetime) -> list[int]:
    mine = (ENTRY.c.station_id == desk.station_id, ENTRY.c.recorded_at >= since, ENTRY.c.subject_kind == "sheet")
    found = select(ENTRY.c.subject_id).where(*mine).group_by(ENTRY.c.subject_id).order_by(func.min(ENTRY.c.id))
    return list(desk.session.execute(found).scalars())


# What has a field of its own in what is written again.
_KEPT_APART = frozenset({"sets", "holds", "lifts", "counts_from", "counts_until"})
