"""How sheets went through the room before the bench begins: in runs of a hundred, each sheet with ten entries."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from app.domain.sheet import LogEntry, Place
from app.domain.stages import Stage, Step
from tests.bench.furniture import CABINETS, SHELVES, STACKS, STATIONS

RUN = 100


@dataclass(frozen=True, slots=True)
class Run:
    """Sheets that go through the room together: how many, the steps that they took, and when the last one was."""

    sheets: int
    steps: tuple[Step, ...]
    ends: datetime


def runs_of(sheets: int, queue: int, now: datetime) -> Iterator[Run]:
    """All runs of a collection: those that are filed, then those that wait in the queue."""
    yield from _spread(sheets - queue, now, 730, (FILED,))
    yield from _spread(queue, now, 55, QUEUE)


def _spread(sheets: int, now: datetime, days: int, lives: tuple[tuple[Step, ...], ...]) -> Iterator[Run]:
    count = -(-sheets // RUN)
    for each in range(count):
        ends = now - timedelta(days=1 + days * (count - each) / count)
        yield Run(min(RUN, sheets - each * RUN), lives[each % len(lives)], ends)


def entries_of(run: Run, serial: int) -> list[LogEntry]:
    """The ten entries that each sheet of a run has, without the layer in the stack."""
    gaps = [GAPS_H.get(step, 24.0) for step in run.steps]
    begin, found, stage = run.ends - timedelta(hours=sum(gaps[1:])), list[LogEntry](), None
    for place, step in enumerate(run.steps):
        happened = begin + timedelta(hours=sum(gaps[1 : place + 1]))
        stage = LANDS.get(step, stage)
        found.append(LogEntry(place, happened, step, stage, _place(step, stage, serial), _sets(step, happened)))
    return found


def _place(step: Step, stage: Stage | None, serial: int) -> Place:
    if step in (Step.TAKE_UP, Step.MOUNT):
        return Place(table_id=1 + serial % STATIONS)
    if step is Step.PUT_UNDER_WEIGHT:
        return Place(stack_id=1 + serial % STACKS)
    if stage not in CABINETS:
        return Place()
    before = list(CABINETS)[: list(CABINETS).index(stage)]
    cabinet = 1 + serial % CABINETS[stage] + sum(CABINETS[other] for other in before)
    return Place(cabinet, 1 + (cabinet - 1) * SHELVES + serial % SHELVES)


def _sets(step: Step, happened: datetime) -> dict[str, Any]:
    if step is Step.MOUNT:
        return {"adhesive_id": 1, "bulk": "ordinary", "glued_at": happened.isoformat(), "mounted_by": (2,)}
    if step is Step.PUT_UNDER_WEIGHT:
        return {"minimum_s": 86400, "rule_version": 0}
    return {"outcome": "passed", "inspected_by": (3,)} if step is Step.INSPECT else {}


_WET = (Step.TAKE_IN, Step.LAY_TO_DRY)
_GLUED = (Step.PASS_AS_DRY, Step.TAKE_UP, Step.MOUNT, Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT)
FILED = (*_WET, Step.PAPERS_CHANGED, *_GLUED, Step.INSPECT, Step.FILE)
READY = (*_WET, *[Step.PAPERS_CHANGED] * 7, Step.PASS_AS_DRY)
DRY = (*_WET, *[Step.PAPERS_CHANGED] * 3, *_GLUED)
DRYING = (*_WET, *[Step.PAPERS_CHANGED] * 8)
AT_INTAKE = (Step.TAKE_IN, *[Step.SHELVE] * 9)
QUEUE = (READY, DRY, READY, AT_INTAKE, READY, READY, DRYING, READY, DRY, READY)
GAPS_H = {Step.TAKE_UP: 480.0, Step.MOUNT: 0.3, Step.PUT_UNDER_WEIGHT: 0.2, Step.TAKE_OUT: 48.0}
LANDS = {Step.TAKE_IN: Stage.INTAKE, Step.LAY_TO_DRY: Stage.DRYING, Step.PASS_AS_DRY: Stage.READY, Step.MOUNT: Stage.MOUNTED,
         Step.PUT_UNDER_WEIGHT: Stage.UNDER_PRESS, Step.TAKE_OUT: Stage.DRY, Step.FILE: Stage.FILED}  # fmt: skip
