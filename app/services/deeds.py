"""Deeds with one sheet from its own page, by trainer and manager: holds, another number, a doubt that is settled."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy.engine import RowMapping

from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.numbers import Kind, shown
from app.domain.reading import Exact, read
from app.domain.stages import Step
from app.services import saying
from app.services.custody import standing_of
from app.services.describing import describe
from app.services.desk import Desk
from app.services.doubts import settle
from app.services.facts import sheet_by_id, sheet_by_number
from app.services.joining import put_together
from app.services.registering import mint_number, renumber
from app.services.sheets import take_step


def sheet_asked(desk: Desk) -> RowMapping:
    """The row of the sheet that the request names, locked; refused with unknown-number when there is none."""
    row = sheet_by_number(desk.session, desk.request.code)
    if row is None:
        raise Refused(Refusal("unknown-number", say("No sheet here has this number."), say("Search for it by name.")))
    return row


def put_hold(desk: Desk, kind: str) -> Answer:
    """Put one hold on a sheet, with a reason; refused when it is there already."""
    return _with_hold(desk, Step.PUT_HOLD, kind)


def lift_hold(desk: Desk, kind: str) -> Answer:
    """Lift one hold of a sheet; refused when it is not there, or not this worker's to lift."""
    return _with_hold(desk, Step.LIFT_HOLD, kind)


def give_number(desk: Desk, text: str) -> Answer:
    """Give a sheet the number that was typed, or the next one of the room when none was.

    Refused: misread-number, number-taken, manager-only, reason-needed.
    """
    row = sheet_asked(desk)
    number = _number(desk, text) if text.strip() else mint_number(desk)
    entry_id = renumber(desk, row, number)
    again = sheet_by_id(desk.session, row["id"])
    answer = saying.done(desk, again, Step.RENUMBER, entry_id, standing_of(again))
    old, new = shown(row["number"], desk.patterns), shown(number, desk.patterns)
    return saying.with_lines(
        answer,
        say(
            "It is {new_number} now. {old_number} still finds it. Put the new number on the sheet.",
            new_number=new,
            old_number=old,
        ),
    )


def join_number(desk: Desk, text: str) -> Answer:
    """Say that the number that was typed is this same sheet. Refused: misread-number, unknown-number, manager-only."""
    return put_together(desk, sheet_asked(desk), _number(desk, text))


def number_typed(desk: Desk, text: str, but: RowMapping) -> RowMapping:
    """The other sheet whose number was typed. Refused: misread-number, unknown-number, number-taken for the sheet itself."""
    other = sheet_by_number(desk.session, _number(desk, text))
    if other is None:
        raise Refused(
            Refusal("unknown-number", say("No sheet here has that other number."), say("Read it off the sheet again."))
        )
    if other["id"] == but["id"]:
        raise Refused(
            Refusal(
                "number-taken", say("That number finds this sheet itself."), say("Type the number of the other one.")
            )
        )
    return other


def settle_doubt(desk: Desk) -> Answer:
    """Say that somebody has looked at what was called in question; refused when nothing is."""
    row = sheet_asked(desk)
    if not desk.request.reason.strip():
        raise Refused(
            Refusal("reason-needed", say("It must be said what you found."), say("Say what you found."), "which-one")
        )
    if not settle(desk, row["id"], desk.request.reason):
        words = say("Nothing of this sheet is called in question any more.")
        raise Refused(Refusal("already-corrected", words, say("Nothing more is to be done.")))
    return Answer(
        "done",
        say("Seen."),
        (say("It is no longer called in question."),),
        "",
        describe(desk.session, row, desk.patterns),
    )


def _with_hold(desk: Desk, step: Step, kind: str) -> Answer:
    row = sheet_asked(desk)
    desk.request = replace(desk.request, facts={**desk.request.facts, "hold": kind})
    return take_step(desk, row, standing_of(row), step)


def _number(desk: Desk, text: str) -> str:
    reading = read(text, desk.patterns)
    if isinstance(reading, Exact) and reading.kind is Kind.SHEET:
        return reading.text
    words = say("That is not a whole number of this room with its check character.")
    raise Refused(Refusal("misread-number", words, say("Type it off the slip once more, or leave it empty.")))
