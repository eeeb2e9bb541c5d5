"""The rules of the workflow, one small function each: a refusal, or nothing."""

from __future__ import annotations

from app.domain.attempt import Attempt
from app.domain.calendar import local_day, next_open
from app.domain.errors import Refusal
from app.domain.holds import HOLDS, stopping
from app.domain.stages import STAGES, STEP_WORDS, Stage, Step


def not_closed(attempt: Attempt) -> Refusal | None:
    """A closed sheet takes no more steps."""
    if attempt.sheet.closed_as is None:
        return None
    return Refusal(
        "withdrawn", f"This sheet was closed: {attempt.sheet.closed_as}.", "Put it aside and ask the manager."
    )


def holds_permit(attempt: Attempt) -> Refusal | None:
    """Each kind of hold stops the steps that the table of holds names."""
    kinds = stopping(attempt.sheet.holds, attempt.step)
    if not kinds:
        return None
    said = " and ".join(HOLDS[kind].words for kind in kinds)
    order = STEP_WORDS[attempt.step][0]
    return Refusal(
        "on-hold", f"Hold: {said}. Until it is lifted, do not {order}.", _leave(attempt) + HOLDS[kinds[0]].do
    )


def label_is_here(attempt: Attempt) -> Refusal | None:
    """The final label is with the plant before any glue; a house rule for rooms that glue labels later."""
    if not attempt.house.label_before_glue or attempt.facts.get("label") is not False:
        return None
    return Refusal(
        "no-label", "The final label is not with the plant.", _leave(attempt) + "It is mounted when the label is here."
    )


def is_treated(attempt: Attempt) -> Refusal | None:
    """The house may ask for freezer treatment before mounting and before filing."""
    house = attempt.house
    asked = house.treat_before_filing if attempt.step is Step.FILE else house.treat_before_mounting
    if not asked or attempt.treated:
        return None
    return Refusal(
        "not-treated",
        "It has not been through the freezer, or the treatment no longer holds.",
        "Put it with what waits for the freezer.",
        "not-yet",
    )


def is_signed_off(attempt: Attempt) -> Refusal | None:
    """Where the house asks for sign-offs, one of those who take the step is signed off for it."""
    if not attempt.house.sign_offs or any(attempt.step.value in worker.signed_off for worker in attempt.by):
        return None
    return Refusal(
        "not-signed-off",
        f"Nobody signed in here is signed off to {STEP_WORDS[attempt.step][0]} alone.",
        "Ask somebody who is to sit beside you.",
    )


def on_no_other_table(attempt: Attempt) -> Refusal | None:
    """A sheet is on one table at a time."""
    if not attempt.other_table:
        return None
    return Refusal(
        "on-another-table",
        f"It was taken up at {attempt.other_table}.",
        f"Take it to {attempt.other_table}. If it is already glued, say so here.",
    )


def is_taken_up(attempt: Attempt) -> Refusal | None:
    """Mounting comes after taking up, on the same table."""
    if attempt.sheet.place.table_id is not None or attempt.sheet.stage is not Stage.READY:
        return None
    return Refusal(
        "wrong-stage",
        "It has not been taken up.",
        "If there is no glue on it yet, scan it to take it up. If it is already glued, say so here.",
    )


def feels_dry(attempt: Attempt) -> Refusal | None:
    """A plant is dry when it is brittle, not cool to the touch and does not droop; whoever feels it says so."""
    if attempt.facts.get("dryness") is True:
        return None
    return Refusal(
        "damp",
        "Nobody has said that it is dry: brittle, not cool to the touch, not drooping.",
        "If it is still damp, lay it back to dry.",
        "not-yet",
    )


def has_a_stack(attempt: Attempt) -> Refusal | None:
    """A glued sheet is laid in a stack that is named."""
    if attempt.stack is not None:
        return None
    return Refusal("no-stack", "No stack is named yet.", "Scan the card of the stack that you lay it in.", "which-one")


