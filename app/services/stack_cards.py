"""A stack's card: one scan names the stack and says whether its weights are on; what waits for a stack goes in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import bindparam, select

from app.db.models import Stack, table_of
from app.db.prepared import prepared
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.stages import Step
from app.services.desk import Desk
from app.services.facts import sheet_by_number, stack_by_id
from app.services.press import count_stack, turn_weights
from app.services.press_answers import so_before_laying
from app.services.sheets import scan_sheet

STACK = table_of(Stack)
_BY_CODE = prepared(
    select(STACK.c.id, STACK.c.code_on).where(
        (STACK.c.code_on == bindparam("card")) | (STACK.c.code_off == bindparam("card")), STACK.c.closed_at.is_(None)
    )
)


def scan_stack(desk: Desk, code: str) -> Answer:
    """Write what the card says of the weights; a sheet that waits for a stack is laid in when they are off."""
    row = desk.session.execute(_BY_CODE, {"card": code}).one_or_none()
    if row is None:
        raise Refused(Refusal("no-stack", say("No stack here has this card."), say("Tell the manager.")))
    if desk.request.step is Step.COUNT:
        return _counted(desk, row.id)
    answer = turn_weights(desk, row.id, row.code_on == code)
    pending = desk.in_hand("pending") or {}
    if answer.kind != "done" or pending.get("step") != Step.PUT_UNDER_WEIGHT:
        return answer
    if row.code_on == code or pending.get("into", row.id) != row.id:
        return _waits_still(desk, pending, answer)
    return _lay_in_what_waits(desk, row.id, pending, answer)


def _waits_still(desk: Desk, pending: Mapping[str, Any], answer: Answer) -> Answer:
    """Another thing was done while a sheet was still to be laid in: it is not forgotten over that."""
    number = shown(pending["code"], desk.patterns)
    line = say("{number} is not laid in yet: scan it again at the stack that it goes in.", number=number)
    return replace(answer, lines=(*answer.lines, line))


def _lay_in_what_waits(desk: Desk, stack_id: int, pending: Mapping[str, Any], opened: Answer) -> Answer:
    desk.keep(pending=None)
    desk.request = replace(desk.request, step=Step.PUT_UNDER_WEIGHT, already_done=bool(pending.get("already_done")))
    row = sheet_by_number(desk.session, pending["code"])
    no_longer = so_before_laying(desk, stack_by_id(desk.session, stack_id))
    laid = scan_sheet(desk, row) if row is not None else opened
    if laid.kind != "done":
        return replace(laid, lines=tuple(dict.fromkeys((*opened.lines, *laid.lines))))
    # The sheet lies in it now: what was so before it is no longer so.
    kept = [line for line in opened.lines if line not in no_longer]
    return replace(laid, lines=tuple(dict.fromkeys((*kept, *laid.lines))))


def _counted(desk: Desk, stack_id: int) -> Answer:
    if "counted" not in desk.request.facts:
        raise Refused(Refusal("misread-number", say("No count was sent."), say("Say how many sheets lie in it.")))
    return count_stack(desk, stack_id, int(desk.request.facts["counted"]))
