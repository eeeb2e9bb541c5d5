"""What a desk asks about a sheet before a step is judged, and the ways on that it offers after a refusal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer, Ask, Choice
from app.domain.attempt import Attempt
from app.domain.drying import feel_again_at
from app.domain.errors import Refusal, Refused
from app.domain.language import mark, say
from app.domain.leaving import BACK, OTHER, back_reason
from app.domain.moves import can_be_already_done
from app.domain.pests import BAGGED
from app.domain.sheet import Place, Standing
from app.domain.stages import STEP_WORDS, Stage, Step
from app.services import saying
from app.services.describing import describe
from app.services.desk import Desk
from app.services.drying import bundle_by_id
from app.services.facts import make_attempt, place_words
from app.services.press_pile import above_it
from app.services.press_places import which_stack
from app.services.writers import is_early_to_feel


def feel_it(desk: Desk, row: RowMapping, standing: Standing, step: Step) -> Answer | None:
    """Ask whether a plant feels dry, and once more when that is earlier than usual."""
    facts = desk.request.facts
    if "dryness" not in facts:
        return ask_choice(desk, row, step, say("Feel it: brittle, not cool to the touch, not drooping?"), _DRYNESS)
    if facts["dryness"] is False:
        raise Refused(_still_damp(desk, standing))
    attempt = make_attempt(desk, row, standing, step)
    if step is Step.PASS_AS_DRY and is_early_to_feel(desk, attempt) and not facts.get("felt_again"):
        label = {False: "no", True: "yes"}[bool(facts.get("label", True))]
        again = ((say("It is dry, I felt it again"), f"facts.felt_again=yes&facts.dryness=yes&facts.label={label}"),
                 (say("Still damp"), "facts.dryness=no"))  # fmt: skip
        return ask_choice(
            desk, row, step, say("That is earlier than usual for the way it was dried. Feel it again."), again
        )
    return None


def _still_damp(desk: Desk, standing: Standing) -> Refusal:
    """Nothing is written of a plant that stays where it dries; one that came damp is laid to dry."""
    if standing.stage is not Stage.DRYING:
        return Refusal(
            "damp", say("It is still damp."), say("Lay it to dry: scan it once more, and say so."), "not-yet"
        )
    again = feel_again_at(desk.happened_at, standing.method, desk.house)
    next_ = say("Lay it back to dry in fresh papers, and say that they were changed. Feel it again {again}.")
    return Refusal("damp", say("It is still damp."), next_, "not-yet", {"again": again})


def damp_after_all(desk: Desk, row: RowMapping, standing: Standing, meant: Sequence[Step]) -> Answer | None:
    """Ask before a bare scan takes a sheet that was passed as dry back to the dryer: it may only have been looked up."""
    is_back = standing.stage is Stage.READY and standing.closed_as is None and list(meant) == [Step.LAY_TO_DRY]
    if desk.request.step is not None or not is_back:
        return None
    back = _step_choice(desk, row, Step.LAY_TO_DRY)
    return which_of(desk, row, say("It is ready for mounting. Is the plant damp after all?"), (back,))


def ask_choice(desk: Desk, row: RowMapping, step: Step, line: str, options: Sequence[tuple[str, str]]) -> Answer:
    """Ask one thing about a sheet that is answered by choosing."""
    choices = tuple(Choice(label, "choose", value) for label, value in options)
    carry = {"code": row["number"], "step": step.value}
    sheet = describe(desk.session, row, desk.patterns)
    return Answer("which-one", WORDS["which-one"], (line,), "", sheet, step.value, choices=choices, carry=carry)


def which_step(desk: Desk, row: RowMapping, meant: Sequence[Step]) -> Answer:
    """Ask which of several steps is meant; what is felt of a plant that dries answers it in the same breath."""
    line, choices = say("What is to be done with it?"), tuple(_step_choice(desk, row, step) for step in meant)
    if set(meant) == {Step.PAPERS_CHANGED, Step.PASS_AS_DRY}:
        line = say("Were its papers changed, or is it dry: brittle, not cool to the touch, not drooping?")
        felt = tuple(Choice(words, "choose", f"step={Step.PASS_AS_DRY.value}&{value}") for words, value in _DRYNESS)
        choices = (*_into_bundle(desk, row), Choice(say("Papers changed"), "step", Step.PAPERS_CHANGED.value), *felt)
    return which_of(desk, row, line, choices)


def which_of(desk: Desk, row: RowMapping, line: str, choices: tuple[Choice, ...]) -> Answer:
    """Ask one thing of a sheet, each answer a step of its own."""
    sheet = describe(desk.session, row, desk.patterns)
    return Answer(
        "which-one", WORDS["which-one"], (line,), "", sheet, choices=choices, carry={"code": row["number"]},
    )  # fmt: skip


def _into_bundle(desk: Desk, row: RowMapping) -> tuple[Choice, ...]:
    """Where another bundle's card was scanned before, the sheet may be meant for that one."""
    bundle_id = desk.in_hand("bundle_id")
    if bundle_id is None or bundle_id == row["bundle_id"]:
        return ()
    name = bundle_by_id(desk.session, bundle_id)["name"]
    return (Choice(say("It goes into {name}", name=name), "step", Step.TIE.value),)


