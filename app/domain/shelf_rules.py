"""The rules of the shelves: a cabinet belongs to a stage, may be clean, and may be full."""

from __future__ import annotations

from app.domain.attempt import Attempt
from app.domain.errors import Refusal
from app.domain.language import say, say_n
from app.domain.stages import STAGES, Stage, Step

LANDS = {
    Step.FILE: Stage.FILED,
    Step.PASS_AS_DRY: Stage.READY,
    Step.ARRIVE_DRY: Stage.READY,
    Step.BRING_BACK: Stage.DRY,
}


def has_a_shelf(attempt: Attempt) -> Refusal | None:
    """It must be said which cabinet it goes into."""
    if attempt.shelf is not None:
        return None
    return Refusal("no-cabinet", say("Where to?"), say("Scan the shelf that it goes on."), "which-one")


def cabinet_fits(attempt: Attempt) -> Refusal | None:
    """A cabinet belongs to a stage."""
    shelf = attempt.shelf
    lands = LANDS.get(attempt.step, attempt.sheet.stage)
    if shelf is None or shelf.stage is None or shelf.stage is lands or lands is None:
        return None
    return Refusal(
        "wrong-cabinet",
        say(
            "{shelf} is for {stage}, and this sheet {stands}.",
            shelf=shelf.name,
            stage=say(STAGES[shelf.stage].words).lower(),
            stands=STAGES[lands].stands,
        ),
        say("Put it in a cabinet for {stage}.", stage=say(STAGES[lands].words).lower()),
    )


def cabinet_is_clean_for_it(attempt: Attempt) -> Refusal | None:
    """Nothing untreated goes into a clean cabinet, where the house treats at all."""
    shelf, house = attempt.shelf, attempt.house
    treats = house.treat_before_mounting or house.treat_before_filing
    if shelf is None or not shelf.is_clean or attempt.treated or not treats:
        return None
    return Refusal(
        "not-clean",
        say("{shelf} is clean, and this sheet is not treated.", shelf=shelf.name),
        say("Keep it out. Tell the manager."),
    )


def cabinet_has_room(attempt: Attempt) -> Refusal | None:
    """A shelf holds what the room says it holds."""
    shelf = attempt.shelf
    if shelf is None or shelf.capacity is None or shelf.sheets < shelf.capacity:
        return None
    return Refusal(
        "cabinet-full",
        say_n(
            "{shelf} is full by the log: {n} sheet.",
            "{shelf} is full by the log: {n} sheets.",
            shelf.sheets,
            shelf=shelf.name,
        ),
        say("Choose another shelf."),
    )
