"""The workflow as one table: where each step leads from and to, and the rules that it asks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from app.domain import away_rules, freezing_rules, own_work, press_rules, rules, shelf_rules, sign_off_rules, suspected
from app.domain.attempt import Attempt
from app.domain.errors import Refusal
from app.domain.language import mark, say
from app.domain.stages import STAGES, STEP_WORDS, Stage, Step

Rule = Callable[[Attempt], Refusal | None]

STAYS = None
UNKNOWN = None
KNOWN: tuple[Stage | None, ...] = tuple(Stage)


@dataclass(frozen=True, slots=True)
class Move:
    """One row of the workflow.

    `starts` are the stages it leads from, `to` the stage it leads to (None: the sheet stays in its stage).
    `already` are the stages from which the deed is written even though the rules would not have allowed it,
    because it is already done. `by_bundle`: one scan of a bundle's card may do it for all that lies in it.
    """

    starts: tuple[Stage | None, ...]
    to: Stage | None
    rules: tuple[Rule, ...] = ()
    already: tuple[Stage | None, ...] = ()
    by_bundle: bool = False


def refusals(attempt: Attempt) -> list[Refusal]:
    """Every reason why this step may not be taken now; empty when it may. Every rule is asked.

    In the wrong stage only that is said: the other rules speak of a sheet that stands where the step begins.
    """
    move = WORKFLOW.get(attempt.step)
    if move is None:
        words = say("“{deed}” is not said of a sheet.", deed=say(STEP_WORDS[attempt.step][1]).capitalize())
        return [Refusal("wrong-stage", words, say("Say which step is meant."))]
    first = rules.not_closed(attempt) or _follows_the_workflow(attempt, move)
    if first is not None:
        return [first]
    return [refusal for refusal in (rule(attempt) for rule in move.rules) if refusal is not None]


def lands_in(step: Step, stage: Stage | None) -> Stage | None:
    """The stage in which a sheet stands after this step."""
    to = WORKFLOW[step].to
    return stage if to is STAYS else to


def fits(step: Step, stage: Stage | None) -> bool:
    """Whether this step leads from this stage."""
    return step in WORKFLOW and stage in WORKFLOW[step].starts


def can_be_already_done(step: Step, stage: Stage | None) -> bool:
    """Whether this deed, once done, is written from this stage whatever the rules say."""
    return step in WORKFLOW and stage in WORKFLOW[step].already


def _follows_the_workflow(attempt: Attempt, move: Move) -> Refusal | None:
    stage = attempt.sheet.stage
    if stage in move.starts:
        return None
    if stage is UNKNOWN:
        return Refusal(
            "unknown-number", say("This number has not been taken in."), say("Take it in first, at the intake station.")
        )
    if move.starts == (UNKNOWN,):
        return Refusal(
            "number-taken",
            say("This number is in use: the sheet {stands}.", stands=STAGES[stage].stands),
            _where_next(attempt),
        )
    deed = STEP_WORDS[attempt.step][1]
    return Refusal(
        "wrong-stage",
        say("It {stands}, so it cannot be {deed} now.", stands=STAGES[stage].stands, deed=deed),
        _where_next(attempt),
    )


def _where_next(attempt: Attempt) -> str:
    stage = attempt.sheet.stage
    return say(NEXT_BY_STAGE[stage]) if stage is not None else ""


NEXT_BY_STAGE: dict[Stage, str] = {
    Stage.INTAKE: mark("It is laid to dry next, or passed as dry at intake if it came dry."),
    Stage.DRYING: mark("Feel it at the drying station; it is passed as dry there."),
    Stage.READY: mark("It is taken up at a mounting table next."),
    Stage.MOUNTED: mark("Lay it under weight at the press now."),
    Stage.UNDER_PRESS: mark("Lay it back in its stack. If it is out for good, say so at the press."),
    Stage.DRY: mark("Put it on the inspection shelf."),
    Stage.FILED: mark("Put it back in its cabinet. To work on it again, bring it back with a reason."),
}

_HELD = (rules.holds_permit,)
_TAUGHT = (sign_off_rules.is_signed_off,)
_NAMED = suspected.NAMED
_ONTO_A_SHELF = (shelf_rules.cabinet_fits, shelf_rules.cabinet_is_clean_for_it, shelf_rules.cabinet_has_room)

WORKFLOW: dict[Step, Move] = {
    Step.TAKE_IN: Move((UNKNOWN,), Stage.INTAKE, by_bundle=True),
    # No hold keeps a damp plant from the dryer; one that was passed too soon goes back to it.
    Step.LAY_TO_DRY: Move((Stage.INTAKE, Stage.READY), Stage.DRYING, by_bundle=True),
    Step.PAPERS_CHANGED: Move((Stage.DRYING,), STAYS, by_bundle=True),
    Step.PASS_AS_DRY: Move((Stage.DRYING,), Stage.READY, (*_HELD, *_TAUGHT, rules.feels_dry, shelf_rules.cabinet_fits)),
    Step.TAKE_UP: Move(
        (Stage.READY,), STAYS,
        (*_HELD, rules.label_is_here, rules.is_treated, *_TAUGHT, *_NAMED, rules.at_a_table, rules.on_no_other_table),
    ),
    Step.PUT_BACK: Move((Stage.READY,), STAYS, (*_HELD, shelf_rules.has_a_shelf, *_ONTO_A_SHELF)),
    # The glue is on: nothing else is asked, and a glued sheet is written from wherever the log left it.
    Step.MOUNT: Move(
        (Stage.READY,), Stage.MOUNTED, (rules.is_taken_up, rules.on_no_other_table),
        already=(Stage.INTAKE, Stage.DRYING, Stage.READY),
    ),
    Step.PUT_UNDER_WEIGHT: Move(
        (Stage.MOUNTED, Stage.UNDER_PRESS), Stage.UNDER_PRESS,
        (press_rules.has_a_stack, press_rules.weights_are_off_it, press_rules.has_room),
    ),
    Step.TAKE_OUT: Move(
        (Stage.UNDER_PRESS,), Stage.DRY,
        (press_rules.lay_long_enough, press_rules.own_weights_are_off, press_rules.early_by_manager, press_rules.early_with_reason,
         press_rules.clock_is_trusted),
    ),
    Step.FOUND_OUT: Move((Stage.UNDER_PRESS,), Stage.MOUNTED),
    Step.GOES_UNMOUNTED: Move((Stage.READY,), Stage.DRY, (*_HELD, rules.is_treated)),
    Step.RE_GLUE: Move((Stage.DRY,), Stage.MOUNTED, already=(Stage.DRY,)),
    Step.BACK_TO_TABLE: Move((Stage.DRY,), Stage.READY, (*_HELD, rules.has_reason)),
    Step.INSPECT: Move(
        (Stage.DRY,), STAYS, (*_HELD, *_TAUGHT, *_NAMED, rules.has_outcome, rules.not_own_work, own_work.own_work_waits_a_day),
    ),
    Step.FILE: Move(
        (Stage.DRY,), Stage.FILED,
        (*_HELD, *_TAUGHT, rules.is_passed, rules.is_treated, rules.specimen_is_complete, shelf_rules.has_a_shelf, *_ONTO_A_SHELF),
    ),
    Step.BRING_BACK: Move((Stage.FILED,), Stage.DRY, (*_HELD, *_NAMED, rules.has_reason)),
    Step.ARRIVE_DRY: Move((Stage.INTAKE,), Stage.READY, (*_HELD, rules.feels_dry, shelf_rules.cabinet_fits)),
    Step.ARRIVE_MOUNTED: Move((Stage.INTAKE,), Stage.DRY, (*_HELD, rules.feels_dry)),
    Step.ANOTHER_SHEET: Move((Stage.INTAKE, Stage.READY), STAYS, (*_HELD, rules.is_taken_up, rules.on_no_other_table)),
    # What is in the hands says that it is so: no right is asked for.
    Step.TELL_APART: Move(KNOWN, STAYS),
    Step.DIVIDE: Move((Stage.INTAKE, Stage.DRYING, Stage.READY), STAYS, (*_HELD, rules.on_no_other_table)),
    Step.SAME_SPECIMEN: Move(KNOWN, STAYS),
    # Plants of one press dry at different times: they are tied together anew as they go. No hold keeps a damp plant out.
    Step.TIE: Move((Stage.INTAKE, Stage.DRYING), STAYS, _HELD),
    Step.PUT_TOGETHER: Move(KNOWN, STAYS, (rules.by_trainer, rules.has_reason)),
    Step.RENUMBER: Move(KNOWN, STAYS, (rules.by_trainer, rules.has_reason)),
    Step.RESTATE: Move(KNOWN, STAYS, (rules.by_trainer, rules.is_glued, rules.has_reason)),
    Step.SHELVE: Move(
        (Stage.INTAKE, Stage.READY, Stage.DRY, Stage.FILED), STAYS, (*_HELD, shelf_rules.has_a_shelf, *_ONTO_A_SHELF),
        by_bundle=True,
    ),
    # No hold stops it; a damp plant and wet adhesive do, from whatever stage.
    Step.FREEZE: Move(KNOWN, STAYS, (freezing_rules.may_be_frozen, rules.on_no_other_table, freezing_rules.has_a_load,
                                     freezing_rules.load_is_being_filled, freezing_rules.is_not_in_it)),
    Step.UNBAG: Move(KNOWN, STAYS),
    Step.TREATMENT: Move(KNOWN, STAYS),
    Step.WITHDRAW: Move(KNOWN, STAYS, (rules.by_manager, rules.has_reason)),
    # What was withdrawn is in the hand again: it begins at intake, whatever it was when it left.
    Step.COME_AGAIN: Move(KNOWN, Stage.INTAKE, (rules.was_closed, rules.by_manager, rules.has_reason)),
    Step.PUT_HOLD: Move(KNOWN, STAYS, (rules.names_a_hold, rules.is_not_held_so, *away_rules.SENT_OUT, rules.has_reason)),
    Step.LIFT_HOLD: Move(KNOWN, STAYS, (rules.names_a_hold, rules.is_held_so, rules.may_lift)),
    # Whoever sees a pest says so: no right is asked for.
    Step.QUARANTINE: Move(KNOWN, STAYS, (rules.has_reason,)),
}  # fmt: skip