def weights_are_off_it(attempt: Attempt) -> Refusal | None:
    """Laying in needs the weights off the stack."""
    stack = attempt.stack
    if stack is None or not stack.weights_on:
        return None
    return Refusal(
        "weights-on",
        f"The weights are on {stack.name}.",
        f"Lift them one at a time, scan the card of {stack.name}, then scan the sheet again. Or lay it in another stack.",
        "not-yet",
    )


def has_room(attempt: Attempt) -> Refusal | None:
    """A stack holds as many sheets as there are papers, foams and boards for it."""
    stack = attempt.stack
    if stack is None or stack.sheets < stack.capacity:
        return None
    return Refusal("stack-full", f"{stack.name} is full: {stack.sheets} sheets.", "Lay it in another stack.", "not-yet")


def lay_long_enough(attempt: Attempt) -> Refusal | None:
    """The time that it has really lain under weight is at least the minimum for its adhesive and bulk."""
    clock = attempt.clock
    if clock is None or not clock.remaining or attempt.early:
        return None
    name = attempt.own_stack.name if attempt.own_stack else "its stack"
    facts: dict[str, object] = {
        "remaining": clock.remaining, "ready_at": clock.ready_at,
        "under_weight": clock.under_weight, "minimum": clock.minimum,
    }  # fmt: skip
    if clock.ready_at is None:
        words = f"It needs {{remaining}} more under weight, and the clock of {name} is not running."
        leave = f"Leave it in {name}. Its time goes on when the weights are back on."
    else:
        words = "It needs {remaining} more under weight, and may come out {ready_at}." + _closed_then(attempt)
        leave = f"Leave it in {name}."
    return Refusal("too-early", words, leave, "not-yet", facts)


def own_weights_are_off(attempt: Attempt) -> Refusal | None:
    """Taking out needs the weights off; nobody should lift weights to find out."""
    stack = attempt.own_stack
    if stack is None or not stack.weights_on:
        return None
    is_ready = attempt.clock is None or not attempt.clock.remaining or attempt.early
    words = f"{'Ready. ' if is_ready else ''}The weights are on {stack.name}."
    do = f"Lift the weights of {stack.name}, scan its card, then scan the sheet again." if is_ready else ""
    return Refusal("weights-on", words, do, "not-yet")


def early_by_manager(attempt: Attempt) -> Refusal | None:
    """Nobody but the manager lets a sheet out early."""
    if not attempt.early or attempt.has_right("manager"):
        return None
    return Refusal("manager-only", "Only the manager lets a sheet out before its time.", "Leave it in its stack.")


def early_with_reason(attempt: Attempt) -> Refusal | None:
    """An early release says why."""
    return _reason_needed(attempt) if attempt.early else None


def clock_is_trusted(attempt: Attempt) -> Refusal | None:
    """Nothing is taken out while the computer's clock is in doubt."""
    if not attempt.clock_doubtful:
        return None
    return Refusal(
        "clock-doubtful",
        "The computer's clock may be wrong, so nothing is taken out.",
        "Say first whether the date and the time on the screen are right.",
    )


def has_outcome(attempt: Attempt) -> Refusal | None:
    """An inspection ends with an outcome."""
    if attempt.facts.get("outcome") in OUTCOMES:
        return None
    return Refusal("not-inspected", "How is it?", "Say whether it passes or is to be mended.", "which-one")


def not_own_work(attempt: Attempt) -> Refusal | None:
    """A sheet is passed by somebody who neither mounted nor mended it."""
    if not attempt.house.not_own_work or attempt.facts.get("outcome") != "passed":
        return None
    hands = {*attempt.sheet.mounted_by, *attempt.sheet.mended_by}
    if not hands & {worker.worker_id for worker in attempt.by}:
        return None
    return Refusal(
        "own-work",
        "You mounted or mended this sheet yourself.",
        "Somebody else passes it. Leave it on the inspection shelf.",
    )


def is_passed(attempt: Attempt) -> Refusal | None:
    """Only an inspected and passed sheet is filed."""
    if not attempt.house.inspect_before_filing or attempt.sheet.outcome == "passed":
        return None
    return Refusal(
        "not-inspected", "It has not been inspected and passed.", "Put it on the inspection shelf.", "not-yet"
    )


