"""The cards of a cabinet check: beginning one, going on or stopping, and what they say away from one."""

from __future__ import annotations

from typing import Any

from app.domain.answer import WORDS, Answer, Choice
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.services.checks import CARD, LEAVE, THEN_ON, check_name, end_check, leave_check, progress
from app.services.desk import Desk, somebody_is_here


def ask_which_cabinet(desk: Desk) -> Answer:
    """The card "check" away from a check: ask what is to be checked."""
    if desk.station is None:
        raise Refused(
            Refusal("unknown-station", say("A card is scanned at a station."), say("Begin it on the cabinet's page."))
        )
    somebody_is_here(desk, THEN_ON)
    desk.keep(pending={"check_asked_at": desk.now.isoformat()}, last_sheet_id=None)
    next_ = say("Scan the code on the cabinet; or that of one shelf, to check only that.")
    return Answer("which-one", WORDS["which-one"], (say("What is to be checked?"),), next_)


def no_check_here(desk: Desk) -> Answer:
    """The card "cannot be read" away from a check."""
    raise Refused(
        Refusal(
            "out-of-order", say("No cabinet check goes on here."), say("Scan the card “no number” for such a sheet.")
        )
    )


def menu(desk: Desk, check: Any) -> Answer:
    """The card "check" in a check: go on, stop here, or (from the question of "done") say that it is through."""
    said = desk.request.facts.get("check")
    if said == "leave":
        return leave_check(desk, check)
    if said == "all":
        return end_check(desk, check, surely=True)
    lines = (say("Check of {name}: {progress}", name=check_name(desk, check), progress=progress(desk, check)),)
    if said == "on":
        return Answer("done", say("Going on."), lines, say("Scan every sheet that lies there."))
    choices = (Choice(say("Go on with the check"), "facts.check", "on"), LEAVE)
    return Answer("which-one", WORDS["which-one"], lines, say("Or scan on."), choices=choices, carry=CARD)


def help_card(desk: Desk, check: Any) -> Answer:
    """What is done in a check."""
    lines = (
        say("Check of {name}: {progress}", name=check_name(desk, check), progress=progress(desk, check)),
        say("A scan only counts; no sheet is moved by it."),
        say("A shelf's code says where you stand. What cannot be read has a card of its own."),
    )
    return Answer(
        "done",
        say("Help."),
        lines,
        say("Scan every sheet. To stop for now, scan the card “check”; at the end, “done”."),
    )


def nothing_to_undo(desk: Desk, check: Any) -> Answer:
    """The card "undo" in a check."""
    words = say("A count moves nothing, so there is nothing to take back.")
    raise Refused(
        Refusal("not-last", words, say("If a number was typed wrongly, tell the manager before the check is closed."))
    )
