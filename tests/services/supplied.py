"""A room with supplies for the tests: set up, counted, and a pot of each lot with its card."""

from __future__ import annotations

from datetime import date, datetime
from fractions import Fraction
from typing import Any

from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Lot, LotOpening, table_of
from app.queries.supplies import SupplyLine, supplies
from app.services.lots import lot_numbered
from app.services.supplies import Told, add_supply, came_in, count_supply, taken_out
from tests.room import Room

LOT, OPENING = table_of(Lot), table_of(LotOpening)
PVA, PASTE = 1, 2  # as the tests' room lists its adhesives


def told(room: Room, at: datetime | None = None, who: str = "hedda") -> Told:
    return Told(room.now, room.worker[who], at)


def kept(room: Room, kind: str = "mounting-sheet", name: str = "", **more: Any) -> int:
    """A supply is kept from now on."""
    with transaction(room.database) as session:
        return add_supply(session, kind, name or kind, told(room), **more)


def counted(room: Room, supply_id: int, amount: object, at: datetime | None = None) -> int:
    with transaction(room.database) as session:
        return count_supply(session, supply_id, Fraction(str(amount)), told(room, at))


def came(room: Room, supply_id: int, amount: object, at: datetime | None = None, **more: Any) -> int:
    with transaction(room.database) as session:
        return came_in(session, supply_id, Fraction(str(amount)), told(room, at), **more)


def taken(room: Room, supply_id: int, amount: object, why: str = "spoiled", at: datetime | None = None) -> int:
    with transaction(room.database) as session:
        return taken_out(session, supply_id, Fraction(str(amount)), told(room, at), why)


def line(room: Room, supply_id: int) -> SupplyLine:
    """One supply as its list shows it."""
    with reading(room.database) as session:
        return next(each for each in supplies(session, room.now, room.zone) if each.supply_id == supply_id)


def on_hand(room: Room, supply_id: int) -> Fraction:
    found = line(room, supply_id).now
    assert found is not None
    return found.on_hand


def lot(room: Room, supply_id: int, number: str, label_on: date | None = None) -> int:
    with transaction(room.database) as session:
        return lot_numbered(session, supply_id, number, told(room), label_on)


def card_of(room: Room, lot_id: int) -> str:
    """The code of a lot's card."""
    with reading(room.database) as session:
        return str(session.execute(select(LOT.c.code).where(LOT.c.id == lot_id)).scalar_one())


def openings(room: Room) -> list[Any]:
    """Every line that says which pot is open where, as it was written."""
    with reading(room.database) as session:
        return list(session.execute(select(OPENING).order_by(OPENING.c.id)).mappings())
