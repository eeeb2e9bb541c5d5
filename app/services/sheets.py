"""One sheet at a desk: which step is meant, whether it may be taken, and what is written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.engine import RowMapping

from app.db.models import Inspection, Sheet, Stack, table_of
from app.domain.answer import Answer
from app.domain.attempt import Attempt
from app.domain.errors import Refusal, Refused
from app.domain.holds import AWAY
from app.domain.moves import can_be_already_done, fits, refusals
from app.domain.sheet import Standing
from app.domain.stages import Stage, Step
from app.services import saying
from app.services.asking import OUTCOMES, ask_choice, feel_it, refused_with_ways, which_step
from app.services.custody import Writing, enter, standing_of
from app.services.desk import Desk, behind
from app.services.facts import make_attempt, sheet_by_id, shelf_facts, stack_facts
from app.services.gluing import ask_who_glued, write_gluing
from app.services.hazards import say_hazards
from app.services.wanted import ENDED_BY, end_wish
from app.services.writers import writing_for

SHEET = table_of(Sheet)
ONTO_SHELF = (Step.PUT_BACK, Step.FILE, Step.SHELVE)
TO_A_SHELF = (*ONTO_SHELF, Step.PASS_AS_DRY, Step.ARRIVE_DRY, Step.GOES_UNMOUNTED)
# Steps that a bare scan of a sheet never means: they need a shelf, a card or a choice.
NEVER_BY_ITSELF = (
    Step.PUT_BACK,
    Step.SHELVE,
    Step.ANOTHER_SHEET,
    Step.RE_GLUE,
    Step.BACK_TO_TABLE,
    Step.GOES_UNMOUNTED,
)


def scan_sheet(desk: Desk, row: RowMapping) -> Answer:
    """Take the step that is meant with the sheet that was scanned, or ask which one is meant."""
    standing = standing_of(row)
    desk.keep(last_sheet_id=row["id"])
    if desk.request.step is not None:
        return take_step(desk, row, standing, desk.request.step)
    meant = steps_meant(desk, standing)
    if len(meant) == 1:
        return take_step(desk, row, standing, meant[0])
    if not meant:
        return _none_fits(desk, row, standing)
    return which_step(desk, row, meant)


def steps_meant(desk: Desk, standing: Standing) -> list[Step]:
    """The steps of this station that lead on from where the sheet stands."""
    fitting = [step for step in desk.steps if fits(step, standing.stage) and step not in NEVER_BY_ITSELF]
    if standing.stage is Stage.READY and Step.MOUNT in fitting:
        on_this_table = standing.place.table_id == desk.station_id
        fitting.remove(Step.TAKE_UP if on_this_table and Step.TAKE_UP in fitting else Step.MOUNT)
    if standing.stage is Stage.UNDER_PRESS and Step.TAKE_OUT in fitting:
        return [step for step in fitting if step is not Step.PUT_UNDER_WEIGHT or _is_elsewhere(desk, standing)]
    return fitting


def take_step(desk: Desk, row: RowMapping, standing: Standing, step: Step) -> Answer:
    """Take one step with one sheet: ask every rule, then write the entry and the row together."""
    if not desk.by:
        raise Refused(Refusal("not-signed-in", "Nobody is signed in here.", "Scan your badge first, then the sheet."))
    if (late := behind(desk, row["last_at"])) is not None:
        return saying.refused(desk, [late], row, step=step)
    if (question := _question_first(desk, row, standing, step)) is not None:
        return question
    attempt = _attempt(desk, row, standing, step)
    found = refusals(attempt)
    if found and desk.request.already_done and can_be_already_done(step, standing.stage):
        return _after_the_fact(desk, row, attempt, found)
    if found:
        return refused_with_ways(desk, row, attempt, found)
    entry_id, now_stands = write_step(desk, row, attempt, writing_for(desk, row, attempt))
    return saying.done(desk, row, step, entry_id, now_stands)


def write_step(desk: Desk, row: RowMapping, attempt: Attempt, writing: Writing) -> tuple[int, Standing]:
    """Write a step that may be taken; whatever was missing or out is here again by it, and a wish may be fulfilled."""
    if ended := _away_until_now(desk, attempt):
        writing = replace(writing, lifts=tuple(dict.fromkeys((*writing.lifts, *ended))))
    if "read_as" in desk.request.facts:
        writing = replace(writing, facts={**writing.facts, "read_with_help": True})
    if not writing.reason:
        writing = replace(writing, reason=attempt.reason)
    entry_id, now_stands = enter(desk, row["id"], attempt.sheet, writing)
    if attempt.step is Step.INSPECT:
        keep_inspection(desk, row["id"], entry_id, str(now_stands.outcome), desk.happened_at)
    if attempt.step in ENDED_BY and row["wanted_at"] is not None:
        end_wish(desk, row["id"], attempt.step)
    say_hazards(desk, row)
    return entry_id, now_stands


def keep_inspection(desk: Desk, sheet_id: int, entry_id: int, outcome: str, inspected_at: datetime) -> None:
    """Write down one look at a sheet beside its entry."""
    values = {"sheet_id": sheet_id, "entry_id": entry_id, "outcome": outcome, "inspected_at": inspected_at}
    desk.session.execute(insert(table_of(Inspection)), values)


def _away_until_now(desk: Desk, attempt: Attempt) -> list[str]:
    """The holds of a sheet that was not here; that one is put or lifted on its page shows nobody the sheet."""
    if desk.station is None and attempt.step in (Step.PUT_HOLD, Step.LIFT_HOLD):
        return []
    return sorted(attempt.sheet.holds & AWAY)


def _attempt(desk: Desk, row: RowMapping, standing: Standing, step: Step) -> Attempt:
    more: dict[str, Any] = {}
    if step is Step.PUT_UNDER_WEIGHT:
        more["stack"] = stack_facts(desk.session, _stack_meant(desk), desk.happened_at)
    if step in TO_A_SHELF:
        more["shelf"] = shelf_facts(desk.session, desk.in_hand("cabinet_id"), desk.in_hand("shelf_id"))
    return make_attempt(desk, row, standing, step, **more)


def _stack_meant(desk: Desk) -> int | None:
    named = desk.request.stack
    if not named:
        stack_id: int | None = desk.in_hand("stack_id")
        return stack_id
    table = table_of(Stack)
    found = select(table.c.id).where(table.c.name == named, table.c.closed_at.is_(None))
    named_id: int | None = desk.session.execute(found).scalar()
    if named_id is None:
        raise Refused(Refusal("no-stack", f"There is no stack called {named}.", "Scan the card of the stack."))
    desk.keep(stack_id=named_id)
    return named_id


def _is_elsewhere(desk: Desk, standing: Standing) -> bool:
    stack_id = desk.in_hand("stack_id")
    return stack_id is not None and stack_id != standing.place.stack_id


def _question_first(desk: Desk, row: RowMapping, standing: Standing, step: Step) -> Answer | None:
    """The questions that a step asks before it is judged: who glued it, and is it really dry."""
    facts = desk.request.facts
    if step is Step.PUT_UNDER_WEIGHT and standing.stage in (Stage.INTAKE, Stage.DRYING, Stage.READY, Stage.DRY):
        if standing.closed_as is None:
            return _glued_unscanned(desk, row, standing)
        return None
    if desk.station is None or desk.request.already_done:
        return None
    if step in (Step.PASS_AS_DRY, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED) and fits(step, standing.stage):
        return feel_it(desk, row, standing, step)
    if step is Step.INSPECT and fits(step, standing.stage) and "outcome" not in facts:
        return ask_choice(desk, row, step, "How is it?", OUTCOMES)
    return None


def _glued_unscanned(desk: Desk, row: RowMapping, standing: Standing) -> Answer:
    if not desk.request.already_done:
        return ask_who_glued(desk, row, standing)
    glued = write_gluing(desk, row, standing)
    again = sheet_by_id(desk.session, row["id"])
    attempt = _attempt(desk, again, glued, Step.PUT_UNDER_WEIGHT)
    if found := refusals(attempt):
        answer = saying.refused(desk, found, again, step=Step.PUT_UNDER_WEIGHT)
        return replace(answer, lines=("It is written as glued.", *answer.lines), status=200, entry=desk.written[-1])
    entry_id, now_stands = write_step(desk, again, attempt, writing_for(desk, again, attempt))
    return saying.done(desk, again, Step.PUT_UNDER_WEIGHT, entry_id, now_stands)


def _none_fits(desk: Desk, row: RowMapping, standing: Standing) -> Answer:
    if Step.PUT_UNDER_WEIGHT in desk.steps and standing.stage in (Stage.READY, Stage.DRY, Stage.INTAKE, Stage.DRYING):
        return take_step(desk, row, standing, Step.PUT_UNDER_WEIGHT)
    for step in desk.steps:
        if step not in NEVER_BY_ITSELF:
            return take_step(desk, row, standing, step)
    raise Refused(
        Refusal("wrong-stage", "No step was named, and none belongs to this place.", "Say which step is meant.")
    )


def _after_the_fact(desk: Desk, row: RowMapping, attempt: Attempt, found: Sequence[Refusal]) -> Answer:
    broken = [refusal.code for refusal in found]
    writing = writing_for(desk, row, attempt)
    holds = (*writing.holds, "against-a-rule")
    writing = replace(writing, after_the_fact=True, holds=holds, facts={**writing.facts, "broke": broken})
    entry_id, now_stands = write_step(desk, row, attempt, writing)
    answer = saying.done(desk, row, attempt.step, entry_id, now_stands)
    return saying.with_lines(
        answer, "Written as already done, against a rule. The manager looks at it before it is filed."
    )
