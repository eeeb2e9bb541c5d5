"""A sheet without a number: what its label says, which sheets it may be, and a new number where it is none of them."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer, Ask, Choice
from app.domain.errors import Refusal, Refused
from app.domain.language import mark, say
from app.domain.moves import refusals
from app.domain.numbers import COMMANDS, shown
from app.domain.stages import Step
from app.services import saying
from app.services.custody import Writing, enter, standing_of
from app.services.describing import describe
from app.services.desk import Desk, somebody_is_here
from app.services.facts import make_attempt, place_words, sheet_by_number
from app.services.in_hand import bulk_meant, lands, shelf_for
from app.services.kept_times import refuse_too_late
from app.services.likely import likely_sheets, plant_meant, record_meant
from app.services.registering import mint_number, register
from app.services.sheets import take_step

CARD = COMMANDS["no-number"]
NEW = "new"
LONGEST_LABEL = 200
_PRESS = mark("If it is glued already, take it to the press and scan the slip there.")


def no_number(desk: Desk) -> Answer:
    """The card, and every answer to what it asks: the label first, then which sheet it is.

    Refused: not-signed-in, misread-number for a choice that was not offered or a room that mints no numbers.
    """
    facts = desk.request.facts
    if "on_label" not in facts:
        return _ask_label()
    label = " ".join(str(facts["on_label"]).split())[:LONGEST_LABEL]
    chosen = str(facts.get("is", ""))
    if not chosen:
        return which_it_may_be(desk, label, desk.in_hand("consignment_id"))
    return (
        give_new_number(desk, label, desk.in_hand("consignment_id")) if chosen == NEW else _is_this(desk, label, chosen)
    )


def give_new_number(desk: Desk, label: str, consignment_id: int | None) -> Answer:
    """Take in a sheet that has no number with the next one of the room, held until somebody knows which it was."""
    somebody_is_here(desk)
    refuse_too_late(desk, Step.TAKE_IN)
    known = {"plant_name_id": plant_meant(desk, label), "record_number": record_meant(label)}
    new = register(desk, mint_number(desk), consignment_id=consignment_id, **known)
    attempt = make_attempt(desk, new, standing_of(new), Step.TAKE_IN)
    if found := refusals(attempt):
        raise Refused(*found)
    # Whether it is fresh, nobody has said: what is damp spoils, so it counts as fresh until it is felt.
    sets = {"fresh": True, "bulk": bulk_meant(desk, "ordinary")}
    why = (
        f"Found without a number. On its label: {label}" if label.strip("-? ") else "Found without a number or a label."
    )
    place = shelf_for(desk, lands(attempt)) if _is_intake(desk) else attempt.sheet.place
    writing = Writing(Step.TAKE_IN, lands(attempt), place, sets,
                      ("number-query",), facts={"no_number": True}, reason=why)  # fmt: skip
    entry_id, stands = enter(desk, new["id"], attempt.sheet, writing)
    desk.keep(last_sheet_id=new["id"], pending=None)
    answer = saying.done(desk, new, Step.TAKE_IN, entry_id, stands)
    said = shown(new["number"], desk.patterns)
    held = say("It is {number} from now on, and held until the manager knows which sheet it was.", number=said)
    return replace(
        answer,
        lines=(*answer.lines, held),
        next=say("Print the slip of {number} and lay it with the sheet. {press}", number=said, press=_PRESS),
        slip=new["number"],
    )


def _ask_label() -> Answer:
    return Answer(
        "which-one", WORDS["which-one"], (say("A sheet without a number."),),
        say(
"Type what its label says: the plant's name, or collector and field number. A dash, if nothing "
"can be read."
),
        ask=Ask("facts.on_label", say("On the label"), submit=say("Look for it")), carry={"code": CARD},
    )  # fmt: skip


def which_it_may_be(desk: Desk, label: str, consignment_id: int | None) -> Answer:
    """Show the sheets that it may be, missing ones first, each a choice; and the choice of a new number."""
    rows = likely_sheets(desk, label, consignment_id)
    choices = [_choice(desk, row) for row in rows]
    line = say("Is it one of these?") if rows else say("No sheet here is like that.")
    choices.append(Choice(say("None of these: give it a number") if rows else say("Give it a number"), "facts.is", NEW))
    next_ = (
        say("Hold the label against them. Missing ones stand first.")
        if rows
        else say("Read the label once more before you do.")
    )
    return Answer("which-one", WORDS["which-one"], (line,), next_, choices=tuple(choices),
                  carry={"code": CARD, "facts.on_label": label})  # fmt: skip


def _choice(desk: Desk, row: RowMapping) -> Choice:
    sheet = describe(desk.session, row, desk.patterns)
    standing = standing_of(row)
    missing = say("not found") if "not-found" in standing.holds else ""
    where = place_words(desk.session, standing.place)
    seen = say("last entry {when}", when=saying.desk_tell(desk)(row["last_at"])) if row["last_at"] else ""
    detail = " · ".join(filter(None, (missing, sheet.detail, where, seen)))
    return Choice(shown(row["number"], desk.patterns), "facts.is", row["number"], sheet.plant, detail)


def _is_this(desk: Desk, label: str, number: str) -> Answer:
    """It is one of those offered: whatever was missing is found, and its slip is printed again."""
    somebody_is_here(desk)
    offered = {row["number"] for row in likely_sheets(desk, label, desk.in_hand("consignment_id"))}
    row = sheet_by_number(desk.session, number)
    if row is None or row["number"] not in offered:
        raise Refused(
            Refusal("misread-number", say("That sheet was not among those offered."), say("Scan the card again."))
        )
    standing = standing_of(row)
    said = shown(row["number"], desk.patterns)
    next_ = say("Print the slip of {number} again and lay it with the sheet. Then scan the slip.", number=said)
    desk.keep(last_sheet_id=row["id"], pending=None)
    if "not-found" in standing.holds:
        desk.request = replace(desk.request, step=Step.LIFT_HOLD, facts={"hold": "not-found", "read_as": number})
        answer = take_step(desk, row, standing, Step.LIFT_HOLD)
        return replace(answer, word=say("Found."), next=next_, slip=row["number"]) if answer.kind == "done" else answer
    where = saying.belongs(standing, place_words(desk.session, standing.place))
    return Answer(
        "done",
        say("Known."),
        (say("It is {number}. {where}", number=said, where=where),),
        next_,
        describe(desk.session, row, desk.patterns),
        slip=row["number"],
    )


def _is_intake(desk: Desk) -> bool:
    """Whether the shelf in hand is one for intake: at a table or the press the sheet lies where it lies."""
    return Step.TAKE_IN in desk.steps
