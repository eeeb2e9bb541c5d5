"""One sheet at a desk: which step is meant, whether it may be taken, and what is written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.engine import RowMapping

from app.db.models import Stack, table_of
from app.db.prepared import ask_ahead
from app.domain.answer import Answer
from app.domain.attempt import Attempt
from app.domain.errors import Refusal, Refused
from app.domain.holds import AWAY
from app.domain.language import say
from app.domain.meant import NEVER_BY_ITSELF as NEVER_BY_ITSELF
from app.domain.meant import There, steps_meant
from app.domain.moves import can_be_already_done, fits, lands_in, refusals
from app.domain.sheet import Standing
from app.domain.stages import Stage, Step
from app.domain.stations import roams
from app.services import saying
from app.services.ahead import step_ahead
from app.services.asking import OUTCOMES, ask_choice, damp_after_all, feel_it, refused_with_ways, which_step
from app.services.came_how import ask_how_it_came
from app.services.custody import Writing, enter, standing_of
from app.services.desk import THEN_SHEET, Desk, behind, somebody_is_here
from app.services.facts import make_attempt, sheet_by_id, shelf_facts, stack_facts
from app.services.gluing import ask_who_glued, write_gluing
from app.services.hazards import say_hazards
from app.services.inspecting import keep_look, with_seal
from app.services.kept_times import too_late
from app.services.loads import load_facts
from app.services.treating import lose_clean
from app.services.wanted import ENDED_BY, end_wish
from app.services.writers import writing_for

ONTO_SHELF = (Step.PUT_BACK, Step.FILE, Step.SHELVE)
TO_A_SHELF = (*ONTO_SHELF, Step.PASS_AS_DRY, Step.ARRIVE_DRY, Step.GOES_UNMOUNTED)
# Steps that write the shelf in hand as the place of the sheet.
ONTO_SHELF_IN_HAND = (*TO_A_SHELF, Step.TAKE_IN, Step.ARRIVE_MOUNTED, Step.TAKE_OUT, Step.INSPECT, Step.BACK_TO_TABLE,
                      Step.BRING_BACK)  # fmt: skip


def scan_sheet(desk: Desk, row: RowMapping) -> Answer:
    """Take the step that is meant with the sheet that was scanned, or ask which one is meant."""
    standing = standing_of(row)
    desk.keep(last_sheet_id=row["id"])
    ask_ahead(desk.session, step_ahead(desk, row, standing))
    meant = [desk.request.step] if desk.request.step is not None else steps_meant(standing, _there(desk))
    if meant:
        # Before anything is asked: an answer of nobody's would not be written.
        somebody_is_here(desk, THEN_SHEET)
    if (question := damp_after_all(desk, row, standing, meant)) is not None:
        return question
    if len(meant) == 1:
        _put_down_shelf(desk, standing, meant[0])
        return take_step(desk, row, standing, meant[0])
    if not meant:
        return _none_fits(desk, row, standing)
    return which_step(desk, row, meant)


def _there(desk: Desk) -> There:
    named = _stack_named(desk) if Step.PUT_UNDER_WEIGHT in desk.steps else None
    return There(desk.steps, desk.station_id, named or desk.in_hand("stack_id"), desk.house.inspect_before_filing)


def _put_down_shelf(desk: Desk, standing: Standing, step: Step) -> None:
    """Where everything is done at one screen, a shelf of another stage is still in hand from what was done before."""
    if not roams(desk.steps) or step not in ONTO_SHELF_IN_HAND or desk.request.cabinet:
        return
    shelf = shelf_facts(desk.session, desk.in_hand("cabinet_id"), desk.in_hand("shelf_id"))
    if shelf is not None and shelf.stage not in (None, lands_in(step, standing.stage)):
        desk.keep(cabinet_id=None, shelf_id=None)


def take_step(desk: Desk, row: RowMapping, standing: Standing, step: Step) -> Answer:
    """Take one step with one sheet: ask every rule, then write the entry and the row together."""
    somebody_is_here(desk, THEN_SHEET)
    if (late := too_late(desk, step) or behind(desk, row["last_at"])) is not None:
        return saying.refused(desk, [late], row, step=step)
    if (question := _question_first(desk, row, standing, step)) is not None:
        return question
    attempt = _attempt(desk, row, standing, step)
    found = refusals(attempt)
    may_be_done = standing.closed_as is None and can_be_already_done(step, standing.stage)
    if found and desk.request.already_done and may_be_done:
        return _after_the_fact(desk, row, attempt, found)
    if found:
        return refused_with_ways(desk, row, attempt, found)
    entry_id, now_stands = write_step(desk, row, attempt, writing_for(desk, row, attempt))
    answer = ask_how_it_came(desk, row["number"], saying.done(desk, row, step, entry_id, now_stands))
    return with_seal(desk, row["id"], step, now_stands.outcome, answer)


def write_step(desk: Desk, row: RowMapping, attempt: Attempt, writing: Writing) -> tuple[int, Standing]:
    """Write a step that may be taken; whatever was missing or out is here again by it, and a wish may be fulfilled."""
    if ended := _away_until_now(desk, attempt):
        writing = replace(writing, lifts=tuple(dict.fromkeys((*writing.lifts, *ended))))
    if "read_as" in desk.request.facts:
        writing = replace(writing, facts={**writing.facts, "read_with_help": True})
    if not writing.reason:
        writing = replace(writing, reason=attempt.reason)
    entry_id, now_stands = enter(desk, row["id"], attempt.sheet, writing)
    keep_look(desk, row["id"], entry_id, writing.facts, desk.happened_at)
    if attempt.step in ENDED_BY and row["wanted_at"] is not None:
        end_wish(desk, row["id"], attempt.step)
    lose_clean(desk, row, attempt.sheet, now_stands)
    say_hazards(desk, row)
    return entry_id, now_stands


def _away_until_now(desk: Desk, attempt: Attempt) -> list[str]:
    """The holds of a sheet that was not here; that one is put or lifted on its page shows nobody the sheet."""
    if desk.station is None and attempt.step in (Step.PUT_HOLD, Step.LIFT_HOLD):
        return []
    return sorted(attempt.sheet.holds & AWAY)


def _attempt(desk: Desk, row: RowMapping, standing: Standing, step: Step) -> Attempt:
    more: dict[str, Any] = {}
    if step is Step.PUT_UNDER_WEIGHT:
        more["stack"] = stack_facts(desk.session, _stack_meant(desk), desk.happened_at)
    if step is Step.FREEZE:
        more["load"] = load_facts(desk)
    if step in TO_A_SHELF:
        more["shelf"] = shelf_facts(desk.session, desk.in_hand("cabinet_id"), desk.in_hand("shelf_id"))
    return make_attempt(desk, row, standing, step, **more)


def _stack_meant(desk: Desk) -> int | None:
    named_id = _stack_named(desk)
    if named_id is None:
        stack_id: int | None = desk.in_hand("stack_id")
        return stack_id
    desk.keep(stack_id=named_id)
    return named_id


def _stack_named(desk: Desk) -> int | None:
    """The stack that was named together with the sheet, if one was; Refused: no-stack."""
    named = desk.request.stack
    if not named:
        return None
    table = table_of(Stack)
    found = select(table.c.id).where(table.c.name == named, table.c.closed_at.is_(None))
    named_id: int | None = desk.session.execute(found).scalar()
    if named_id is None:
        raise Refused(
            Refusal("no-stack", say("There is no stack called {name}.", name=named), say("Scan the card of the stack."))
        )
    return named_id


def _question_first(desk: Desk, row: RowMapping, standing: Standing, step: Step) -> Answer | None:
    """The questions that a step asks before it is judged: who glued it, and is it really dry."""
    facts = desk.request.facts
    if standing.closed_as is not None:
        # Nothing is asked of a sheet that takes no more steps.
        return None
    if step is Step.PUT_UNDER_WEIGHT and standing.stage in (Stage.INTAKE, Stage.DRYING, Stage.READY, Stage.DRY):
        return _glued_unscanned(desk, row, standing)
    if desk.station is None or desk.request.already_done:
        return None
    if step in (Step.PASS_AS_DRY, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED) and fits(step, standing.stage):
        return feel_it(desk, row, standing, step)
    if step is Step.INSPECT and fits(step, standing.stage) and "outcome" not in facts:
        return ask_choice(desk, row, step, say("How is it?"), OUTCOMES)
    return None


def _glued_unscanned(desk: Desk, row: RowMapping, standing: Standing) -> Answer:
    if not desk.request.already_done:
        return ask_who_glued(desk, row, standing)
    glued = write_gluing(desk, row, standing)
    again = sheet_by_id(desk.session, row["id"])
    attempt = _attempt(desk, again, glued, Step.PUT_UNDER_WEIGHT)
    if found := refusals(attempt):
        answer = refused_with_ways(desk, again, attempt, found)
        return replace(
            answer, lines=(say("It is written as glued."), *answer.lines), status=200, entry=desk.written[-1]
        )
    entry_id, now_stands = write_step(desk, again, attempt, writing_for(desk, again, attempt))
    return saying.done(desk, again, Step.PUT_UNDER_WEIGHT, entry_id, now_stands)


def _none_fits(desk: Desk, row: RowMapping, standing: Standing) -> Answer:
    if Step.PUT_UNDER_WEIGHT in desk.steps and standing.stage in (Stage.READY, Stage.DRY, Stage.INTAKE, Stage.DRYING):
        return take_step(desk, row, standing, Step.PUT_UNDER_WEIGHT)
    for step in desk.steps:
        if step not in NEVER_BY_ITSELF:
            return take_step(desk, row, standing, step)
    raise Refused(
        Refusal(
            "wrong-stage", say("No step was named, and none belongs to this place."), say("Say which step is meant.")
        )
    )


def _after_the_fact(desk: Desk, row: RowMapping, attempt: Attempt, found: Sequence[Refusal]) -> Answer:
    broken = [refusal.code for refusal in found]
    writing = writing_for(desk, row, attempt)
    holds = tuple(dict.fromkeys((*writing.holds, "against-a-rule")))
    broken += writing.facts.get("broke", ())
    writing = replace(writing, after_the_fact=True, holds=holds, facts={**writing.facts, "broke": broken})
    entry_id, now_stands = write_step(desk, row, attempt, writing)
    answer = saying.done(desk, row, attempt.step, entry_id, now_stands)
    return saying.with_lines(
        answer, say("Written as already done, against a rule. The manager looks at it before it is filed.")
    )
