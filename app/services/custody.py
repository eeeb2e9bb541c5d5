"""The custody log: the one place where an entry and the row that it changes are written together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, insert, update
from sqlalchemy.engine import RowMapping

from app.db.models import Entry, EntryWorker, Sheet, table_of
from app.db.prepared import prepared
from app.domain.attempt import WorkerFacts
from app.domain.sheet import LogEntry, Place, Standing, after
from app.domain.stages import Stage, Step
from app.services import tallies
from app.services.desk import Desk
from app.services.entry_facts import kept_facts
from app.services.kept_times import late_facts
from app.services.suspected import begin_suspected
from app.services.traces import follow_holds, follow_layers
from app.services.wearing import worn

SHEET = table_of(Sheet)
ENTRY = table_of(Entry)
ENTRY_WORKER = table_of(EntryWorker)
# By these a sheet is first here: what travels with another sheet comes with it instead.
BEGINS = frozenset({Step.TAKE_IN, Step.TELL_APART})

_STANDING_COLUMNS = (
    "stage", "came_at", "last_at", "cabinet_id", "shelf_id", "bundle_id", "table_id", "stack_id", "layer", "kept_in_id", "bulk",
    "fresh", "adhesive_id", "minimum_s", "rule_version", "glued_at", "method", "pressed_at", "papers_at", "unmounted",
    "without_weight", "treated_until", "treated_left_s", "outcome", "inspected_by", "mounted_by", "mended_by", "holds",
    "closed_as", "in_queue",
)  # fmt: skip
_STAND = update(SHEET).values(
    {**{name: bindparam(f"to_{name}") for name in _STANDING_COLUMNS}, "version": SHEET.c.version + 1}
)
_UPDATE_SHEET = prepared(_STAND.where(SHEET.c.id == bindparam("sheet")))
_UPDATE_SHEETS = _STAND.where(SHEET.c.id.in_(bindparam("sheets", expanding=True)))
_INSERT_ENTRY = prepared(insert(ENTRY).returning(ENTRY.c.id))
_INSERT_ENTRIES = insert(ENTRY).returning(ENTRY.c.subject_id, ENTRY.c.id)
_INSERT_WORKERS = prepared(insert(ENTRY_WORKER))


@dataclass(frozen=True, slots=True)
class Writing:
    """One entry about to be written for a sheet: the step, where it goes, and what it changes.

    `sets` are facts of the sheet from now on, `facts` what else is worth knowing of the deed itself. Time under weight
    counts from `counts_from` and until `counts_until`, where that is another moment than when it happened.
    """

    step: Step
    to_stage: Stage | None
    to_place: Place
    sets: Mapping[str, Any] = field(default_factory=dict)
    holds: tuple[str, ...] = ()
    lifts: tuple[str, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    reason: str = ""
    by: tuple[WorkerFacts, ...] | None = None
    after_the_fact: bool = False
    happened_at: datetime | None = None
    counts_from: datetime | None = None
    counts_until: datetime | None = None
    early_by_s: int | None = None


def standing_of(row: RowMapping) -> Standing:
    """How a sheet stands, read off its row."""
    names = ("stage", "came_at", "last_at", "kept_in_id", "bulk", "fresh", "adhesive_id", "minimum_s", "rule_version", "glued_at",
             "method", "pressed_at", "papers_at", "unmounted", "without_weight", "treated_until", "treated_left_s", "outcome",
             "closed_as")  # fmt: skip
    values = {name: row[name] for name in names}
    values["stage"] = Stage(row["stage"]) if row["stage"] else None
    return Standing(
        **values,
        place=Place(
            row["cabinet_id"], row["shelf_id"], row["bundle_id"], row["table_id"], row["stack_id"], row["layer"]
        ),
        inspected_by=tuple(row["inspected_by"]),
        mounted_by=tuple(row["mounted_by"]),
        mended_by=tuple(row["mended_by"]),
        holds=frozenset(row["holds"].split()),
    )


def row_values(standing: Standing) -> dict[str, Any]:
    """What a sheet's row holds when it stands so: every column that is folded from the log, by name."""
    values = {name: getattr(standing, name, None) for name in _STANDING_COLUMNS}
    for name in ("cabinet_id", "shelf_id", "bundle_id", "table_id", "stack_id", "layer"):
        values[name] = getattr(standing.place, name)
    for name in ("inspected_by", "mounted_by", "mended_by"):
        values[name] = list(getattr(standing, name))
    values["holds"] = " ".join(sorted(standing.holds))
    return values


