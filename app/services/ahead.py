"""What is asked of nearly every scan, gathered, so that a database that is far away is asked for it all at once.

Nothing depends on it: what is missing here is asked when it is its turn, and what is too much is not looked at.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.briefing import brief_ahead
from app.db.prepared import Question
from app.db.rules import patterns_before, room_ahead
from app.domain.numbers import Kind
from app.domain.reading import Exact, read
from app.domain.sheet import Standing
from app.domain.stages import Stage, Step
from app.services.describing import describing_ahead
from app.services.desk import Desk, ScanRequest, station_ahead
from app.services.facts import facts_ahead, number_ahead
from app.services.in_hand import adhesive_ahead
from app.services.press_saying import press_ahead
from app.services.press_writers import class_ahead


def desk_ahead(session: Session, request: ScanRequest, station_id: int | None) -> Iterator[Question]:
    """What is asked of a scan before anything is known of it."""
    yield from room_ahead()
    if station_id is not None:
        yield from station_ahead(station_id)
    reading = read(request.code, patterns_before(session))
    if isinstance(reading, Exact) and reading.kind is Kind.SHEET:
        yield number_ahead(reading.text)


def step_ahead(desk: Desk, row: RowMapping, standing: Standing) -> Iterator[Question]:
    """What is asked of a sheet before it is known whether it may take a step."""
    yield from facts_ahead(desk, row, standing)
    if standing.stage is Stage.READY:
        yield from adhesive_ahead(desk)
    if standing.stage is Stage.MOUNTED:
        yield from class_ahead(standing)


def answer_ahead(row: RowMapping, step: Step, now_stands: Standing) -> Iterator[Question]:
    """What is asked for the answer to a step that was taken; `row` is the sheet as it stood before."""
    yield from describing_ahead(row)
    if step is Step.TAKE_UP:
        yield from brief_ahead(row["id"])
    yield from press_ahead(row, step, now_stands)
