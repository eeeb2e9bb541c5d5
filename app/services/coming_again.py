"""A withdrawn sheet that is in the hands again: taken in anew under its own number, with its log whole."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer, Ask, Choice
from app.domain.errors import Refusal, Refused
from app.domain.language import mark, say
from app.domain.moves import refusals
from app.domain.sheet import Standing, before
from app.domain.stages import Stage, Step
from app.domain.words import said
from app.services import saying
from app.services.custody import Writing, enter, standing_of
from app.services.deeds import sheet_asked
from app.services.describing import describe
from app.services.desk import THEN_SHEET, Desk, behind, somebody_is_here
from app.services.facts import make_attempt, sheet_by_id
from app.services.in_hand import shelf_for
from app.services.writers import writing_for

# What it was judged by before it left counts no longer: who knows where it lay meanwhile.
_ANEW = {"closed_as": None, "outcome": None, "treated_until": None, "treated_left_s": None, "fresh": False}
MOUNTED, LOOSE = "mounted", "loose"


def come_again(desk: Desk, row: RowMapping) -> Answer:
    """Take a withdrawn sheet in again, with a reason: at intake, and from there at once to what is dry if it is mounted.

    The fact `comes_as` says whether it is "mounted" or "loose"; it is asked. Refused: not-signed-in, manager-only,
    reason-needed, wrong-stage for one that was never withdrawn.
    """
    somebody_is_here(desk, THEN_SHEET)
    was = standing_of(row)
    if (late := behind(desk, row["last_at"])) is not None:
        return saying.refused(desk, [late], row, step=Step.COME_AGAIN)
    comes_as = str(desk.request.facts.get("comes_as", ""))
    found = refusals(make_attempt(desk, row, was, Step.COME_AGAIN))
    if found:
        return _refused(desk, row, found, comes_as)
    if comes_as not in (MOUNTED, LOOSE):
        return _asked(desk, row)
    return _written(desk, row, was, comes_as)


def come_again_by_number(desk: Desk) -> Answer:
    """The same for the sheet that the request names. Refused as that is, and unknown-number."""
    return come_again(desk, sheet_asked(desk))


def _written(desk: Desk, row: RowMapping, was: Standing, comes_as: str) -> Answer:
    writing = Writing(Step.COME_AGAIN, Stage.INTAKE, shelf_for(desk, Stage.INTAKE), _ANEW, reason=desk.request.reason.strip(),
                      facts={"comes_as": comes_as, "left_as": was.closed_as})  # fmt: skip
    entry_id, stands = enter(desk, row["id"], before(was, Step.COME_AGAIN), writing)
    if comes_as == MOUNTED:
        entry_id, stands = _arrives_mounted(desk, sheet_by_id(desk.session, row["id"]), stands)
    answer = saying.done(desk, row, Step.COME_AGAIN, entry_id, stands)
    if comes_as == MOUNTED:
        answer = replace(answer, next=say("It is dry and mounted: put it on the inspection shelf."))
    left = said(was.last_at, desk.occasion.zone, desk.now) if was.last_at else say("earlier")
    return saying.with_lines(
        answer,
        say(
            "It was withdrawn {left}: {closed_as}. Its whole log is kept.",
            left=left,
            closed_as=say(was.closed_as or ""),
        ),
    )


def _arrives_mounted(desk: Desk, row: RowMapping, stands: Standing) -> tuple[int, Standing]:
    desk.request = replace(desk.request, facts={**desk.request.facts, "dryness": True})
    attempt = make_attempt(desk, row, stands, Step.ARRIVE_MOUNTED)
    if found := refusals(attempt):
        raise Refused(*found)
    return enter(desk, row["id"], stands, writing_for(desk, row, attempt))


def _refused(desk: Desk, row: RowMapping, found: list[Refusal], comes_as: str) -> Answer:
    carry = {"code": row["number"], "step": Step.COME_AGAIN.value}
    carry |= {"facts.comes_as": comes_as} if comes_as else {}
    answer = saying.refused(desk, found, row, step=Step.COME_AGAIN, carry=carry)
    needs_reason = {refusal.code for refusal in found} == {"reason-needed"}
    return replace(answer, ask=Ask("reason", say("Why is it here again?"))) if needs_reason else answer


def _asked(desk: Desk, row: RowMapping) -> Answer:
    sheet = describe(desk.session, row, desk.patterns)
    carry = {"code": row["number"], "step": Step.COME_AGAIN.value, "reason": desk.request.reason}
    return Answer("which-one", WORDS["which-one"], (say("Is it mounted on its sheet?"),), "", sheet, Step.COME_AGAIN.value,
                  choices=tuple(Choice(words, "facts.comes_as", value) for words, value in AS_WHAT), carry=carry)  # fmt: skip


AS_WHAT = ((mark("It is mounted, and dry"), MOUNTED), (mark("It is not mounted"), LOOSE))
