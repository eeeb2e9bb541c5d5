"""Cabinets and shelves at a desk: where the sheet in the hands is put."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Shelf, table_of
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.moves import lands_in
from app.domain.sheet import Place, Standing
from app.domain.stages import Stage, Step
from app.domain.stations import roams
from app.services.custody import standing_of
from app.services.desk import Desk
from app.services.dryers import scan_dryer
from app.services.facts import place_words, sheet_by_id, sheet_by_number, shelf_facts
from app.services.sheets import take_step

CABINET = table_of(Cabinet)
SHELF = table_of(Shelf)


def scan_place(desk: Desk, place: Place) -> Answer:
    """A shelf was scanned: what waits for a place goes there, and what comes next does too. A dryer is no place on a shelf."""
    if (dryer := scan_dryer(desk, place)) is not None:
        return dryer
    desk.keep(cabinet_id=place.cabinet_id, shelf_id=place.shelf_id)
    pending = desk.in_hand("pending") or {}
    if "bundle" in pending:
        return _now_in_hand(desk, place, say("Scan exceptions first, if there are any; then the card again."))
    if pending.get("step") in _WAITS_FOR_PLACE and pending.get("code"):
        desk.keep(pending=None)
        return _put(desk, _row(desk, pending["code"]), Step(pending["step"]))
    last = desk.in_hand("last_sheet_id")
    if (
        last is not None
        and (step := _goes_there(desk, standing_of(sheet_by_id(desk.session, last)), place)) is not None
    ):
        return _put(desk, sheet_by_id(desk.session, last), step)
    return _now_in_hand(desk, place, say("Scan the sheets, one by one."))


def place_by_code(session: Session, code: str) -> Place:
    """The cabinet or shelf with this code; refused with no-cabinet when there is none."""
    found = session.execute(select(SHELF.c.cabinet_id, SHELF.c.id).where(SHELF.c.code == code)).one_or_none()
    if found is not None:
        return Place(found[0], found[1])
    cabinet_id = session.execute(select(CABINET.c.id).where(CABINET.c.code == code)).scalar()
    if cabinet_id is None:
        raise Refused(Refusal("no-cabinet", say("No cabinet or shelf here has this code."), say("Tell the manager.")))
    return Place(cabinet_id)


def freezer_by_name(session: Session, name: str) -> Any:
    """The row of the freezer with this name; refused with no-cabinet when there is none."""
    mine = (CABINET.c.name == name, CABINET.c.freezes_to_c.is_not(None), CABINET.c.closed_at.is_(None))
    row = session.execute(select(CABINET).where(*mine).with_for_update()).mappings().one_or_none()
    if row is None:
        raise Refused(
            Refusal("no-cabinet", say("There is no such freezer."), say("Look at the freezer's page."), "which-one")
        )
    return row


def place_by_name(session: Session, cabinet: str, shelf: str) -> Place:
    """The cabinet or shelf with this name, as scripts name it; refused with no-cabinet when there is none."""
    found = session.execute(select(CABINET.c.id, CABINET.c.freezes_to_c).where(CABINET.c.name == cabinet)).one_or_none()
    cabinet_id = found.id if found is not None else None
    if found is not None and found.freezes_to_c is not None:
        words = say("{name} is a freezer: what goes into it goes in a load.", name=cabinet)
        raise Refused(Refusal("no-load", words, say("Bag it first.")))
    if cabinet_id is None:
        words = say("There is no cabinet called {cabinet}.", cabinet=cabinet)
        raise Refused(Refusal("no-cabinet", words, say("Look it up on the cabinets page.")))
    if not shelf:
        return Place(cabinet_id)
    mine = (SHELF.c.cabinet_id == cabinet_id, SHELF.c.name == shelf)
    shelf_id = session.execute(select(SHELF.c.id).where(*mine)).scalar()
    if shelf_id is None:
        words = say("Cabinet {cabinet} has no shelf {shelf}.", cabinet=cabinet, shelf=shelf)
        raise Refused(Refusal("no-cabinet", words, say("Look it up on the cabinets page.")))
    return Place(cabinet_id, shelf_id)


def _goes_there(desk: Desk, standing: Standing, place: Place) -> Step | None:
    shelf = shelf_facts(desk.session, place.cabinet_id, place.shelf_id)
    if roams(desk.steps) and shelf is not None and shelf.stage not in (None, standing.stage):
        # Where everything is done at one screen, a shelf of another stage is for what comes next; but passed sheets are filed.
        is_to_be_filed = standing.outcome == "passed" and lands_in(Step.FILE, standing.stage) is shelf.stage
        return Step.FILE if is_to_be_filed and standing.stage is Stage.DRY else None
    on_this_table = standing.place.table_id is not None and standing.place.table_id == desk.station_id
    if standing.stage is Stage.READY and on_this_table and Step.PUT_BACK in desk.steps:
        return Step.PUT_BACK
    if Step.SHELVE in desk.steps and standing.stage in (Stage.INTAKE, Stage.READY, Stage.DRY) and not on_this_table:
        return Step.SHELVE
    return None


def _now_in_hand(desk: Desk, place: Place, next_: str) -> Answer:
    words = place_words(desk.session, place)
    return Answer("done", f"{words}.", (say("What is scanned next goes in {place}.", place=words),), next_)


def _put(desk: Desk, row: Any, step: Step) -> Answer:
    desk.keep(last_sheet_id=None)
    answer = take_step(desk, row, standing_of(row), step)
    return replace(answer, step=step.value)


def _row(desk: Desk, number: str) -> Any:
    row = sheet_by_number(desk.session, number)
    assert row is not None
    return row


_WAITS_FOR_PLACE = frozenset({Step.FILE.value, Step.PUT_BACK.value, Step.SHELVE.value})
