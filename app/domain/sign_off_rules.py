"""Signed off: which steps a worker may do alone, with which sheets, and what is said to one who may not yet."""

from __future__ import annotations

from collections.abc import Iterable

from app.domain.attempt import Attempt
from app.domain.errors import Refusal
from app.domain.language import mark, say
from app.domain.stages import Stage, Step

ORDINARY = "ordinary"
# Nothing marks a sheet as a type yet, so a sign-off for types is kept and asked for of no sheet.
DIFFICULTIES: dict[str, str] = {
    ORDINARY: mark("ordinary sheets"),
    "bulky": mark("bulky or spiny sheets"),
    "historic": mark("old sheets that may be poisoned"),
    "type": mark("types"),
}
# The steps that are taught, each with its deed; what is glued or under weight is written whoever did it.
TAUGHT: dict[Step, str] = {
    Step.PASS_AS_DRY: mark("pass {sheets} as dry"),
    Step.TAKE_UP: mark("take up {sheets}"),
    Step.INSPECT: mark("inspect {sheets}"),
    Step.FILE: mark("file {sheets}"),
}
_IT_IS = {
    "bulky": mark("It is bulky or spiny."),
    "historic": mark("It may have been treated with mercury or arsenic."),
    "type": mark("It is a type."),
}
_SPINY, _POISONED = "spines", "historic"


def difficulties_of(bulk: str, hazards: Iterable[str]) -> tuple[str, ...]:
    """What makes a sheet harder than others, by its bulk and its hazards; `ordinary` when nothing does."""
    said = set(hazards)
    found = [
        name for name, holds in (("bulky", bulk == "bulky" or _SPINY in said), ("historic", _POISONED in said)) if holds
    ]
    return tuple(found) or (ORDINARY,)


def sheets_words(step: Step, difficulty: str) -> str:
    """A step with sheets of one difficulty, as an order: "take up bulky or spiny sheets"."""
    return say(TAUGHT[step], sheets=say(DIFFICULTIES[difficulty]))


def lacking(attempt: Attempt) -> tuple[str, ...]:
    """What of the sheet's difficulty nobody there was signed off for when it happened; empty where somebody may."""
    there = (*attempt.by, *attempt.beside)
    return tuple(
        difficulty for difficulty in attempt.difficulties
        if not any(worker.may_alone(attempt.step, difficulty, attempt.happened_at) for worker in there)
    )  # fmt: skip


def is_signed_off(attempt: Attempt) -> Refusal | None:
    """Where the house asks for sign-offs, somebody there is signed off for the step and for sheets like this one.

    Two who work together are not alone, nor is a learner beside somebody: one of the two is enough.
    """
    missing = lacking(attempt) if attempt.house.sign_offs else ()
    if not missing:
        return None
    marks = [say(_IT_IS[difficulty]) for difficulty in missing if difficulty in _IT_IS]
    deed = say(TAUGHT[attempt.step], sheets=say("such sheets") if marks else say("sheets"))
    words = say("Nobody signed in here is signed off to {deed} alone.", deed=deed)
    return Refusal("not-signed-off", " ".join((*marks, words)), f"{_leave(attempt)} {_ask(attempt)}")


def _leave(attempt: Attempt) -> str:
    if attempt.sheet.stage is Stage.READY:
        return say("Put it back in {where}.", where=attempt.where) if attempt.where else say("Put it back.")
    return say("Lay it back to dry.") if attempt.step is Step.PASS_AS_DRY else say("Leave it where it was.")


def _ask(attempt: Attempt) -> str:
    if not attempt.might_help:
        return say("Nobody in this room is signed off for that yet: tell the trainer.")
    return say("Ask {names} to sit beside you.", names=say(" or ").join(attempt.might_help))
