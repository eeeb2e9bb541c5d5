"""After a sheet was taken in at a station: how it came, said with one touch."""

from __future__ import annotations

from dataclasses import replace

from app.domain.answer import Answer, Choice
from app.domain.language import mark
from app.domain.stages import Step
from app.services.desk import Desk

WAYS = (
    (Step.LAY_TO_DRY, mark("It is fresh: lay it to dry now")),
    (Step.ARRIVE_DRY, mark("It came dry")),
    (Step.ARRIVE_MOUNTED, mark("It came mounted")),
)


def ask_how_it_came(desk: Desk, number: str, answer: Answer) -> Answer:
    """The answer to a sheet that was taken in here, with what may be said of it next; nothing needs to be."""
    if answer.step != Step.TAKE_IN or desk.station is None:
        return answer
    choices = tuple(Choice(words, "step", step.value) for step, words in WAYS if step in desk.steps)
    return replace(answer, choices=choices, carry={"code": number}) if choices else answer
