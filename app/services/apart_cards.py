"""The cards for what is not one sheet with one number: another sheet, the same number twice, two plants, one specimen."""

from __future__ import annotations

from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer, Ask, Choice
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.stages import Step
from app.services.apart import can_be_divided
from app.services.custody import standing_of
from app.services.describing import describe
from app.services.desk import Desk
from app.services.facts import sheet_by_id
from app.services.specimens import ask_other_part


def another_sheet_card(desk: Desk) -> Answer:
    """Ask whether the plant in the hand needs one more sheet."""
    row = _in_hand(desk, say("Take up the sheet first."))
    choice = Choice(say("Yes, it needs another sheet"), "step", Step.ANOTHER_SHEET.value)
    line = say("Does {number} need one more sheet?", number=shown(row["number"], desk.patterns))
    return Answer("which-one", WORDS["which-one"], (line,), choices=(choice,), carry={"code": row["number"]})


def same_number_card(desk: Desk) -> Answer:
    """Two sheets in the hand bear one number: ask whether it is known which of them the room has had."""
    row = _in_hand(desk, say("Scan one of the two sheets first."))
    sheet = describe(desk.session, row, desk.patterns)
    step = f"step={Step.TELL_APART.value}&facts.known="
    choices = (
        Choice(say("I know which one this is: the other gets a new number"), "choose", f"{step}yes"),
        Choice(say("Nobody knows: one gets a new number, both are held"), "choose", f"{step}no"),
    )
    known = (
        say("The room knows it as {plant}.", plant=sheet.plant) if sheet.plant else say("The room knows no name of it.")
    )
    lines = (
        say("Two sheets bear {number}? {known}", number=sheet.shown, known=known),
        say("Keep in your hand the one that fits; lay the other beside it."),
    )
    return Answer("which-one", WORDS["which-one"], lines, "", sheet, choices=choices, carry={"code": row["number"]})


def two_plants_card(desk: Desk) -> Answer:
    """Two plants lie in one fold, or are glued on one sheet: ask what the other one is."""
    row = _in_hand(desk, say("Scan the sheet first."))
    said = shown(row["number"], desk.patterns)
    parted = say("Two plants in the fold of {number}? The second gets a number of its own.", number=said)
    glued = say(
        "Two plants glued on {number}? They are not cut apart: it is noted, and the name is queried.", number=said
    )
    lines = (parted if can_be_divided(standing_of(row).stage) else glued,)
    ask = Ask("facts.plant", say("Name of the other plant; a dash, if nobody knows"), submit=say("It is so"))
    carry = {"code": row["number"], "step": Step.DIVIDE.value}
    return Answer(
        "which-one", WORDS["which-one"], lines, "", describe(desk.session, row, desk.patterns), ask=ask, carry=carry
    )


def same_specimen_card(desk: Desk) -> Answer:
    """Ask for the other sheet of the specimen in the hand."""
    return ask_other_part(desk, _in_hand(desk, say("Scan one sheet of the specimen first.")))


def _in_hand(desk: Desk, words: str) -> RowMapping:
    last = desk.in_hand("last_sheet_id")
    if last is None:
        raise Refused(Refusal("out-of-order", words, say("Then scan this card.")))
    return sheet_by_id(desk.session, last)
