"""Cabinets and shelves at a desk: where the sheet in the hands is put."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Shelf, table_of
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.sheet import Place, Standing
from app.domain.stages import Stage, Step
from app.services.custody import standing_of
from app.services.desk import Desk
from app.services.facts import place_words, sheet_by_id, sheet_by_number
from app.services.sheets import take_step

CABINET = table_of(Cabinet)
SHELF = table_of(Shelf)


def scan_place(desk: Desk, place: Place) -> Answer:
    """A shelf was scanned: what waits for a place goes there, and what comes next does too."""
    desk.keep(cabinet_id=place.cabinet_id, shelf_id=place.shelf_id)
    pending = desk.in_hand("pending") or {}
    if pending.get("step") in _WAITS_FOR_PLACE and pending.get("code"):
        desk.keep(pending=None)
        return _put(desk, _row(desk, pending["code"]), Step(pending["step"]))
    last = desk.in_hand("last_sheet_id")
    if last is not None and (step := _goes_there(desk, standing_of(sheet_by_id(desk.session, last)))) is not None:
        return _put(desk, sheet_by_id(desk.session, last), step)
    words = place_words(desk.session, place)
    return Answer("done", f"{words}.", (f"What is scanned next goes in {words}.",), "Scan the sheets, one by one.")


def place_by_code(session: Session, code: str) -> Place:
    """The cabinet or shelf with this code; refused with no-cabinet when there is none."""
    found = session.execute(select(SHELF.c.cabinet_id, SHELF.c.id).where(SHELF.c.code == code)).one_or_none()
    if found is not None:
        return Place(found[0], found[1])
    cabinet_id = session.execute(select(CABINET.c.id).where(CABINET.c.code == code)).scalar()
    if cabinet_id is None:
        raise Refused(Refusal("no-cabinet", "No cabinet or shelf here has this code.", "Tell the manager."))
    return Place(cabinet_id)


def place_by_name(session: Session, cabinet: str, shelf: str) -> Place:
    """The cabinet or shelf with this name, as scripts name it; refused with no-cabinet when there is none."""
    cabinet_id = session.execute(select(CABINET.c.id).where(CABINET.c.name == cabinet)).scalar()
    if cabinet_id is None:
        raise Refused(
            Refusal("no-cabinet", f"There is no cabinet called {cabinet}.", "Look it up on the cabinets page.")
        )
    if not shelf:
        return Place(cabinet_id)
    mine = (SHELF.c.cabinet_id == cabinet_id, SHELF.c.name == shelf)
    shelf_id = session.execute(select(SHELF.c.id).where(*mine)).scalar()
    if shelf_id is None:
        raise Refused(
            Refusal("no-cabinet", f"Cabinet {cabinet} has no shelf {shelf}.", "Look it up on the cabinets page.")
        )
    return Place(cabinet_id, shelf_id)


def _goes_there(desk: Desk, standing: Standing) -> Step | None:
    on_this_table = standing.place.table_id is not None and standing.place.table_id == desk.station_id
    if standing.stage is Stage.READY and on_this_table and Step.PUT_BACK in desk.steps:
        return Step.PUT_BACK
    if Step.SHELVE in desk.steps and standing.stage in (Stage.INTAKE, Stage.READY, Stage.DRY) and not on_this_table:
        return Step.SHELVE
    return None


def _put(desk: Desk, row: Any, step: Step) -> Answer:
    desk.keep(last_sheet_id=None)
    answer = take_step(desk, row, standing_of(row), step)
    return replace(answer, step=step.value)


def _row(desk: Desk, number: str) -> Any:
    row = sheet_by_number(desk.session, number)
    assert row is not None
    return row


_WAITS_FOR_PLACE = frozenset({Step.FILE.value, Step.PUT_BACK.value, Step.SHELVE.value})
