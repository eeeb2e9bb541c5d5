"""Looking at a room that the tests work in: readings at its own moment, and labels for its sheets."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import insert, select, update

from app.db.engine import reading, transaction
from app.db.models import Cabinet, Collector, Consignment, PlantName, Sheet, table_of
from app.domain.folding import folded
from app.domain.stages import Step
from app.queries.board import Board, StageView, board
from app.queries.house import patterns_now
from app.queries.listing import SheetList, list_sheets
from app.queries.press import StackView, stack_view
from app.queries.search import Hit, find
from app.queries.sheets import SheetPage, sheet_page
from app.services.near_names import learn_all
from app.services.wanted import want
from tests.room import Room

SHEET = table_of(Sheet)


def page_of(room: Room, number: str, now: datetime | None = None, **more: Any) -> SheetPage:
    """The page of a sheet that is there."""
    with reading(room.database) as session:
        found = sheet_page(session, number, now or room.now, room.zone, **more)
    assert found is not None
    return found


def board_of(room: Room, now: datetime | None = None) -> Board:
    """The board at the room's moment, or at another."""
    with reading(room.database) as session:
        return board(session, now or room.now, room.zone)


def stage_of(room: Room, slug: str, now: datetime | None = None) -> StageView:
    """One stage of the board."""
    return next(stage for stage in board_of(room, now).stages if stage.slug == slug)


def listed(room: Room, now: datetime | None = None, **more: Any) -> SheetList:
    """A list of sheets."""
    with reading(room.database) as session:
        return list_sheets(session, now or room.now, room.zone, **more)


def stack_of(room: Room, name: str, now: datetime | None = None) -> StackView:
    """One stack."""
    with reading(room.database) as session:
        found = stack_view(session, name, now or room.now, room.zone)
    assert found is not None
    return found


def found_by(room: Room, q: str, limit: int = 12) -> list[Hit]:
    """What a search finds."""
    with reading(room.database) as session:
        return find(session, q, patterns_now(session), limit)


def label(room: Room, number: str, plant: str = "", collector: str = "", consignment: str = "", **columns: Any) -> None:
    """Write on a sheet what its label says."""
    with transaction(room.database) as session:
        if plant:
            columns["plant_name_id"] = _named(session, PlantName, name=plant, search_key=folded(plant))
            learn_all(session)
        if collector:
            columns["collector_id"] = _named(session, Collector, name=collector, search_key=folded(collector))
        if consignment:
            columns["consignment_id"] = _named(session, Consignment, name=consignment, code=consignment[:3].upper())
        session.execute(update(SHEET).where(SHEET.c.number == number).values(**columns))


def brought_dry(room: Room) -> str:
    """A sheet that came mounted and waits for inspection."""
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.scans(number, "intake", step=Step.ARRIVE_MOUNTED, facts={"dryness": True})
    return number


def passed(room: Room) -> str:
    """A sheet that came mounted and was passed."""
    number = brought_dry(room)
    room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    return number


def filed(room: Room) -> str:
    """A sheet that came mounted, was passed and is filed in F1, shelf 1."""
    number = passed(room)
    assert room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="1").kind == "done"
    return number


def own_limit(room: Room, cabinet: str, days: int) -> None:
    """Give a cabinet a limit of its own."""
    with transaction(room.database) as session:
        session.execute(update(Cabinet).where(Cabinet.name == cabinet).values(limit_open_days=days))


def wanted(room: Room, number: str, why: str = "a visit", **more: Any) -> None:
    """The manager asks for a sheet."""
    with transaction(room.database) as session:
        want(session, room.row(number)["id"], why, room.now, by=room.worker["hedda"], **more)


def _named(session: Any, model: Any, **values: Any) -> int:
    table = table_of(model)
    found = session.execute(select(table.c.id).where(table.c.name == values["name"])).scalar()
    return int(found or session.execute(insert(table).values(**values).returning(table.c.id)).scalar_one())
