"""Looking at the weeks of a room that the tests work in."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from app.db.engine import reading, transaction
from app.domain.stages import Stage, Step
from app.queries.week import Week, week
from app.queries.week_lines import Exceptional, RoomLine, StageWeek, StepLine, WorkerWeek
from app.services.room import set_house_rule
from tests.room import Room


def week_of(room: Room, number: int = 47, year: int = 2026, now: datetime | None = None, **more: Any) -> Week:
    """The report of a week, at the room's moment or at another."""
    with reading(room.database) as session:
        return week(session, year, number, now or room.now, room.zone, **more)


def worker_in(found: Week, room: Room, who: str) -> WorkerWeek:
    return next(each for each in found.workers if each.worker_id == room.worker[who])


def line_of(found: Week, room: Room, who: str, step: Step) -> StepLine | None:
    """What somebody did with a step in a week; None for nothing."""
    mine = next((each for each in found.workers if each.worker_id == room.worker[who]), None)
    return next((each for each in mine.steps if each.step is step), None) if mine is not None else None


def stage_in(found: Week, stage: Stage) -> StageWeek:
    return next(each for each in found.stages if each.stage is stage)


def room_line(found: Week, step: Step | None) -> RoomLine:
    return next(each for each in found.room if each.step is step)


def told(found: Week, kind: str) -> list[Exceptional]:
    return [each for each in found.exceptions if each.kind == kind]


def rules(room: Room, name: str, value: int) -> None:
    """The manager sets a house rule."""
    with transaction(room.database) as session:
        set_house_rule(session, name, value, "for the test", room.now, by=room.worker["hedda"])