def specimen_is_complete(attempt: Attempt) -> Refusal | None:
    """All sheets of a specimen are filed together, or the manager says why not."""
    if attempt.specimen_complete or (attempt.has_right("manager") and attempt.reason):
        return None
    return Refusal(
        "specimen-incomplete",
        "Other sheets of this specimen are not ready to be filed.",
        "Keep it until they are. The manager may file it alone and say why.",
        "not-yet",
    )


def has_a_shelf(attempt: Attempt) -> Refusal | None:
    """It must be said which cabinet it goes into."""
    if attempt.shelf is not None:
        return None
    return Refusal("no-cabinet", "Where to?", "Scan the shelf that it goes on.", "which-one")


def cabinet_fits(attempt: Attempt) -> Refusal | None:
    """A cabinet belongs to a stage."""
    shelf = attempt.shelf
    lands = LANDS.get(attempt.step, attempt.sheet.stage)
    if shelf is None or shelf.stage is None or shelf.stage is lands or lands is None:
        return None
    return Refusal(
        "wrong-cabinet",
        f"{shelf.name} is for {STAGES[shelf.stage].words.lower()}, and this sheet {STAGES[lands].stands}.",
        f"Put it in a cabinet for {STAGES[lands].words.lower()}.",
    )


def cabinet_is_clean_for_it(attempt: Attempt) -> Refusal | None:
    """Nothing untreated goes into a clean cabinet, where the house treats at all."""
    shelf, house = attempt.shelf, attempt.house
    treats = house.treat_before_mounting or house.treat_before_filing
    if shelf is None or not shelf.is_clean or attempt.treated or not treats:
        return None
    return Refusal(
        "not-clean", f"{shelf.name} is clean, and this sheet is not treated.", "Keep it out. Tell the manager."
    )


def cabinet_has_room(attempt: Attempt) -> Refusal | None:
    """A shelf holds what the room says it holds."""
    shelf = attempt.shelf
    if shelf is None or shelf.capacity is None or shelf.sheets < shelf.capacity:
        return None
    return Refusal("cabinet-full", f"{shelf.name} is full by the log: {shelf.sheets} sheets.", "Choose another shelf.")


def has_reason(attempt: Attempt) -> Refusal | None:
    """This step says why."""
    return _reason_needed(attempt)


def by_manager(attempt: Attempt) -> Refusal | None:
    """This step is the manager's."""
    if attempt.has_right("manager"):
        return None
    return Refusal("manager-only", f"Only the manager may {STEP_WORDS[attempt.step][0]}.", "Ask the manager.")


def by_trainer(attempt: Attempt) -> Refusal | None:
    """This step is the trainer's or the manager's."""
    if attempt.has_right("manager", "trainer"):
        return None
    return Refusal("manager-only", f"Only a trainer or the manager may {STEP_WORDS[attempt.step][0]}.", "Ask them.")


def _reason_needed(attempt: Attempt) -> Refusal | None:
    if attempt.reason.strip():
        return None
    return Refusal("reason-needed", "A reason is needed; it stays in the log.", "Say why.", "which-one")


def _closed_then(attempt: Attempt) -> str:
    ready = attempt.clock.ready_at if attempt.clock else None
    if ready is None:
        return ""
    day = local_day(ready, attempt.calendar.zone)
    if attempt.calendar.is_open(day):
        return ""
    following = next_open(attempt.calendar, day)
    return f" The room is closed that day; it is open again {_day(following)}." if following else " The room is closed."


def _day(day: object) -> str:
    names = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
    months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    return f"{names[day.weekday()]} {day.day} {months[day.month - 1]}"  # type: ignore[attr-defined]


def _leave(attempt: Attempt) -> str:
    return f"Put it back in {attempt.where}. " if attempt.where and attempt.sheet.stage is Stage.READY else ""


OUTCOMES = ("passed", "to-be-mended", "mended-here")
LANDS = {
    Step.FILE: Stage.FILED,
    Step.PASS_AS_DRY: Stage.READY,
    Step.ARRIVE_DRY: Stage.READY,
    Step.BRING_BACK: Stage.DRY,
}
