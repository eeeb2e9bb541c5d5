"""What may come out of each stack, and when, as long as nobody lifts its weights."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Stack, Station
from app.queries.press import LayerView, StackView, press_room


@dataclass(frozen=True, slots=True)
class SheetDue:
    """One sheet in a stack, and when it is or was ready; None while its clock is not running."""

    number: str
    ready_at: datetime | None


@dataclass(frozen=True, slots=True)
class StackDue:
    """One stack with its card's two codes, whether its weights are on, and the sheets in it from the bottom up."""

    name: str
    code_on: str
    code_off: str
    weights_on: bool
    sheets: tuple[SheetDue, ...]


def may_come_out(session: Session, now: datetime, zone: ZoneInfo) -> tuple[StackDue, ...]:
    """Every stack in use with all that lies in it, those too whose time is not told."""
    return tuple(_stack(view) for view in press_room(session, now, zone))


def stack_in_hand(session: Session, station_id: int) -> str:
    """The stack that a station has open, by its name; empty for none."""
    found = select(Stack.name).join(Station, Station.stack_id == Stack.id).where(Station.id == station_id)
    return session.execute(found).scalar() or ""


def _stack(view: StackView) -> StackDue:
    sheets = tuple(SheetDue(layer.number, _ready(layer)) for layer in view.layers)
    return StackDue(view.name, view.code_on, view.code_off, view.weights_on, sheets)


def _ready(layer: LayerView) -> datetime | None:
    return layer.ready_since or layer.ready_at
