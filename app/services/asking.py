"""What a desk asks about a sheet before a step is judged, and the ways on that it offers after a refusal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer, Ask, Choice
from app.domain.attempt import Attempt
from app.domain.errors import Refusal, Refused
from app.domain.moves import can_be_already_done
from app.domain.sheet import Standing
from app.domain.stages import STEP_WORDS, Stage, Step
from app.services import saying
from app.services.describing import describe
from app.services.desk import Desk
from app.services.facts import make_attempt
from app.services.writers import is_early_to_feel


def feel_it(desk: Desk, row: RowMapping, standing: Standing, step: Step) -> Answer | None:
    """Ask whether a plant feels dry, and once more when that is earlier than usual."""
    facts = desk.request.facts
    if "dryness" not in facts:
        return ask_choice(desk, row, step, "Feel it: brittle, not cool to the touch, not drooping?", _DRYNESS)
    if facts["dryness"] is False:
        raise Refused(Refusal("damp", "It is still damp.", "Lay it back to dry.", "not-yet"))
    attempt = make_attempt(desk, row, standing, step)
    if step is Step.PASS_AS_DRY and is_early_to_feel(desk, attempt) and not facts.get("felt_again"):
        label = {False: "no", True: "yes"}[bool(facts.get("label", True))]
        again = (("It is dry, I felt it again", f"facts.felt_again=yes&facts.dryness=yes&facts.label={label}"),
                 ("Still damp", "facts.dryness=no"))  # fmt: skip
        return ask_choice(desk, row, step, "That is earlier than usual for the way it was dried. Feel it again.", again)
    return None


def ask_choice(desk: Desk, row: RowMapping, step: Step, line: str, options: Sequence[tuple[str, str]]) -> Answer:
    """Ask one thing about a sheet that is answered by choosing."""
    choices = tuple(Choice(label, "choose", value) for label, value in options)
    carry = {"code": row["number"], "step": step.value}
    sheet = describe(desk.session, row, desk.patterns)
    return Answer("which-one", WORDS["which-one"], (line,), "", sheet, step.value, choices=choices, carry=carry)


def which_step(desk: Desk, row: RowMapping, meant: Sequence[Step]) -> Answer:
    """Ask which of several steps is meant."""
    choices = tuple(Choice(STEP_WORDS[step][0].capitalize(), "step", step.value) for step in meant)
    sheet = describe(desk.session, row, desk.patterns)
    return Answer(
        "which-one", WORDS["which-one"], ("What is to be done with it?",), "", sheet, choices=choices,
        carry={"code": row["number"]},
    )  # fmt: skip


def refused_with_ways(desk: Desk, row: RowMapping, attempt: Attempt, found: Sequence[Refusal]) -> Answer:
    """The refusal of a step, with what can be done about it on the spot; a deed already done may be said."""
    codes = {refusal.code for refusal in found}
    if codes in ({"no-cabinet"}, {"no-stack"}):
        desk.keep(pending={"code": row["number"], "step": attempt.step.value})
    deed, step = _already_done(attempt)
    carry = {"code": row["number"], **({"step": step.value} if step else {})}
    if step is not None:
        desk.keep(pending={"code": row["number"], "step": step.value, "offer": True})
    answer = saying.refused(desk, found, row, step=attempt.step, already_done=deed, carry=carry)
    if "reason-needed" in codes:
        answer = replace(answer, ask=Ask("reason", "Why?"), carry={**carry, "step": attempt.step.value})
    return replace(answer, choices=_ways_on(desk, attempt, codes))


def _already_done(attempt: Attempt) -> tuple[str, Step | None]:
    step, stage = attempt.step, attempt.sheet.stage
    if step in (Step.MOUNT, Step.TAKE_UP) and can_be_already_done(Step.MOUNT, stage):
        return "It is already glued", Step.MOUNT
    if step is Step.TAKE_OUT and stage is Stage.UNDER_PRESS:
        return "It is already out", Step.FOUND_OUT
    return "", None


def _ways_on(desk: Desk, attempt: Attempt, codes: set[str]) -> tuple[Choice, ...]:
    """What can be done about a refusal on the spot: name a stack that is open, or say that the label is here."""
    if codes & {"no-stack", "stack-full"}:
        lay = f"step={Step.PUT_UNDER_WEIGHT.value}"
        return tuple(Choice(f"Stack {name}", "choose", f"stack={name}&{lay}") for name in saying.open_stacks(desk))
    if "on-hold" in codes and "label-to-come" in attempt.sheet.holds and attempt.step is Step.TAKE_UP:
        lift = f"step={Step.LIFT_HOLD.value}&facts.hold=label-to-come"
        return (Choice("The label is here", "choose", lift),)
    return ()


_DRYNESS = (
    ("It is dry, the label is with it", "facts.dryness=yes&facts.label=yes"),
    ("It is dry, the label is to come", "facts.dryness=yes&facts.label=no"),
    ("Still damp", "facts.dryness=no"),
)
OUTCOMES = (
    ("Passed", "facts.outcome=passed"),
    ("To be mended", "facts.outcome=to-be-mended"),
    ("Mended here", "facts.outcome=mended-here"),
    ("Glued again", "step=re-glue"),
    ("Back to the table", "step=back-to-table"),
)
