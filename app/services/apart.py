"""One number, two plants: two sheets that bear the same number are told apart, and a fold that holds two plants is divided."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sqlalchemy.engine import RowMapping

from app.domain.answer import Answer
from app.domain.attempt import Attempt
from app.domain.folding import folded
from app.domain.holds import AWAY
from app.domain.language import say
from app.domain.moves import NEXT_BY_STAGE, fits, refusals
from app.domain.numbers import shown
from app.domain.sheet import NOWHERE, Place, Standing
from app.domain.stages import STAGES, Stage, Step
from app.services import saying
from app.services.custody import Writing, enter, standing_of
from app.services.describing import describe
from app.services.desk import THEN_SHEET, Desk, somebody_is_here
from app.services.facts import make_attempt
from app.services.kept_times import refuse_too_late
from app.services.registering import COPIED, copy_hazards, mint_number, plant_name_id, register, travels
from app.services.sheets import take_step

LONGEST_NAME = 120
GLUED = (Stage.MOUNTED, Stage.UNDER_PRESS, Stage.DRY, Stage.FILED)
QUERY = "number-query"


def tell_apart(desk: Desk, row: RowMapping) -> Answer:
    """Another sheet bears this sheet's number: it gets one of its own, and stands at intake until somebody says more.

    With the fact `known` as "yes" it is known which of the two the room has had all along; otherwise both are held.
    Refused: not-signed-in, unknown-number, withdrawn, and misread-number where the room mints no numbers.
    """
    attempt = _attempt(desk, row, Step.TELL_APART)
    if found := refusals(attempt):
        return saying.refused(desk, found, row, step=Step.TELL_APART)
    is_known = desk.request.facts.get("known") == "yes"
    number = mint_number(desk)
    new = register(desk, number, consignment_id=row["consignment_id"])
    held = () if is_known else (QUERY,)
    writing = Writing(Step.TELL_APART, attempt.sheet.stage, attempt.sheet.place, holds=held, lifts=_here_again(attempt.sheet),
                      facts={"new_number": number}, reason=attempt.reason)  # fmt: skip
    entry_id, stands = enter(desk, row["id"], attempt.sheet, writing)
    sets = {"fresh": attempt.sheet.fresh, "bulk": attempt.sheet.bulk}
    other = Writing(
        Step.TELL_APART, Stage.INTAKE, NOWHERE, sets, held, facts={"of": row["number"]}, reason=attempt.reason
    )
    enter(desk, new["id"], standing_of(new), other)
    answer = saying.done(desk, row, Step.TELL_APART, entry_id, stands)
    said, old = shown(number, desk.patterns), shown(row["number"], desk.patterns)
    lines = (
        *answer.lines,
        say("The other sheet is {number} from now on. This one stays {old_number}.", number=said, old_number=old),
    )
    if not is_known:
        lines += (say("Nobody knows which was which: both are held until the manager says."),)
    return replace(answer, lines=lines, next=_slip_for_other(said), slip=number)


def divide(desk: Desk, row: RowMapping) -> Answer:
    """Two plants lie in one fold: before any glue the second becomes a sheet of its own, with the same gathering.

    Once they are glued on one sheet they are not cut apart: it is noted, and the name is queried. The fact `plant` is the
    second plant's name, empty or a dash where nobody knows it. Refused as `tell_apart` is, and on-another-table.
    """
    standing = standing_of(row)
    if standing.stage in GLUED and standing.closed_as is None:
        return _noted(desk, row, standing)
    attempt = _attempt(desk, row, Step.DIVIDE)
    if found := refusals(attempt):
        return saying.refused(desk, found, row, step=Step.DIVIDE)
    number, name = mint_number(desk), _name(desk)
    copied = {each: row[each] for each in COPIED} | {"plant_name_id": plant_name_id(desk, name), "has_label": False}
    new = register(desk, number, **copied)
    copy_hazards(desk, row["id"], new["id"])
    writing = Writing(Step.DIVIDE, standing.stage, standing.place, lifts=_here_again(standing), facts={"new_number": number},
                      reason=attempt.reason)  # fmt: skip
    entry_id, stands = enter(desk, row["id"], standing, writing)
    holds = tuple(sorted({*stands.holds, "label-to-come", *(() if name else ("name-query",))}))
    other = Writing(Step.DIVIDE, stands.stage, _beside(stands), travels(stands), holds, facts={"of": row["number"]},
                    reason=attempt.reason)  # fmt: skip
    enter(desk, new["id"], standing_of(new), other)
    answer = saying.done(desk, row, Step.DIVIDE, entry_id, stands)
    said = shown(number, desk.patterns)
    return replace(answer, lines=(*answer.lines, _other_plant(name, said)), next=_slip_for_plant(said), slip=number)


def _other_plant(name: str, number: str) -> str:
    if not name:
        return say("The other plant is {number}: same gathering, its own label still to come.", number=number)
    return say("The other plant, {name}, is {number}: same gathering, its own label still to come.",
               name=name, number=number)  # fmt: skip


def can_be_divided(stage: Stage | None) -> bool:
    """Whether two plants in one fold can still be parted: nothing is glued."""
    return fits(Step.DIVIDE, stage)


def _attempt(desk: Desk, row: RowMapping, step: Step) -> Attempt:
    somebody_is_here(desk, THEN_SHEET)
    # Before a number is minted for it: what is refused later leaves no row behind.
    refuse_too_late(desk, step)
    return make_attempt(desk, row, standing_of(row), step)


def _noted(desk: Desk, row: RowMapping, standing: Standing) -> Answer:
    assert standing.stage is not None
    goes_on = say("Do not cut them apart. {next_deed}", next_deed=NEXT_BY_STAGE[standing.stage])
    if "name-query" in standing.holds:
        words = say("Its name is queried already; nothing more is to be written.")
        return Answer("done", say("Noted."), (words,), goes_on, describe(desk.session, row, desk.patterns))
    name = _name(desk)
    why = f"Two plants are glued on this sheet{f'; the other is {name}' if name else ''}."
    facts: dict[str, Any] = {**desk.request.facts, "hold": "name-query"}
    desk.request = replace(desk.request, step=Step.PUT_HOLD, facts=facts, reason=why)
    answer = take_step(desk, row, standing, Step.PUT_HOLD)
    if answer.kind != "done":
        return answer
    lines = (
        say(
            "It {stands}: two plants on one sheet. Its name is queried before it is filed.",
            stands=STAGES[standing.stage].stands,
        ),
    )
    return replace(answer, word=say("Noted."), lines=(*answer.lines, *lines), next=goes_on)


def _name(desk: Desk) -> str:
    """The second plant's name as it was typed; empty where there is no letter in it."""
    name = " ".join(str(desk.request.facts.get("plant", "")).split())[:LONGEST_NAME]
    return name if folded(name) else ""


def _beside(stands: Standing) -> Place:
    """Where the second plant lies: with the first, or, where that is on a table, in the cabinet that it came from."""
    return stands.place if stands.place.table_id is None else Place(cabinet_id=stands.kept_in_id)


def _here_again(standing: Standing) -> tuple[str, ...]:
    return tuple(sorted(standing.holds & AWAY))


def _slip_for_plant(said: str) -> str:
    return say(
        "Print the slip of {number}, lay it with the other plant in a fold of its own, and put it with "
        "what waits for a label.",
        number=said,
    )


def _slip_for_other(said: str) -> str:
    return say(
        "Print the slip of {number} and lay it with the other sheet. Scan that one next: where it is damp, "
        "at the dryer; dry, at intake; glued, at the press.",
        number=said,
    )
