"""Putting a gluing right: the adhesive and the bulk as they really were, and the time under weight that follows."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Adhesive
from app.db.rules import house_at
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.moves import refusals
from app.domain.press import BULKS, minimum_s
from app.domain.sheet import Standing
from app.domain.stages import Step
from app.domain.words import duration
from app.services import saying
from app.services.custody import Writing, enter, standing_of
from app.services.deeds import sheet_asked
from app.services.desk import Desk
from app.services.doubts import look_again
from app.services.facts import make_attempt


def put_gluing_right(desk: Desk, adhesive: str, bulk: str) -> Answer:
    """Write which adhesive (its code; empty when nobody knows) and which bulk a glued sheet really has.

    The minimum follows by the version of the house rules that is written on the sheet; an unknown adhesive takes the
    longest. Refused: manager-only, wrong-stage for a sheet that was not glued, reason-needed.
    """
    row = sheet_asked(desk)
    attempt = make_attempt(desk, row, standing_of(row), Step.RESTATE)
    if found := refusals(attempt):
        raise Refused(*found)
    sets = _sets(desk, attempt.sheet, adhesive, bulk)
    writing = Writing(Step.RESTATE, attempt.sheet.stage, attempt.sheet.place, sets, reason=attempt.reason)
    entry_id, stands = enter(desk, row["id"], attempt.sheet, writing)
    look_again(desk, row["id"], entry_id, None)
    answer = saying.done(desk, row, Step.RESTATE, entry_id, stands)
    needs = (
        say("It needs {duration} under weight.", duration=duration(stands.minimum_s))
        if stands.minimum_s is not None
        else ""
    )
    return saying.with_lines(answer, *filter(None, (needs,)))


def _sets(desk: Desk, stands: Standing, code: str, bulk: str) -> dict[str, Any]:
    if bulk not in BULKS:
        raise Refused(
            Refusal("misread-number", say("A sheet is thin, ordinary or bulky."), say("Choose one of the three."))
        )
    adhesive_id, class_ = _adhesive(desk.session, code)
    sets: dict[str, Any] = {"adhesive_id": adhesive_id, "bulk": bulk}
    if stands.minimum_s is None:
        # It was never laid in: its minimum is set when it is.
        return sets
    house = house_at(desk.session, stands.rule_version or 0)
    return {**sets, "minimum_s": minimum_s(house, class_, bulk), "rule_version": stands.rule_version}


def _adhesive(session: Session, code: str) -> tuple[int | None, str | None]:
    if not code:
        return None, None
    row = session.execute(select(Adhesive.id, Adhesive.class_).where(Adhesive.code == code)).one_or_none()
    if row is None:
        raise Refused(
            Refusal("misread-number", say("This room has no such adhesive."), say("Choose one of the room's own list."))
        )
    return row.id, row.class_