def enter(desk: Desk, sheet_id: int, was: Standing, writing: Writing) -> tuple[int, Standing]:
    """Write one entry of a sheet together with its row; return the entry's id and how the sheet stands now."""
    happened_at = writing.happened_at or desk.happened_at
    writing = worn(desk, was, writing, happened_at)
    entry_id = _insert_entry(desk, entry_values(desk, sheet_id, was, writing, happened_at))
    by = desk.by if writing.by is None else writing.by
    credit(desk, entry_id, by, desk.beside if writing.by is None else ())
    now_stands = after(was, _log_entry(entry_id, writing, happened_at))
    _write_row(desk, sheet_id, now_stands)
    if writing.step in BEGINS and was.stage is None:
        begin_suspected(desk, [sheet_id], writing.facts)
    _follow(desk, sheet_id, was, now_stands, entry_id, writing, happened_at)
    tallies.add(desk, writing.step, was, now_stands, happened_at, [worker.worker_id for worker in by])
    return entry_id, now_stands


def enter_many(desk: Desk, many: Sequence[tuple[int, Standing, Writing]]) -> list[Standing]:
    """Write one entry for each of many sheets with its row, as `enter` does, in a few statements for all of them.

    Every sheet (its id, how it stood, what is written) comes once, and all are the deed of those at the desk.
    """
    moments = [writing.happened_at or desk.happened_at for _, _, writing in many]
    many = [(each[0], each[1], worn(desk, *each[1:], at)) for each, at in zip(many, moments, strict=True)]
    values = [entry_values(desk, *each, moment) for each, moment in zip(many, moments, strict=True)]
    written = {row.subject_id: row.id for row in desk.session.execute(_INSERT_ENTRIES, values)}
    entry_ids = [written[sheet_id] for sheet_id, _, _ in many]
    desk.written.extend(entry_ids)
    _credit_all(desk, entry_ids)
    begun = [sheet_id for sheet_id, was, writing in many if writing.step in BEGINS and was.stage is None]
    if begun:
        begin_suspected(desk, begun, {})
    standings, alike = list[Standing](), dict[tuple[Step, Standing, Standing, datetime], list[int]]()
    for (sheet_id, was, writing), entry_id, moment in zip(many, entry_ids, moments, strict=True):
        stands = after(was, _log_entry(entry_id, writing, moment))
        _follow(desk, sheet_id, was, stands, entry_id, writing, moment)
        alike.setdefault((writing.step, was, stands, moment), []).append(sheet_id)
        standings.append(stands)
    for (step, was, stands, moment), sheet_ids in alike.items():
        desk.session.execute(_UPDATE_SHEETS, {"sheets": sheet_ids, **_row(stands)})
        tallies.add(desk, step, was, stands, moment, [worker.worker_id for worker in desk.by], len(sheet_ids))
    return standings


def enter_correction(desk: Desk, sheet_id: int, was: Standing, now_stands: Standing, corrects: int, reason: str) -> int:
    """Write that an earlier entry of a sheet was wrong, and the row as it stands without it."""
    writing = Writing(Step.CORRECT, now_stands.stage, now_stands.place, reason=reason, happened_at=desk.now)
    values = entry_values(desk, sheet_id, was, writing, desk.now)
    entry_id = _insert_entry(desk, {**values, "corrects": corrects})
    credit(desk, entry_id, desk.by, ())
    _write_row(desk, sheet_id, now_stands)
    return entry_id


def enter_thing(desk: Desk, kind: str, subject_id: int, step: Step, *, happened_at: datetime, facts: Mapping[str, Any],
                reason: str = "", corrects: int | None = None) -> int:  # fmt: skip
    """Write one entry of something that is not a sheet: a stack, a load, a cabinet. Its row is the caller's to write."""
    nowhere = Standing()
    writing = Writing(step, None, Place(), facts=facts, reason=reason)
    values = entry_values(desk, subject_id, nowhere, writing, happened_at)
    entry_id = _insert_entry(desk, {**values, "subject_kind": kind, "corrects": corrects})
    credit(desk, entry_id, desk.by, desk.beside)
    return entry_id


def credit(desk: Desk, entry_id: int, by: Sequence[WorkerFacts], beside: Sequence[WorkerFacts]) -> None:
    """Write who did it, in equal shares, and who stood beside."""
    if rows := _credits(entry_id, by, beside):
        desk.session.execute(_INSERT_WORKERS, rows)


