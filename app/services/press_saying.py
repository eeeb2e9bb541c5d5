"""What is said at the press of one sheet: in which layer it lies, what it took along, and what of its stack is still to be done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from sqlalchemy import bindparam, func, select
from sqlalchemy.engine import RowMapping

from app.db.models import Layer, Stack, table_of
from app.db.prepared import Question, prepared
from app.domain.answer import Answer, Choice
from app.domain.language import say
from app.domain.laying import materials_words
from app.domain.press import under_weight
from app.domain.sheet import Standing
from app.domain.stages import Step
from app.domain.words import duration, said, sheets_said
from app.services.desk import Desk
from app.services.facts import stays_and_spans
from app.services.press_pile import goes_back, left_open
from app.services.press_places import stacks_ahead, stacks_offered

STACK = table_of(Stack)
LAYER = table_of(Layer)
# So little room left that what it takes is said: papers, foams and boards are fetched before the next sheet is wet.
SHORT = 2
Asked = tuple[tuple[str, ...], tuple[Choice, ...], dict[str, str]]
_LYING = select(func.count()).where(LAYER.c.stack_id == STACK.c.id, LAYER.c.out_at.is_(None)).scalar_subquery()
_STACK = prepared(
    select(STACK.c.name, STACK.c.capacity, STACK.c.weights_on, STACK.c.code_off, _LYING.label("lying")).where(
        STACK.c.id == bindparam("stack")
    )
)
_BENEATH = prepared(
    select(func.count())
    .select_from(LAYER)
    .where(LAYER.c.stack_id == bindparam("stack"), LAYER.c.out_at.is_(None), LAYER.c.layer < bindparam("lay_in"))
)
_UNTIL = prepared(
    select(LAYER.c.out_at)
    .where(LAYER.c.sheet_id == bindparam("sheet"), LAYER.c.stack_id == bindparam("stack"))
    .order_by(LAYER.c.id.desc())
    .limit(1)
)


def press_ahead(row: RowMapping, step: Step, now: Standing) -> Iterator[Question]:
    """What is asked to say what comes next at the press."""
    if step in (Step.MOUNT, Step.RE_GLUE, Step.FOUND_OUT):
        yield from stacks_ahead(now)
    stack = now.place.stack_id if step is Step.PUT_UNDER_WEIGHT else row["stack_id"] if step is Step.TAKE_OUT else None
    if stack is not None:
        yield _STACK, {"stack": stack}


def lay_it_where(desk: Desk, now: Standing) -> str:
    """Where a sheet with wet glue goes now."""
    offered = stacks_offered(desk, now)
    if not offered:
        return say("Now take it to the press. Every stack is full or has its weights on: ask which one may be opened.")
    best = offered[0]
    where = say("Now put it in stack {name}, top layer.", name=best.name)
    return f"{where} {best.but}" if best.but else where


def in_layer(desk: Desk, now: Standing) -> str:
    """In which layer it lies, what goes on it, and how long it stays; where room runs short, what one more would take."""
    stack = _stack(desk, now.place.stack_id)
    base = say(", on the base board") if stack.lying == 1 else ""
    room = stack.capacity - stack.lying
    short = (
        say(" Room for {room} more: {materials}.", room=room, materials=materials_words(room, is_empty=False))
        if 0 < room <= SHORT
        else ""
    )
    full = say(" It is full: lid on, then the weights, one piece at a time.") if not room else ""
    return say(
        "Layer {lying} of {name}{base}: release paper, foam and a board on it. It needs {minimum_s} "
        "under weight.{short}{full} {name}'s clock is not running until the weights are on.",
        lying=stack.lying,
        name=stack.name,
        base=base,
        minimum_s=duration(now.minimum_s or 0),
        short=short,
        full=full,
    )


def at_press(desk: Desk, row: RowMapping, step: Step, now: Standing, answer: Answer) -> Answer:
    """The answer to a step of the press, with what is true of its stack and of the one that it came from.

    `row` is the sheet as it stood before. Any other step's answer is given back as it is.
    """
    if step is Step.TAKE_OUT and row["stack_id"] is not None:
        return replace(answer, lines=(*answer.lines, *_came_out(desk, row)))
    if step is not Step.PUT_UNDER_WEIGHT:
        return answer
    moved = row["stack_id"] is not None and row["stack_id"] != now.place.stack_id
    lines, choices, carry = _moved(desk, row, now) if moved else _left(desk, now)
    if not lines:
        return answer
    return replace(answer, lines=(*answer.lines, *lines), choices=choices, carry=carry)


def still_bare(desk: Desk, other_than: int | None) -> Asked:
    """The stack that stands open behind whoever goes on to the next: its clock, and the button that says it runs again."""
    left = left_open(desk, other_than) if not desk.in_hand("in_round") else None
    if left is None:
        return (), (), {}
    line = say(
        "{name}'s clock is not running: {sheets} without weights. Put them on first.",
        name=left.name,
        sheets=sheets_said(left.sheets),
    )
    choice = Choice(say("The weights of {name} are on", name=left.name), "choose", f"code={left.code_on}")
    return (line,), (choice,), {"code": left.code_on}


def _left(desk: Desk, now: Standing) -> Asked:
    in_hand = desk.station["stack_id"] if desk.station else None
    return still_bare(desk, now.place.stack_id) if in_hand not in (None, now.place.stack_id) else ((), (), {})


def _moved(desk: Desk, row: RowMapping, now: Standing) -> Asked:
    """A sheet that went from one stack to another: the time that it takes along, and whether the first still has its weights."""
    stays, spans = stays_and_spans(desk.session, row["id"], now.glued_at)
    lain = int(under_weight(stays, spans, desk.happened_at).total_seconds())
    missing = max((now.minimum_s or 0) - lain, 0)
    was = _stack(desk, row["stack_id"])
    rest = say("{duration} more are needed", duration=duration(missing)) if missing else say("it has had its time")
    line = say(
        "Moved from {name}: it takes {duration} under weight along; {rest}.",
        name=was.name,
        duration=duration(lain // 60 * 60),
        rest=rest,
    )
    if was.weights_on:
        until = desk.session.execute(_UNTIL, {"sheet": row["id"], "stack": row["stack_id"]}).scalar_one()
        when = said(until, desk.occasion.zone, desk.now)
        more = say(
            "By the log the weights are on {name}, so its time there counts up to {when}, when they were last seen.",
            name=was.name,
            when=when,
        )
        choice = Choice(say("The weights of {name} are off", name=was.name), "choose", f"code={was.code_off}")
        return (line, more), (choice,), {"code": was.code_off}
    bare, choices, carry = still_bare(desk, now.place.stack_id) if was.lying else ((), (), {})
    return (line, *bare), choices, carry


def _came_out(desk: Desk, row: RowMapping) -> tuple[str, ...]:
    was = _stack(desk, row["stack_id"])
    if not was.lying:
        return (say("Nothing lies in {name} any more.", name=was.name),)
    place = {"stack": row["stack_id"], "lay_in": row["layer"]}
    beneath = desk.session.execute(_BENEATH, place).scalar_one()
    back = goes_back(desk, row["stack_id"], beneath) if beneath < was.lying else ""
    return (*filter(None, (back,)), say("{name}'s clock is not running.", name=was.name))


def _stack(desk: Desk, stack_id: int | None) -> Any:
    return desk.session.execute(_STACK, {"stack": stack_id}).one()
