"""Two numbers that turn out to be one sheet: one is closed, and finds the other from then on."""

from __future__ import annotations

from sqlalchemy import insert
from sqlalchemy.engine import RowMapping

from app.db.models import FormerNumber, table_of
from app.domain.answer import Answer
from app.domain.consigned import JOINED
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.moves import refusals
from app.domain.numbers import shown
from app.domain.sheet import NOWHERE
from app.domain.stages import Step
from app.services import saying
from app.services.custody import Writing, enter, standing_of
from app.services.desk import Desk
from app.services.facts import make_attempt, sheet_by_number
from app.services.registering import copy_hazards
from app.services.wanted import pass_on

FORMER = table_of(FormerNumber)


def put_together(desk: Desk, kept: RowMapping, other_number: str) -> Answer:
    """Close another number as the same sheet as this one; from then on it finds this sheet.

    Refused: unknown-number for a number that is not here, number-taken for the sheet's own, and what the workflow refuses.
    """
    other = _other(desk, kept, other_number)
    attempt = make_attempt(desk, kept, standing_of(kept), Step.PUT_TOGETHER)
    was = make_attempt(desk, other, standing_of(other), Step.PUT_TOGETHER)
    if found := [*refusals(attempt), *refusals(was)]:
        return saying.refused(desk, found, kept, step=Step.PUT_TOGETHER)
    said, reason = shown(kept["number"], desk.patterns), attempt.reason
    closes = {"closed_as": f"{JOINED}{said}"}
    facts = {"into": kept["number"]}
    enter(
        desk,
        other["id"],
        was.sheet,
        Writing(Step.PUT_TOGETHER, was.sheet.stage, NOWHERE, closes, facts=facts, reason=reason),
    )
    pass_on(desk.session, other["id"], kept["id"], desk.now)
    copy_hazards(desk, other["id"], kept["id"])
    desk.session.execute(insert(FORMER), {"number": other["number"], "sheet_id": kept["id"], "until_at": desk.now})
    joined = {"old_number": other["number"]}
    writing = Writing(Step.PUT_TOGETHER, attempt.sheet.stage, attempt.sheet.place, facts=joined, reason=reason)
    entry_id, stands = enter(desk, kept["id"], attempt.sheet, writing)
    answer = saying.done(desk, kept, Step.PUT_TOGETHER, entry_id, stands)
    return saying.with_lines(
        answer,
        say("{old_number} finds {number} from now on.", old_number=shown(other["number"], desk.patterns), number=said),
    )


def _other(desk: Desk, kept: RowMapping, number: str) -> RowMapping:
    other = sheet_by_number(desk.session, number)
    if other is None:
        raise Refused(
            Refusal("unknown-number", say("No sheet here has that other number."), say("Read it off the sheet again."))
        )
    if other["id"] == kept["id"]:
        raise Refused(
            Refusal("number-taken", say("That number finds this sheet already."), say("Nothing more is to be done."))
        )
    return other