def _credit_all(desk: Desk, entry_ids: Sequence[int]) -> None:
    rows = [row for entry_id in entry_ids for row in _credits(entry_id, desk.by, desk.beside)]
    if rows:
        desk.session.execute(_INSERT_WORKERS, rows)


def _credits(entry_id: int, by: Sequence[WorkerFacts], beside: Sequence[WorkerFacts]) -> list[dict[str, Any]]:
    did = {each.worker_id for each in by}
    rows: list[dict[str, Any]] = [
        {"entry_id": entry_id, "worker_id": each.worker_id, "role": "did", "share": 1, "shares": len(by)} for each in by
    ]
    return rows + [
        {"entry_id": entry_id, "worker_id": each.worker_id, "role": "beside", "share": 0, "shares": 1}
        for each in beside if each.worker_id not in did
    ]  # fmt: skip


def _log_entry(entry_id: int, writing: Writing, happened_at: datetime) -> LogEntry:
    return LogEntry(entry_id, happened_at, writing.step, writing.to_stage, writing.to_place, writing.sets,
                    writing.holds, writing.lifts)  # fmt: skip


def _follow(desk: Desk, sheet_id: int, was: Standing, now_stands: Standing, entry_id: int, writing: Writing,
            happened_at: datetime) -> None:  # fmt: skip
    begins, ends = writing.counts_from or happened_at, writing.counts_until or happened_at
    follow_layers(desk, sheet_id, was, now_stands, entry_id, begins, ends)
    follow_holds(desk, sheet_id, was, now_stands, entry_id, writing.reason, writing.facts)


def _insert_entry(desk: Desk, values: dict[str, Any]) -> int:
    entry_id: int = desk.session.execute(_INSERT_ENTRY, values).scalar_one()
    desk.written.append(entry_id)
    return entry_id


def entry_values(desk: Desk, subject_id: int, was: Standing, writing: Writing, happened_at: datetime) -> dict[str, Any]:
    """What an entry holds, by column; what corrects nothing."""
    place, sets = writing.to_place, writing.sets
    return {
        "subject_kind": "sheet", "subject_id": subject_id, "step": writing.step.value,
        "from_stage": was.stage, "to_stage": writing.to_stage, "came_at": was.came_at,
        "from_cabinet_id": was.place.cabinet_id, "from_shelf_id": was.place.shelf_id,
        "from_stack_id": was.place.stack_id, "from_layer": was.place.layer,
        "to_cabinet_id": place.cabinet_id, "to_shelf_id": place.shelf_id, "to_bundle_id": place.bundle_id,
        "to_table_id": place.table_id, "to_stack_id": place.stack_id, "to_layer": place.layer,
        "happened_at": happened_at, "recorded_at": desk.now, "is_late": desk.is_late,
        "after_the_fact": writing.after_the_fact, "time_from": desk.time_from, "station_id": desk.station_id,
        "token_id": desk.request.token_id, "scan_id": desk.request.scan_id or None,
        "reason": writing.reason or None, "corrects": None, "early_by_s": writing.early_by_s,
        "minimum_s": sets.get("minimum_s", was.minimum_s), "rule_version": sets.get("rule_version", was.rule_version),
        "facts": {**_facts(writing), **_kept_in(was, writing), **_written_by(desk), **late_facts(desk, writing.step)},
    }  # fmt: skip


def _kept_in(was: Standing, writing: Writing) -> dict[str, Any]:
    """The cabinet where a sheet had lain before it was taken up: the entry that ends its stay says so."""
    elsewhere = writing.to_stage != was.stage and was.place.cabinet_id is None and was.kept_in_id is not None
    return {"kept_in": was.kept_in_id} if elsewhere else {}


def _written_by(desk: Desk) -> dict[str, Any]:
    """Who wrote a late entry up, where that is not who did it."""
    by = desk.request.written_by
    return {"written_by": by} if by is not None and by not in {worker.worker_id for worker in desk.by} else {}


def _facts(writing: Writing) -> dict[str, Any]:
    return kept_facts(writing.facts, writing.sets, holds=writing.holds, lifts=writing.lifts,
                      counts_from=writing.counts_from, counts_until=writing.counts_until)  # fmt: skip


def _write_row(desk: Desk, sheet_id: int, standing: Standing) -> None:
    desk.session.execute(_UPDATE_SHEET, {"sheet": sheet_id, **_row(standing)})


def _row(standing: Standing) -> dict[str, Any]:
    return {f"to_{name}": value for name, value in row_values(standing).items()}
