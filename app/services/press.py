"""Weights on and weights off: what starts and stops the clock of every sheet in a stack."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import case, delete, func, insert, select, update
from sqlalchemy.engine import RowMapping

from app.db.models import Entry, Layer, Stack, WeightSpan, table_of
from app.domain.answer import Answer, Ask, Choice
from app.domain.errors import Refusal, Refused
from app.domain.press import Lifting, spans_of, turned_at
from app.domain.stages import Step
from app.services.custody import enter_thing
from app.services.desk import Desk
from app.services.doubts import call_in_question
from app.services.facts import stack_by_id
from app.services.saying import desk_tell

STACK = table_of(Stack)
SPAN = table_of(WeightSpan)
LAYER = table_of(Layer)
ENTRY = table_of(Entry)


def turn_weights(desk: Desk, stack_id: int, on: bool) -> Answer:
    """Write that the weights went on, or off; a card found as it was already written is only a sighting."""
    if not desk.by:
        raise Refused(Refusal("not-signed-in", "Nobody is signed in here.", "Scan your badge, then the card again."))
    stack = stack_by_id(desk.session, stack_id)
    desk.keep(stack_id=None if on else stack_id)
    if _is_as_written(desk, stack, on):
        return _with_count(desk, stack, _seen(desk, stack, on))
    _fits(desk, stack)
    happened_at = _moment(desk, stack, on)
    facts = _facts(desk, on)
    step = Step.WEIGHTS_ON if on else Step.WEIGHTS_OFF
    entry_id = enter_thing(
        desk, "stack", stack_id, step, happened_at=happened_at, facts=facts, reason=desk.request.reason
    )
    _write_stack(desk, stack, on, happened_at, entry_id)
    if on:
        return _answer_on(desk, stack, entry_id)
    return _with_count(desk, stack, _answer_off(desk, stack, entry_id, happened_at))


def count_stack(desk: Desk, stack_id: int, counted: int) -> Answer:
    """Write how many sheets somebody counted in a stack; a difference becomes a line under what needs a person."""
    stack = stack_by_id(desk.session, stack_id)
    lying = sheets_in(desk, stack_id)
    facts = {"counted": counted, "by_the_log": lying}
    entry_id = enter_thing(desk, "stack", stack_id, Step.COUNT, happened_at=desk.happened_at, facts=facts)
    values = {"counted": counted, "counted_of": lying, "counted_at": desk.happened_at}
    desk.session.execute(update(STACK).where(STACK.c.id == stack_id).values(**values))
    if counted == lying:
        return Answer(
            "done", "Counted.", (f"{lying} sheets in {stack['name']}.",), step=Step.COUNT.value, entry=entry_id
        )
    line = f"You count {counted} in {stack['name']}; by the log there are {lying}."
    next_ = "Leave the weights on. When it is next open, scan each sheet in it."
    return Answer("done", "Noted.", (line,), next_, step=Step.COUNT.value, entry=entry_id)


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
    later = ENTRY.alias()
    corrected = select(later.c.id).where(later.c.corrects == ENTRY.c.id).exists()
    found = select(ENTRY.c.happened_at, ENTRY.c.id, ENTRY.c.step, ENTRY.c.facts).where(
        ENTRY.c.subject_kind == "stack", ENTRY.c.subject_id == stack_id,
        ENTRY.c.step.in_((Step.WEIGHTS_ON, Step.WEIGHTS_OFF)), ~corrected,
    )  # fmt: skip
    rows = desk.session.execute(found)
    return [lifting(row) for row in rows]


def lifting(row: Any) -> Lifting:
    """One entry of weights on or off, as the fold reads it."""
    heard = row.facts.get("counts_from")
    return Lifting(
        row.happened_at, row.id, row.step == Step.WEIGHTS_ON, datetime.fromisoformat(heard) if heard else None
    )


def _is_as_written(desk: Desk, stack: RowMapping, on: bool) -> bool:
    # What the manager writes in is always written: it may count from earlier than what a station said.
    in_order = not desk.is_late and (stack["last_at"] is None or desk.happened_at >= stack["last_at"])
    return bool(stack["weights_on"] == on and in_order and (on or stack["turned_at"] is not None))


def _seen(desk: Desk, stack: RowMapping, on: bool) -> Answer:
    when = desk_tell(desk)(stack["turned_at"])
    if on:
        last = max(desk.happened_at, stack["seen_on_at"] or desk.happened_at)
        desk.session.execute(update(STACK).where(STACK.c.id == stack["id"]).values(seen_on_at=last))
        return Answer("done", "Under weight.", (f"{stack['name']} has been under weight since {when}.",), "Leave it.")
    line = f"The weights of {stack['name']} are off since {when}. {stack['name']}'s clock is not running."
    return Answer(
        "done", "Weights off.", (line,), "Lay in or take out, then put the weights on and scan the other side."
    )


def _fits(desk: Desk, stack: RowMapping) -> None:
    last = stack["last_at"]
    if last is None or desk.happened_at >= last or desk.is_late or desk.time_from.startswith("station"):
        return
    words = "The computer's clock stands before the last entry of this stack ({last})."
    raise Refused(
        Refusal("clock-behind", words, "Leave the stack as it is and tell the manager.", facts={"last": last})
    )


def _moment(desk: Desk, stack: RowMapping, on: bool) -> datetime:
    found = bool(desk.request.facts.get("found")) or bool(desk.in_hand("in_round"))
    if on or not found or not stack["weights_on"]:
        return desk.happened_at
    # Found off: nothing counts after the last moment that anybody saw the weights on it.
    desk.time_from = "last-seen"
    return min(stack["seen_on_at"] or stack["turned_at"] or desk.happened_at, desk.happened_at)


def _facts(desk: Desk, on: bool) -> dict[str, Any]:
    given = desk.request.facts
    facts = {name: given[name] for name in ("counted", "mass_kg", "found") if name in given}
    if desk.in_hand("in_round"):
        facts["found"] = True
    if on and desk.time_from == "station":
        # A station's own late time never adds to the time under weight: that runs from when the server heard of it.
        facts["counts_from"] = desk.now.isoformat()
    return facts


def _write_stack(desk: Desk, stack: RowMapping, on: bool, happened_at: datetime, entry_id: int) -> None:
    stack_id = stack["id"]
    if desk.is_late or (stack["last_at"] is not None and happened_at < stack["last_at"]):
        refold(desk, stack_id)
        call_in_question(desk, stack_id, entry_id, happened_at)
        return
    begins = desk.now if desk.time_from == "station" else happened_at
    _write_span(desk, stack_id, on, begins if on else happened_at, bool(stack["weights_on"]))
    values: dict[str, Any] = {"weights_on": on, "turned_at": happened_at, "last_at": happened_at}
    if on:
        values["seen_on_at"] = happened_at
    if (mass := desk.request.facts.get("mass_kg")) is not None:
        values["mass_kg"] = float(mass)
    desk.session.execute(update(STACK).where(STACK.c.id == stack_id).values(**values))
    if happened_at < desk.now:
        call_in_question(desk, stack_id, entry_id, happened_at)


def _write_span(desk: Desk, stack_id: int, on: bool, moment: datetime, was_on: bool) -> None:
    if on and not was_on:
        desk.session.execute(insert(SPAN), {"stack_id": stack_id, "on_at": moment})
    if not on and was_on:
        still = (SPAN.c.stack_id == stack_id, SPAN.c.off_at.is_(None))
        ends = case((SPAN.c.on_at > moment, SPAN.c.on_at), else_=moment)
        desk.session.execute(update(SPAN).where(*still).values(off_at=ends))


def _answer_on(desk: Desk, stack: RowMapping, entry_id: int) -> Answer:
    name, lying = stack["name"], sheets_in(desk, stack["id"])
    mass = float(desk.request.facts.get("mass_kg", stack["mass_kg"]))
    heavy = () if mass <= desk.house.stack_mass_kg else (
        f"{mass:g} kg is more than the house's {desk.house.stack_mass_kg} kg on one stack: lighten it, one piece at a time.",
    )  # fmt: skip
    lines = (f"{name} is under weight. Its clock runs.", *heavy)
    if "counted" in desk.request.facts:
        counted = count_stack(desk, stack["id"], int(desk.request.facts["counted"]))
        return Answer("done", "Weights on.", (*lines, *counted.lines), counted.next, step="weights-on", entry=entry_id)
    carry = {"code": stack["code_on"], "step": Step.COUNT.value}
    return Answer(
        "done", "Weights on.", lines, f"{_sheets(lying)} in {name}. Right?", step="weights-on", entry=entry_id,
        choices=(Choice(f"Yes, {lying}", "facts.counted", str(lying)),),
        ask=Ask("facts.counted", "Another number", "number"), carry=carry,
    )  # fmt: skip


def _answer_off(desk: Desk, stack: RowMapping, entry_id: int, happened_at: datetime) -> Answer:
    name, when = stack["name"], desk_tell(desk)
    lines = [f"{name}'s clock is not running."]
    if desk.time_from == "last-seen":
        lines.insert(0, f"Its time counts only up to {when(happened_at)}, "
                        "the last time anybody saw its weights on.")  # fmt: skip
    next_ = "Lay in or take out, then put the weights on and scan the other side."
    return Answer("done", "Weights off.", tuple(lines), next_, step="weights-off", entry=entry_id)


def _with_count(desk: Desk, stack: RowMapping, answer: Answer) -> Answer:
    """A count that came with the card is written down too; the answer to the card stays what it is."""
    if "counted" not in desk.request.facts:
        return answer
    counted = count_stack(desk, stack["id"], int(desk.request.facts["counted"]))
    return replace(answer, lines=(*answer.lines, *counted.lines), entry=answer.entry or counted.entry)


def _sheets(count: int) -> str:
    return "1 sheet" if count == 1 else f"{count} sheets"
