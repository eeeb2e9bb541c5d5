"""A sheet that came to stand nowhere, because the shelf in hand is for another stage: it is said, and it waits for its shelf."""

from __future__ import annotations

from dataclasses import replace

from app.domain.answer import Answer
from app.domain.holds import HOLDS
from app.domain.language import say
from app.domain.sheet import NOWHERE, Standing
from app.domain.stages import STAGES, Step
from app.services.desk import Desk
from app.services.facts import shelf_facts

# Steps that write the shelf in hand as the place of the sheet, and ask no rule whether it fits.
ONTO_WHAT_IS_IN_HAND = frozenset({
    Step.TAKE_IN, Step.ARRIVE_MOUNTED, Step.TAKE_OUT, Step.INSPECT, Step.BACK_TO_TABLE, Step.BRING_BACK, Step.GOES_UNMOUNTED,
    Step.COME_AGAIN,
})  # fmt: skip


def if_unplaced(desk: Desk, number: str, step: Step, now: Standing, answer: Answer) -> Answer:
    """The answer to a step that was taken, with why no place was written, where none was; the next shelf that is scanned is its."""
    if step not in ONTO_WHAT_IS_IN_HAND or now.place != NOWHERE or now.stage is None:
        return answer
    shelf = shelf_facts(desk.session, desk.in_hand("cabinet_id"), desk.in_hand("shelf_id"))
    if shelf is None or shelf.stage in (None, now.stage):
        return answer
    named = {
        "shelf": shelf.name,
        "stage": say(STAGES[shelf.stage].words).lower(),
        "own": say(STAGES[now.stage].words).lower(),
    }
    if any(Step.SHELVE in HOLDS[hold].stops for hold in now.holds):
        words = say("{shelf} is for {stage}, so no place was written.", **named)
    else:
        desk.keep(pending={"code": number, "step": Step.SHELVE.value})
        words = say(
            "{shelf} is for {stage}, so no place was written: put it on a shelf for {own}, and scan that shelf.",
            **named,
        )
    return replace(answer, lines=(*answer.lines, words))
