"""The room's own order of consignments: what is worked on first, after what is wanted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.db.models import Consignment, table_of
from app.domain.language import say
from app.services.changes import changed

CONSIGNMENT = table_of(Consignment)


def set_order(session: Session, code: str, move: str, now: datetime, *, by: int | None = None) -> bool:
    """Move a consignment in the room's order, from the order that is found: "first", "up", "down", "last" or "none", which
    takes its place away. Places run from 1 without gaps. False when nothing changes.

    ValueError, in a sentence, for a consignment that is not there or is closed, and for another move.
    """
    if move not in MOVES:
        raise ValueError(say("A consignment is moved {moves}.", moves=", ".join(map(say, MOVES))))
    placed = _placed(session)
    consignment_id = _open(session, code)
    moved = MOVES[move](list(placed), consignment_id)
    if moved == list(placed):
        return False
    for place, each in enumerate(moved, 1):
        if placed.get(each) != place:
            _put(session, each, place)
    if consignment_id not in moved:
        _put(session, consignment_id, 0)
    old, new = placed.get(consignment_id), moved.index(consignment_id) + 1 if consignment_id in moved else None
    changed(session, now, by, "consignment", consignment_id, "place in the order", old=_said(old), new=_said(new))
    return True


def _placed(session: Session) -> dict[int, int]:
    """The consignments that have a place and are open, in their order, and the place that is written of each."""
    mine = (CONSIGNMENT.c.place_in_order > 0, CONSIGNMENT.c.closed_at.is_(None))
    found = select(CONSIGNMENT.c.id, CONSIGNMENT.c.place_in_order).where(*mine).with_for_update()
    ordered = found.order_by(CONSIGNMENT.c.place_in_order, CONSIGNMENT.c.id)
    return {row.id: row.place_in_order for row in session.execute(ordered)}


def _open(session: Session, code: str) -> int:
    mine = (CONSIGNMENT.c.code == code, CONSIGNMENT.c.closed_at.is_(None))
    found: int | None = session.execute(select(CONSIGNMENT.c.id).where(*mine)).scalar()
    if found is None:
        raise ValueError(say("There is no open consignment called {name}.", name=code[:40]))
    return found


def _put(session: Session, consignment_id: int, place: int) -> None:
    session.execute(update(CONSIGNMENT).where(CONSIGNMENT.c.id == consignment_id).values(place_in_order=place))


def _said(place: int | None) -> str:
    return str(place) if place else "no place"


def _at(order: Sequence[int], each: int, place: int) -> list[int]:
    rest = [other for other in order if other != each]
    return [*rest[:place], each, *rest[place:]]


def _beside(order: Sequence[int], each: int, by: int) -> list[int]:
    return _at(order, each, max(order.index(each) + by, 0)) if each in order else list(order)


MOVES: dict[str, Callable[[Sequence[int], int], list[int]]] = {
    "first": lambda order, each: _at(order, each, 0),
    "up": lambda order, each: _beside(order, each, -1),
    "down": lambda order, each: _beside(order, each, 1),
    "last": lambda order, each: _at(order, each, len(order)),
    "none": lambda order, each: [other for other in order if other != each],
}
