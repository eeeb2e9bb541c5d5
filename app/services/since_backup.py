"""What is said of a slip or a card that was printed after a backup which was put back: the room knows it no more."""

from __future__ import annotations

from dataclasses import replace

from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.reading import Exact
from app.services.codes_given import was_passed_over
from app.services.desk import Desk

# How those who look for a card say that there is none.
NOT_HERE = ("unknown-number", "unknown-station", "no-stack", "no-cabinet")


def lost_sheet(desk: Desk, number: str) -> Refusal | None:
    """Why no sheet here has this number, where it was on a slip already; None for any other number."""
    if not was_passed_over(desk.session, number, desk.patterns):
        return None
    words = say(
        "This number was given out after the backup from which the room was put back: its sheet is not known here."
    )
    return Refusal(
        "unknown-number", words, say("Take it in again at the intake station; tell the manager how far it had come.")
    )


def lost_card(desk: Desk, card: Exact, refused: Refused) -> Refused:
    """The refusal of a card that is not here, said otherwise where it was made already; any other as it is."""
    first = refused.refusals[0]
    if first.code not in NOT_HERE or not was_passed_over(desk.session, card.text, desk.patterns):
        return refused
    words = say("This card was made after the backup from which the room was put back: it is not known here.")
    next_ = say("Lay it aside and print a new one. Its code is not given out again.")
    return Refused(replace(first, words=words, next=next_))


def taken_in_again(desk: Desk, number: str, answer: Answer) -> Answer:
    """The answer to a number that nobody knew, with a line more where its sheet was here before."""
    if answer.kind != "done" or not was_passed_over(desk.session, number, desk.patterns):
        return answer
    line = say("It had this number before the room was put back from a backup: tell the manager how far it had come.")
    return replace(answer, lines=(*answer.lines, line))
