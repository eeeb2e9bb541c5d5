"""What is answered to a stack's card: what is true of the stack now, and what to do with the weights in the hands."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from sqlalchemy.engine import RowMapping

from app.domain.answer import Answer, Ask, Choice
from app.domain.language import mark, say, say_n
from app.domain.laying import materials_words
from app.domain.stages import Step
from app.domain.weights import LIFTING, mass_words, too_heavy
from app.domain.words import sheets_said
from app.services.desk import Desk
from app.services.press_pile import may_come_out, pile_of
from app.services.press_saying import Asked, still_bare
from app.services.saying import desk_tell

LAY_IN = mark("Lay in or take out, then put the weights on, one piece at a time, and scan the other side.")


def weights_on(desk: Desk, stack: RowMapping, entry_id: int, lying: int) -> Answer:
    """The answer to weights that went on: the clock runs, what they weigh, and the one question how many lie there."""
    name = stack["name"]
    lines = (say("{name} is under weight. Its clock runs.", name=name), *_weights(desk, stack))
    answer = Answer("done", say("Weights on."), lines, "", step=Step.WEIGHTS_ON.value, entry=entry_id)
    if {"counted", "mass_kg"} & set(desk.request.facts):
        return answer
    carry = {"code": stack["code_on"], "step": Step.COUNT.value}
    return replace(
        answer,
        next=say("{sheets} in {name}. Right?", sheets=sheets_said(lying), name=name),
        carry=carry,
        choices=(Choice(say("Yes, {lying}", lying=lying), "facts.counted", str(lying)),),
        ask=Ask("facts.counted", say("Another number"), "number"),
    )


def weights_off(desk: Desk, stack: RowMapping, entry_id: int, happened_at: datetime) -> Answer:
    """The answer to weights that came off: what may come out, in which order, and which stack was left without its own."""
    lines, choices, carry = _opened(desk, stack)
    if desk.time_from == "last-seen":
        when = desk_tell(desk)(happened_at)
        lines = (say("Its time counts only up to {when}, the last time anybody saw its weights on.", when=when), *lines)
    return Answer("done", say("Weights off."), lines, LAY_IN, step=Step.WEIGHTS_OFF.value, entry=entry_id, choices=choices,
                  carry=carry)  # fmt: skip


def seen(desk: Desk, stack: RowMapping, on: bool, lying: int) -> Answer:
    """The answer to a card that says what was written already: since when it is so."""
    name, when = stack["name"], desk_tell(desk)(stack["turned_at"])
    if on:
        line = say(
            "{name} has been under weight since {when}: {sheets}.", name=name, when=when, sheets=sheets_said(lying)
        )
        return Answer("done", say("Under weight."), (line,), say("Leave it."))
    lines, choices, carry = _opened(desk, stack)
    first = say("The weights of {name} are off since {when}.", name=name, when=when)
    return Answer("done", say("Weights off."), (first, *lines), LAY_IN, choices=choices, carry=carry)


def counted(stack: RowMapping, count: int, lying: int, entry_id: int) -> Answer:
    """The answer to a count; what the weights weigh may be said with it, and is remembered until it is said anew."""
    name = stack["name"]
    answer = Answer(
        "done",
        say("Counted."),
        (say("{sheets} in {name}.", sheets=sheets_said(lying), name=name),),
        step=Step.COUNT.value,
        entry=entry_id,
    )
    if count != lying:
        line = say("You count {count} in {name}; by the log there are {by_log}.", count=count, name=name, by_log=lying)
        next_ = say("Leave the weights on. When it is next open, scan each sheet in it.")
        answer = replace(answer, word=say("Noted."), lines=(line,), next=next_)
    if not stack["weights_on"]:
        return answer
    known = (
        say("Other weights than {mass_kg:g} kg? Say how many kg", mass_kg=stack["mass_kg"]) if stack["mass_kg"] else ""
    )
    ask = Ask("facts.mass_kg", known or say("How many kg are the weights, in all?"))
    return replace(answer, ask=ask, carry={"code": stack["code_on"]})


def with_count(answer: Answer, told: Answer) -> Answer:
    """The answer to a card together with that to the count that came with it."""
    return replace(
        answer, lines=(*answer.lines, *told.lines), next=answer.next or told.next, entry=answer.entry or told.entry
    )


def so_before_laying(desk: Desk, stack: RowMapping) -> tuple[str, ...]:
    """What is said of an opened stack's room, and of one that is empty: once a sheet is laid in, it is no longer so."""
    return _room_for(stack, len(pile_of(desk, stack["id"]))), _is_empty(stack)


def _room_for(stack: RowMapping, lying: int) -> str:
    room = stack["capacity"] - lying
    if room > 0:
        return say("Room for {room}: {materials}.", room=room, materials=materials_words(room, is_empty=not lying))
    return say_n("It is full: {n} sheet.", "It is full: {n} sheets.", lying)


def _is_empty(stack: RowMapping) -> str:
    return say("{name} is open, and nothing lies in it.", name=stack["name"])


def _opened(desk: Desk, stack: RowMapping) -> Asked:
    pile, name = pile_of(desk, stack["id"]), stack["name"]
    left, choices, carry = still_bare(desk, stack["id"])
    ready = may_come_out(pile)
    lines = (
        *(ready or ([] if desk.in_hand("in_round") else [_room_for(stack, len(pile))])),
        *_weights(desk, stack),
        *left,
    )
    if not pile:
        return (_is_empty(stack), *lines), choices, carry
    return (*lines, say("{name}'s clock is not running.", name=name)), choices, carry


def _weights(desk: Desk, stack: RowMapping) -> tuple[str, ...]:
    """What the weights weigh, what the house says of that, and how they are lifted."""
    mass_kg, pieces = stack["mass_kg"], stack["pieces"]
    known = mass_words(mass_kg, pieces)
    if desk.in_hand("in_round"):
        return ()
    told = say("Its weights: {known}. {lifting}", known=known, lifting=LIFTING) if known else LIFTING
    return (told, *too_heavy(mass_kg, pieces, desk.house.stack_mass_kg, desk.house.stack_piece_kg))
