"""Closing the room: what must not be left as it is overnight."""

from __future__ import annotations

from sqlalchemy import func, select, text

from app.db.models import Layer, Sheet, Stack, Station, table_of
from app.domain.numbers import shown
from app.domain.stages import Stage
from app.services.desk import Desk

SHEET = table_of(Sheet)
STACK = table_of(Stack)
LAYER = table_of(Layer)
A_FEW = 5


def closing_words(desk: Desk) -> list[str]:
    """What is glued and not under weight, which stacks with sheets have no weights, and what lies on tables."""
    return [*_not_under_weight(desk), *_without_weights(desk), *_on_tables(desk)]


def _not_under_weight(desk: Desk) -> list[str]:
    # Word for word the condition of the queue's index: a card that is scanned must not go through the collection.
    waits = (text("sheet.in_queue"), SHEET.c.stage == Stage.MOUNTED)
    found = select(SHEET.c.number).where(*waits).order_by(SHEET.c.came_at)
    numbers = [shown(number, desk.patterns) for number in desk.session.execute(found).scalars()]
    if not numbers:
        return []
    more = f" and {len(numbers) - A_FEW} more" if len(numbers) > A_FEW else ""
    return [f"Glued and not under weight: {', '.join(numbers[:A_FEW])}{more}."]


def _without_weights(desk: Desk) -> list[str]:
    lying = select(func.count()).where(LAYER.c.stack_id == STACK.c.id, LAYER.c.out_at.is_(None)).scalar_subquery()
    found = select(STACK.c.name, lying).where(STACK.c.weights_on.is_(False), lying > 0).order_by(STACK.c.name)
    return [f"The weights are off {name}: {count} in it." for name, count in desk.session.execute(found)]


def _on_tables(desk: Desk) -> list[str]:
    found = (
        select(Station.name, func.count())
        .join(SHEET, SHEET.c.table_id == Station.id)
        .where(SHEET.c.stage == Stage.READY, SHEET.c.in_queue)
        .group_by(Station.name)
        .order_by(Station.name)
    )
    return [f"Taken up and still at {name}: {count}." for name, count in desk.session.execute(found)]
