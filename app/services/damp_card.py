"""The card for a plant that is found damp after all: back to dry it goes, from wherever it had been passed too soon."""

from __future__ import annotations

from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.moves import NEXT_BY_STAGE
from app.domain.stages import Stage, Step
from app.services.custody import standing_of
from app.services.desk import Desk
from app.services.facts import sheet_by_id
from app.services.sheets import take_step


def damp_card(desk: Desk) -> Answer:
    """Lay the sheet that was scanned last to dry. Refused: out-of-order where none was, wrong-stage for one that is glued or
    dries already, and where nothing is laid to dry.
    """
    last = desk.in_hand("last_sheet_id")
    if last is None:
        raise Refused(Refusal("out-of-order", say("Scan the sheet first."), say("Then scan this card.")))
    if Step.LAY_TO_DRY not in desk.steps:
        words = say("Nothing is laid to dry at this place.")
        raise Refused(Refusal("wrong-stage", words, say("Take it to where plants are dried, and scan it there.")))
    row = sheet_by_id(desk.session, last)
    if row["stage"] == Stage.DRYING:
        raise Refused(
            Refusal(
                "wrong-stage",
                say("It is drying already."),
                say("Leave it there. {next_deed}", next_deed=NEXT_BY_STAGE[Stage.DRYING]),
                "not-yet",
            )
        )
    return take_step(desk, row, standing_of(row), Step.LAY_TO_DRY)
