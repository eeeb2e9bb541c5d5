"""The rules of the workflow, one small function each: a refusal, or nothing."""

from __future__ import annotations

from app.domain.attempt import Attempt
from app.domain.consigned import why_closed
from app.domain.errors import Refusal
from app.domain.findings import MENDED, PASSED, TO_MEND
from app.domain.holds import HOLDS, SETTLED_BY_MANAGER, stopping
from app.domain.language import say
from app.domain.stages import STEP_WORDS, Stage, Step

# How a look may end that is an inspection; glued again and back to the table are steps of their own.
OUTCOMES = (PASSED, TO_MEND, MENDED)


def not_closed(attempt: Attempt) -> Refusal | None:
    """A closed sheet takes no more steps, but that it comes again."""
    if attempt.sheet.closed_as is None or attempt.step is Step.COME_AGAIN:
        return None
    return Refusal(
        "withdrawn",
        say("This sheet was closed: {why}.", why=why_closed(attempt.sheet.closed_as)),
        say("Put it aside and ask the manager."),
    )


def was_closed(attempt: Attempt) -> Refusal | None:
    """Only what was withdrawn comes again."""
    if attempt.sheet.closed_as is not None:
        return None
    return Refusal(
        "wrong-stage", say("It was never withdrawn, so it is still here by the log."), say("Look at its page.")
    )


def holds_permit(attempt: Attempt) -> Refusal | None:
    """Each kind of hold stops the steps that the table of holds names."""
    kinds = stopping(attempt.sheet.holds, attempt.step)
    if not kinds:
        return None
    held = say(" and ").join(say(HOLDS[kind].words) for kind in kinds)
    deed = STEP_WORDS[attempt.step][1]
    return Refusal(
        "on-hold",
        say("Hold: {holds}. Until it is lifted, it may not be {deed}.", holds=held, deed=deed),
        _back(attempt, say(HOLDS[kinds[0]].do)),
    )


def label_is_here(attempt: Attempt) -> Refusal | None:
    """The final label is with the plant before any glue; a house rule for rooms that glue labels later."""
    if not attempt.house.label_before_glue or attempt.facts.get("label") is not False:
        return None
    return Refusal(
        "no-label",
        say("The final label is not with the plant."),
        _back(attempt, say("It is mounted when the label is here.")),
    )


def is_treated(attempt: Attempt) -> Refusal | None:
    """The house may ask for freezer treatment before mounting and before filing."""
    house = attempt.house
    asked = house.treat_before_filing if attempt.step is Step.FILE else house.treat_before_mounting
    if not asked or attempt.treated:
        return None
    return Refusal(
        "not-treated",
        say("It has not been through the freezer, or the treatment no longer holds."),
        say("Put it with what waits for the freezer."),
        "not-yet",
    )


def on_no_other_table(attempt: Attempt) -> Refusal | None:
    """A sheet is on one table at a time."""
    if not attempt.other_table:
        return None
    return Refusal(
        "on-another-table",
        say("It was taken up at {table}.", table=attempt.other_table),
        say("Take it to {table}. If it is already glued, say so here.", table=attempt.other_table),
    )


def at_a_table(attempt: Attempt) -> Refusal | None:
    """A sheet is taken up at a table, and once."""
    if attempt.table_id is None:
        return Refusal("unknown-station", say("No table is named."), say("Say at which table it is taken up."))
    if attempt.sheet.place.table_id != attempt.table_id:
        return None
    return Refusal("wrong-stage", say("It is taken up here already."), say("Scan it when it is mounted."), "not-yet")


def is_taken_up(attempt: Attempt) -> Refusal | None:
    """Mounting comes after taking up, on the same table."""
    if attempt.sheet.place.table_id is not None or attempt.sheet.stage is not Stage.READY:
        return None
    return Refusal(
        "wrong-stage",
        say("It has not been taken up."),
        say("If there is no glue on it yet, scan it to take it up. If it is already glued, say so here."),
    )


def feels_dry(attempt: Attempt) -> Refusal | None:
    """A plant is dry when it is brittle, not cool to the touch and does not droop; whoever feels it says so."""
    if attempt.facts.get("dryness") is True:
        return None
    return Refusal(
        "damp",
        say("Nobody has said that it is dry: brittle, not cool to the touch, not drooping."),
        say("If it is still damp, lay it back to dry."),
        "not-yet",
    )


