"""What is said when an entry was taken back."""

from __future__ import annotations

from typing import Any

from app.domain.answer import Answer
from app.domain.language import say
from app.domain.sheet import Standing
from app.domain.stages import STEP_WORDS, Step
from app.services import saying
from app.services.custody import standing_of
from app.services.describing import describe
from app.services.desk import Desk
from app.services.facts import place_words, sheet_by_id, stack_by_id
from app.services.freezing_undone import thing_undone


def undone(desk: Desk, entry: Any, count: int) -> Answer:
    """The answer after an entry, and so many with it, was taken back: what it was, and how its subject stands now."""
    deed = STEP_WORDS[Step(entry.step)][1]
    taken = (
        say("Taken back: {deed}, {count} entries.", deed=deed, count=count)
        if count > 1
        else say("Taken back: {deed}.", deed=deed)
    )
    if entry.subject_kind in ("load", "cabinet"):
        return thing_undone(desk, entry.subject_kind, entry.subject_id, taken)
    if entry.subject_kind != "sheet":
        return Answer(
            "done",
            say("Undone."),
            (taken, _weights_said(desk, entry.subject_id)),
            entry=desk.written[-1],
        )
    row = sheet_by_id(desk.session, entry.subject_id)
    standing: Standing = standing_of(row)
    where = saying.belongs(standing, place_words(desk.session, standing.place))
    sheet = describe(desk.session, row, desk.patterns)
    return Answer("done", say("Undone."), (taken,), where, sheet, entry=desk.written[-1])


def _weights_said(desk: Desk, stack_id: int) -> str:
    stack = stack_by_id(desk.session, stack_id)
    if stack["weights_on"]:
        return say("By the log the weights of {name} are on.", name=stack["name"])
    return say("By the log the weights of {name} are off.", name=stack["name"])
