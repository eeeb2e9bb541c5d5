"""Weights on and weights off: what starts and stops the clock of every sheet in a stack."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import case, delete, func, insert, select, update
from sqlalchemy.engine import RowMapping

from app.db.models import Entry, Layer, Stack, WeightSpan, table_of
from app.db.standing import STANDS
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import mark, say
from app.domain.press import Lifting, spans_of, turned_at
from app.domain.stages import Step
from app.domain.weights import mass_said
from app.services import press_answers as answers
from app.services.custody import enter_thing
from app.services.desk import UNCERTAIN, Desk, somebody_is_here
from app.services.doubts import call_in_question
from app.services.facts import stack_by_id

STACK = table_of(Stack)
SPAN = table_of(WeightSpan)
LAYER = table_of(Layer)
ENTRY = table_of(Entry)


def turn_weights(desk: Desk, stack_id: int, on: bool) -> Answer:
    """Write that the weights went on, or off; a card found as it was already written is only a sighting."""
    somebody_is_here(desk, mark("Scan your badge, then the card again."))
    stack = stack_by_id(desk.session, stack_id)
    desk.keep(stack_id=None if on else stack_id)
    mass_kg = _mass(desk)
    if _is_as_written(desk, stack, on) and mass_kg in (None, stack["mass_kg"]):
        _keep_seen(desk, stack, on)
        return _with_count(desk, stack, answers.seen(desk, stack, on, sheets_in(desk, stack_id)))
    _fits(desk, stack)
    happened_at = _moment(desk, stack, on)
    facts = _facts(desk, on, mass_kg)
    step = Step.WEIGHTS_ON if on else Step.WEIGHTS_OFF
    entry_id = enter_thing(
        desk, "stack", stack_id, step, happened_at=happened_at, facts=facts, reason=desk.request.reason
    )
    _write_stack(desk, stack, on, happened_at, entry_id, mass_kg)
    now_stands = stack_by_id(desk.session, stack_id)
    if on:
        return _with_count(desk, now_stands, answers.weights_on(desk, now_stands, entry_id, sheets_in(desk, stack_id)))
    return _with_count(desk, now_stands, answers.weights_off(desk, now_stands, entry_id, happened_at))


def count_stack(desk: Desk, stack_id: int, counted: int) -> Answer:
    """Write how many sheets somebody counted in a stack; a difference becomes a line under what needs a person."""
    stack = stack_by_id(desk.session, stack_id)
    lying = sheets_in(desk, stack_id)
    facts = {"counted": counted, "by_the_log": lying}
    entry_id = enter_thing(desk, "stack", stack_id, Step.COUNT, happened_at=desk.happened_at, facts=facts)
    values = {"counted": counted, "counted_of": lying, "counted_at": desk.happened_at}
    desk.session.execute(update(STACK).where(STACK.c.id == stack_id).values(**values))
    return answers.counted(stack, counted, lying, entry_id)


def sheets_in(desk: Desk, stack_id: int) -> int:
    """How many sheets lie in a stack by the log."""
    lying = select(func.count()).select_from(LAYER).where(LAYER.c.stack_id == stack_id, LAYER.c.out_at.is_(None))
    return int(desk.session.execute(lying).scalar_one())


def refold(desk: Desk, stack_id: int) -> None:
    """Fold the stack's standing entries anew into spans, and write whether the weights are on."""
    liftings = standing_liftings(desk, stack_id)
    spans = spans_of(liftings)
    desk.session.execute(delete(SPAN).where(SPAN.c.stack_id == stack_id))
    rows = [{"stack_id": stack_id, "on_at": span.on_at, "off_at": span.off_at} for span in spans]
    if rows:
        desk.session.execute(insert(SPAN), rows)
    on = bool(spans) and spans[-1].off_at is None
    last = max((lifting.happened_at for lifting in liftings), default=None)
    values = {"weights_on": on, "turned_at": turned_at(liftings), "last_at": last}
    desk.session.execute(update(STACK).where(STACK.c.id == stack_id).values(**values))


def standing_liftings(desk: Desk, stack_id: int) -> list[Lifting]:
    """The entries of weights on and off of a stack that nobody has corrected."""
    found = select(ENTRY.c.happened_at, ENTRY.c.id, ENTRY.c.step, ENTRY.c.facts).where(
        ENTRY.c.subject_kind == "stack", ENTRY.c.subject_id == stack_id,
        ENTRY.c.step.in_((Step.WEIGHTS_ON, Step.WEIGHTS_OFF)), STANDS,
    )  # fmt: skip
    rows = desk.session.execute(found)
    return [lifting(row) for row in rows]


def lifting(row: Any) -> Lifting:
    """One entry of weights on or off, as the fold reads it."""
    heard, until = (row.facts.get(name) for name in ("counts_from", "counts_until"))
    begins, ends = (datetime.fromisoformat(moment) if moment else None for moment in (heard, until))
    return Lifting(row.happened_at, row.id, row.step == Step.WEIGHTS_ON, begins, ends)