def _step_choice(desk: Desk, row: RowMapping, step: Step) -> Choice:
    """A step as a button; with a sheet that lies in one stack while another is open, it says which of the two it is about."""
    words, own, stack_id = say(STEP_WORDS[step][0]).capitalize(), row["stack_id"], desk.in_hand("stack_id")
    if own is not None and step is Step.TAKE_OUT:
        words = say("Take it out of {stack}", stack=place_words(desk.session, Place(stack_id=own)))
    if own is not None and step is Step.PUT_UNDER_WEIGHT and stack_id is not None:
        words = say("Move it to {stack}", stack=place_words(desk.session, Place(stack_id=stack_id)))
    return Choice(words, "step", step.value)


def refused_with_ways(desk: Desk, row: RowMapping, attempt: Attempt, found: Sequence[Refusal]) -> Answer:
    """The refusal of a step, with what can be done about it on the spot; a deed already done may be said."""
    codes = {refusal.code for refusal in found}
    if codes in ({"no-cabinet"}, {"no-stack"}, {"no-load"}) or _to_be_laid_in(attempt, codes):
        desk.keep(pending={"code": row["number"], "step": attempt.step.value, **_into(attempt, codes)})
    deed, step = _already_done(attempt)
    carry = {"code": row["number"], **({"step": step.value} if step else {})}
    if step is not None:
        desk.keep(pending={"code": row["number"], "step": step.value, "offer": True})
    answer = saying.refused(desk, found, row, step=attempt.step, already_done=deed, carry=carry)
    if "reason-needed" in codes:
        answer = replace(answer, ask=Ask("reason", say("Why?")), carry={**carry, "step": attempt.step.value})
    if attempt.step is Step.BRING_BACK and codes == {"reason-needed"} and attempt.where:
        next_ = say("Put it back there; or say why it comes back to be worked on.")
        answer = replace(answer, lines=(say("It is filed in {where}.", where=attempt.where), *answer.lines), next=next_)
    lines = (*answer.lines, *_to_lift(desk, row, attempt, codes))
    return replace(answer, lines=lines, choices=_ways_on(desk, attempt, codes))


def _to_lift(desk: Desk, row: RowMapping, attempt: Attempt, codes: set[str]) -> tuple[str, ...]:
    """What lies above a sheet that is ready and must go back: said before anybody lifts the weights."""
    if attempt.step is not Step.TAKE_OUT or codes != {"weights-on"} or attempt.own_stack is None:
        return ()
    line = above_it(desk, attempt.own_stack.stack_id, row["number"])
    return (line,) if line else ()


def _to_be_laid_in(attempt: Attempt, codes: set[str]) -> bool:
    return attempt.stack is not None and codes in ({"stack-full"}, {"weights-on"})


def _into(attempt: Attempt, codes: set[str]) -> dict[str, int]:
    """The one stack that a glued sheet waits for: it goes in as soon as the weights are off that one, and in no other by itself."""
    return {"into": attempt.stack.stack_id} if attempt.stack is not None and codes == {"weights-on"} else {}


def _already_done(attempt: Attempt) -> tuple[str, Step | None]:
    step, stage = attempt.step, attempt.sheet.stage
    if step in (Step.MOUNT, Step.TAKE_UP) and can_be_already_done(Step.MOUNT, stage):
        return say("It is already glued"), Step.MOUNT
    if step is Step.TAKE_OUT and stage is Stage.UNDER_PRESS:
        return say("It is already out"), Step.FOUND_OUT
    return "", None


def _ways_on(desk: Desk, attempt: Attempt, codes: set[str]) -> tuple[Choice, ...]:
    """What can be done about a refusal on the spot: name a stack that is open, or say that the label is here."""
    if attempt.step is Step.PUT_UNDER_WEIGHT and codes & {"no-stack", "stack-full", "weights-on"}:
        return which_stack(desk, attempt, codes)
    if attempt.step is Step.FILE and codes == {"no-cabinet"} and Step.INSPECT in desk.steps:
        return (Choice(say("Look at it once more first"), "step", Step.INSPECT.value),)
    if codes == {"withdrawn"} and attempt.has_right("manager"):
        return _COMES_AGAIN
    if attempt.step is Step.BRING_BACK and codes == {"reason-needed"}:
        return _reasons_to_come_back()
    if "on-hold" in codes and "label-to-come" in attempt.sheet.holds and attempt.step in (Step.TAKE_UP, Step.FILE):
        lift = f"step={Step.LIFT_HOLD.value}&facts.hold=label-to-come"
        return (Choice(say("The label is here"), "choose", lift),)
    return ()


def _reasons_to_come_back() -> tuple[Choice, ...]:
    """The usual reasons as buttons: said in the language of whoever presses them, kept in the log's own."""
    told = {why: say(words) for why, words in BACK.items() if why != OTHER}
    return tuple(Choice(words[0].upper() + words[1:], "reason", back_reason(why, "")) for why, words in told.items())


_DRYNESS = (
    (mark("It is dry, the label is with it"), "facts.dryness=yes&facts.label=yes"),
    (mark("It is dry, the label is to come"), "facts.dryness=yes&facts.label=no"),
    (mark("Still damp"), "facts.dryness=no"),
)
_COMES_AGAIN = tuple(
    Choice(words, "choose", f"step={Step.COME_AGAIN.value}&facts.comes_as={value}")
    for words, value in ((mark("It came again, mounted"), "mounted"), (mark("It came again, not mounted"), "loose"))
)
OUTCOMES = (
    (mark("Passed"), "facts.outcome=passed"),
    (mark("To be mended"), "facts.outcome=to-be-mended"),
    (mark("Mended here"), "facts.outcome=mended-here"),
    (mark("Glued again"), "step=re-glue"),
    (mark("Back to the table"), "step=back-to-table"),
    (mark("Stop, bag it: a pest"), f"facts.outcome={BAGGED}"),
)
