"""What lies in a stack at this moment: which of it may come out, what lies above it, and which stacks stand open."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import bindparam, func, select

from app.db.models import Layer, Sheet, Stack, WeightSpan, table_of
from app.db.prepared import prepared
from app.domain.language import say
from app.domain.lifting import InLayer, lowest_ready, must_go_back, names_said, to_reach
from app.domain.numbers import shown
from app.services.custody import standing_of
from app.services.desk import Desk
from app.services.facts import press_clock

STACK = table_of(Stack)
LAYER = table_of(Layer)
SHEET = table_of(Sheet)
SPAN = table_of(WeightSpan)
_PILE = prepared(
    select(SHEET)
    .join(LAYER, LAYER.c.sheet_id == SHEET.c.id)
    .where(LAYER.c.stack_id == bindparam("stack"), LAYER.c.out_at.is_(None))
    .order_by(LAYER.c.layer)
)
_LYING = (
    select(func.count()).where(LAYER.c.stack_id == STACK.c.id, LAYER.c.out_at.is_(None)).correlate(STACK)
).scalar_subquery()
_FIRST = (
    select(func.min(LAYER.c.laid_at)).where(LAYER.c.stack_id == STACK.c.id, LAYER.c.out_at.is_(None)).correlate(STACK)
).scalar_subquery()
_LAST_OFF = select(func.max(SPAN.c.off_at)).where(SPAN.c.stack_id == STACK.c.id).scalar_subquery()
_OPEN = prepared(
    select(STACK.c.id, STACK.c.name, STACK.c.code_on, _LYING.label("sheets"), _FIRST.label("first"),
           _LAST_OFF.label("last_off"))
    .where(STACK.c.closed_at.is_(None), STACK.c.weights_on.is_(False))
    .order_by(func.length(STACK.c.name), STACK.c.name)
)  # fmt: skip


def pile_of(desk: Desk, stack_id: int) -> list[InLayer]:
    """The sheets in a stack from the bottom, each judged by its clock as it stands at this desk."""
    rows = desk.session.execute(_PILE, {"stack": stack_id}).mappings().all()
    return [_in_layer(desk, row, place) for place, row in enumerate(rows, start=1)]


def may_come_out(pile: Sequence[InLayer]) -> tuple[str, ...]:
    """What may come out of an open stack, and what has to be lifted off and go back to reach it; nothing where none may."""
    ready = [each for each in pile if each.is_ready]
    lowest = lowest_ready(pile)
    if lowest is None:
        return ()
    count = (
        say("{count} of {lying} may come out", count=len(ready), lying=len(pile))
        if len(ready) < len(pile)
        else say("All may come out")
    )
    first = f"{count}: {names_said(ready)}." if len(pile) > 1 else say("It may come out.")
    return tuple(filter(None, (first, to_reach(pile, lowest))))


def above_it(desk: Desk, stack_id: int, number: str) -> str:
    """What is lifted off to reach one sheet of a stack, in a sentence; empty where nothing that must stay lies above it."""
    pile = pile_of(desk, stack_id)
    wanted = next((each for each in pile if each.shown == shown(number, desk.patterns)), None)
    return to_reach(pile, wanted) if wanted is not None else ""


def goes_back(desk: Desk, stack_id: int, layers: int) -> str:
    """What lay above a sheet that has come out, and must go back on the layers that were beneath; empty where nothing does."""
    staying = must_go_back(pile_of(desk, stack_id), layers)
    return say("Lay back what lay above it: {sheets}.", sheets=names_said(staying)) if staying else ""


def left_open(desk: Desk, other_than: int | None) -> Any | None:
    """A stack without its weights that is being left for another: the one in hand here, or one that was under weight.

    None where no sheet lies bare in such a stack. A stack that is only being filled is left alone: nothing in it counts yet.
    """
    in_hand = desk.station["stack_id"] if desk.station else None
    bare = [row for row in desk.session.execute(_OPEN) if row.sheets and row.id != other_than]
    mine = next((row for row in bare if row.id == in_hand), None)
    return mine or next((row for row in bare if row.last_off is not None and row.last_off > row.first), None)


def _in_layer(desk: Desk, row: Any, place: int) -> InLayer:
    clock = press_clock(desk.session, row["id"], standing_of(row), desk.happened_at)
    return InLayer(shown(row["number"], desk.patterns), place, clock is not None and not clock.remaining)