def _is_as_written(desk: Desk, stack: RowMapping, on: bool) -> bool:
    # What the manager writes in is always written: it may count from earlier than what a station said.
    moment = desk.happened_at if on else _earliest(desk) or desk.happened_at
    in_order = not desk.is_late and (stack["last_at"] is None or moment >= stack["last_at"])
    return bool(stack["weights_on"] == on and in_order and (on or stack["turned_at"] is not None))


def _keep_seen(desk: Desk, stack: RowMapping, on: bool) -> None:
    if on:
        last = max(desk.happened_at, stack["seen_on_at"] or desk.happened_at)
        desk.session.execute(update(STACK).where(STACK.c.id == stack["id"]).values(seen_on_at=last))


def _mass(desk: Desk) -> float | None:
    """What the weights weigh, where somebody says so with the card."""
    said = desk.request.facts.get("mass_kg")
    if said is None:
        return None
    try:
        return mass_said(said)
    except ValueError as error:
        raise Refused(
            Refusal("misread-number", str(error), say("Scan the card again, and say it once more."))
        ) from error


def _fits(desk: Desk, stack: RowMapping) -> None:
    last = stack["last_at"]
    if last is None or desk.happened_at >= last or desk.is_late or desk.told_late:
        return
    words = say("The computer's clock stands before the last entry of this stack ({last}).")
    raise Refused(
        Refusal("clock-behind", words, say("Leave the stack as it is and tell the manager."), facts={"last": last})
    )


def _moment(desk: Desk, stack: RowMapping, on: bool) -> datetime:
    found = bool(desk.request.facts.get("found")) or bool(desk.in_hand("in_round"))
    if on or not found or not stack["weights_on"]:
        return desk.happened_at
    # Found off: nothing counts after the last moment that anybody saw the weights on it.
    desk.time_from = "last-seen"
    return min(stack["seen_on_at"] or stack["turned_at"] or desk.happened_at, desk.happened_at)


def _facts(desk: Desk, on: bool, mass_kg: float | None) -> dict[str, Any]:
    given = desk.request.facts
    facts = {name: given[name] for name in ("counted", "found") if name in given}
    if mass_kg is not None:
        facts["mass_kg"] = mass_kg
    if desk.in_hand("in_round"):
        facts["found"] = True
    if on and desk.told_late:
        # A station's own late time never adds to the time under weight: that runs from when the server heard of it.
        facts["counts_from"] = desk.now.isoformat()
    if not on and (earliest := _earliest(desk)) is not None:
        facts["counts_until"] = earliest.isoformat()
    return facts


def _earliest(desk: Desk) -> datetime | None:
    """Of an uncertain time, the earliest that it may have been: weights may have come off as early as that."""
    return desk.not_before if desk.time_from == UNCERTAIN else None


def _write_stack(
    desk: Desk, stack: RowMapping, on: bool, happened_at: datetime, entry_id: int, mass_kg: float | None
) -> None:
    stack_id = stack["id"]
    counts_until = _earliest(desk) or happened_at
    first = happened_at if on else counts_until
    if desk.is_late or (stack["last_at"] is not None and first < stack["last_at"]):
        refold(desk, stack_id)
        call_in_question(desk, stack_id, entry_id, counts_until)
        return
    begins = desk.now if desk.told_late else happened_at
    _write_span(desk, stack_id, on, begins if on else counts_until, bool(stack["weights_on"]))
    values: dict[str, Any] = {"weights_on": on, "last_at": happened_at}
    if on:
        values["seen_on_at"] = happened_at
    if mass_kg is not None:
        values["mass_kg"] = mass_kg
    if on != stack["weights_on"] or stack["turned_at"] is None:
        values["turned_at"] = happened_at
    desk.session.execute(update(STACK).where(STACK.c.id == stack_id).values(**values))
    if counts_until < desk.now:
        call_in_question(desk, stack_id, entry_id, counts_until)


def _write_span(desk: Desk, stack_id: int, on: bool, moment: datetime, was_on: bool) -> None:
    if on and not was_on:
        desk.session.execute(insert(SPAN), {"stack_id": stack_id, "on_at": moment})
    if not on and was_on:
        still = (SPAN.c.stack_id == stack_id, SPAN.c.off_at.is_(None))
        ends = case((SPAN.c.on_at > moment, SPAN.c.on_at), else_=moment)
        desk.session.execute(update(SPAN).where(*still).values(off_at=ends))


def _with_count(desk: Desk, stack: RowMapping, answer: Answer) -> Answer:
    """A count that came with the card is written down too; the answer to the card stays what it is."""
    if "counted" not in desk.request.facts:
        return answer
    told = count_stack(desk, stack["id"], int(desk.request.facts["counted"]))
    return answers.with_count(answer, told)
