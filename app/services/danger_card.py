"""The card that says a danger of the sheet last scanned: which one is chosen, and the caution travels with it from then on."""

from __future__ import annotations

from app.domain.answer import WORDS, Answer, Choice
from app.domain.errors import Refusal, Refused
from app.domain.hazards import CAUTIONS, DEFERS, HAZARD_WORDS
from app.domain.language import say
from app.domain.numbers import COMMANDS, shown
from app.services.describing import describe
from app.services.desk import THEN_SHEET, Desk, somebody_is_here
from app.services.facts import sheet_by_id
from app.services.hazards import put_hazard

CARD = {"code": COMMANDS["danger"]}


def danger_card(desk: Desk) -> Answer:
    """Ask which danger the sheet last scanned here carries, then write it. Refused: not-signed-in, out-of-order."""
    last, kind = desk.in_hand("last_sheet_id"), str(desk.request.facts.get("danger", ""))
    somebody_is_here(desk, THEN_SHEET)
    if last is None:
        raise Refused(Refusal("out-of-order", say("Scan the sheet first."), say("Then scan this card.")))
    row = sheet_by_id(desk.session, last)
    number = shown(row["number"], desk.patterns)
    if kind not in CAUTIONS:
        choices = tuple(Choice(_said(words), "facts.danger", each) for each, words in HAZARD_WORDS.items())
        line = say("Which danger does {number} carry?", number=number)
        return Answer(
            "which-one",
            WORDS["which-one"],
            (line,),
            say("Keep it closed until you have chosen."),
            choices=choices,
            carry=CARD,
        )
    is_new = put_hazard(desk.session, kind, desk.request.reason, desk.now, desk.by[0].worker_id, sheet_id=row["id"])
    danger = _said(HAZARD_WORDS[kind])
    line = (
        say("{danger}: it travels with the sheet from now on.", danger=danger)
        if is_new
        else say("{danger}: that was known.", danger=danger)
    )
    return Answer("done", say("Written."), (line, DEFERS), CAUTIONS[kind], describe(desk.session, row, desk.patterns))


def _said(words: str) -> str:
    told = say(words)
    return told[0].upper() + told[1:]