def has_outcome(attempt: Attempt) -> Refusal | None:
    """An inspection ends with an outcome."""
    if attempt.facts.get("outcome") in OUTCOMES:
        return None
    return Refusal("not-inspected", say("How is it?"), say("Say whether it passes or is to be mended."), "which-one")


def not_own_work(attempt: Attempt) -> Refusal | None:
    """A sheet is passed by somebody who neither mounted nor mended it."""
    if not attempt.house.not_own_work or attempt.facts.get("outcome") != "passed":
        return None
    hands = {*attempt.sheet.mounted_by, *attempt.sheet.mended_by}
    if not hands & {worker.worker_id for worker in attempt.by}:
        return None
    return Refusal(
        "own-work",
        say("You mounted or mended this sheet yourself."),
        say("Somebody else passes it. Leave it on the inspection shelf."),
    )


def is_passed(attempt: Attempt) -> Refusal | None:
    """Only an inspected and passed sheet is filed."""
    if not attempt.house.inspect_before_filing or attempt.sheet.outcome == "passed":
        return None
    return Refusal(
        "not-inspected", say("It has not been inspected and passed."), say("Put it on the inspection shelf."), "not-yet"
    )


def specimen_is_complete(attempt: Attempt) -> Refusal | None:
    """All sheets of a specimen are filed together, or the manager says why not."""
    if attempt.specimen_complete or (attempt.has_right("manager") and attempt.reason):
        return None
    return Refusal(
        "specimen-incomplete",
        say("Other sheets of this specimen are not ready to be filed."),
        say("Keep it until they are. The manager may file it alone and say why."),
        "not-yet",
    )


def names_a_hold(attempt: Attempt) -> Refusal | None:
    """A hold is put or lifted by its kind."""
    if str(attempt.facts.get("hold")) in HOLDS:
        return None
    return Refusal("on-hold", say("Which hold?"), say("Say which kind of hold is meant."), "which-one")


def may_lift(attempt: Attempt) -> Refusal | None:
    """What the manager has to settle, nobody else lifts."""
    if str(attempt.facts.get("hold")) not in SETTLED_BY_MANAGER or attempt.has_right("manager"):
        return None
    return Refusal("manager-only", say("Only the manager lifts this hold."), say("Ask the manager."))


def has_reason(attempt: Attempt) -> Refusal | None:
    """This step says why."""
    return reason_needed(attempt)


def is_glued(attempt: Attempt) -> Refusal | None:
    """Only what has been glued has an adhesive to put right."""
    if attempt.sheet.glued_at is not None:
        return None
    return Refusal(
        "wrong-stage", say("It has not been glued, so there is no adhesive to put right."), say("Look at its log.")
    )


def is_held_so(attempt: Attempt) -> Refusal | None:
    """Only a hold that is there can be lifted."""
    kind = str(attempt.facts.get("hold", ""))
    if kind in attempt.sheet.holds or kind not in HOLDS:
        return None
    return Refusal(
        "on-hold",
        say("It has no hold “{hold}”.", hold=HOLDS[kind].words),
        say("Look at its page to see what holds it."),
    )


def is_not_held_so(attempt: Attempt) -> Refusal | None:
    """A hold of one kind is put once."""
    kind = str(attempt.facts.get("hold", ""))
    if kind not in attempt.sheet.holds:
        return None
    return Refusal(
        "on-hold", say("It is held already: {hold}.", hold=HOLDS[kind].words), say("Nothing more is to be done.")
    )


def by_manager(attempt: Attempt) -> Refusal | None:
    """This step is the manager's."""
    if attempt.has_right("manager"):
        return None
    return Refusal(
        "manager-only",
        say("Only the manager may {deed}.", deed=STEP_WORDS[attempt.step][0]),
        say("Ask the manager."),
    )


def by_trainer(attempt: Attempt) -> Refusal | None:
    """This step is the trainer's or the manager's."""
    if attempt.has_right("manager", "trainer"):
        return None
    return Refusal(
        "manager-only",
        say("Only a trainer or the manager may {deed}.", deed=STEP_WORDS[attempt.step][0]),
        say("Ask them."),
    )


def reason_needed(attempt: Attempt) -> Refusal | None:
    """A reason is given."""
    if attempt.reason.strip():
        return None
    return Refusal("reason-needed", say("A reason is needed; it stays in the log."), say("Say why."), "which-one")


def _back(attempt: Attempt, then: str) -> str:
    if not attempt.where or attempt.sheet.stage is not Stage.READY:
        return then
    return f"{say('Put it back in {where}.', where=attempt.where)} {then}"
