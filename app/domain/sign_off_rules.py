"""Signed off: which steps a worker may do alone, with which sheets, and what is said to one who may not yet."""

from __future__ import annotations

from collections.abc import Iterable

from app.domain.attempt import Attempt
from app.domain.errors import Refusal
from app.domain.stages import Stage, Step

ORDINARY = "ordinary"
# Nothing marks a sheet as a type yet, so a sign-off for types is kept and asked for of no sheet.
DIFFICULTIES: dict[str, str] = {
    ORDINARY: "ordinary sheets",
    "bulky": "bulky or spiny sheets",
    "historic": "old sheets that may be poisoned",
    "type": "types",
}
# The steps that are taught, each with its deed; what is glued or under weight is written whoever did it.
TAUGHT: dict[Step, str] = {
    Step.PASS_AS_DRY: "pass {sheets} as dry",
    Step.TAKE_UP: "take up {sheets}",
    Step.INSPECT: "inspect {sheets}",
    Step.FILE: "file {sheets}",
}
_IT_IS = {
    "bulky": "It is bulky or spiny. ",
    "historic": "It may have been treated with mercury or arsenic. ",
    "type": "It is a type. ",
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
    return TAUGHT[step].format(sheets=DIFFICULTIES[difficulty])


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
    marks = "".join(_IT_IS.get(difficulty, "") for difficulty in missing)
    deed = TAUGHT[attempt.step].format(sheets="such sheets" if marks else "sheets")
    words = f"{marks}Nobody signed in here is signed off to {deed} alone."
    return Refusal("not-signed-off", words, f"{_leave(attempt)} {_ask(attempt)}")


def _leave(attempt: Attempt) -> str:
    if attempt.sheet.stage is Stage.READY:
        return f"Put it back in {attempt.where}." if attempt.where else "Put it back."
    return "Lay it back to dry." if attempt.step is Step.PASS_AS_DRY else "Leave it where it was."


def _ask(attempt: Attempt) -> str:
    if not attempt.might_help:
        return "Nobody in this room is signed off for that yet: tell the trainer."
    return f"Ask {' or '.join(attempt.might_help)} to sit beside you."
