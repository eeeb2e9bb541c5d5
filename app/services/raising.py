"""A time under weight that was raised: whether it holds for the sheets that lie there already. Only ever longer."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from app.db.lying import ASKED, Shorter, lying_shorter
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say, say_n
from app.domain.moves import refusals
from app.domain.press import MINIMUM_RULES
from app.domain.sheet import Standing
from app.domain.stages import Step
from app.services.changes import changed
from app.services.custody import Writing, enter_many, standing_of
from app.services.desk import Desk, behind
from app.services.facts import make_attempt, sheet_by_id


def hold_for_lying(desk: Desk, name: str, version: int) -> Answer:
    """Give the sheets that lie by a shorter minimum the longer one that this raised house rule asks, with a reason.

    Each gets an entry; one that was taken out meanwhile is left as it is. `version` is that of the house rules by which
    the question was asked; ValueError when they were changed since, and when no sheet is left. Refused: manager-only,
    reason-needed, clock-behind.
    """
    _may_ask(desk, name, version)
    shorter = lying_shorter(desk.session, name)
    if not shorter:
        raise ValueError(say("No sheet lies by a shorter minimum any more. Nothing more is to be done."))
    enter_many(desk, [_longer(desk, each) for each in shorter])
    many = f"{len(shorter)} sheet{'' if len(shorter) == 1 else 's'}"
    by = desk.by[0].worker_id
    new = f"{getattr(desk.house, name)} h, for {many} lying there too"
    changed(desk.session, desk.now, by, ASKED, None, name, new=new, why=desk.request.reason)
    line = say_n("It holds for {n} sheet too, from now on.", "It holds for {n} sheets too, from now on.", len(shorter))
    return Answer(
        "done", say("Longer under weight."), (line,), say("Look at the press room before anything is taken out.")
    )


def keep_as_laid(session: Session, name: str, why: str, now: datetime, *, by: int | None) -> int:
    """Write down that the sheets lying there keep the minimum they were laid in by; return how many they are."""
    kept = len(lying_shorter(session, name)) if name in MINIMUM_RULES else 0
    if kept:
        many = "1 sheet lying there keeps" if kept == 1 else f"{kept} sheets lying there keep"
        changed(session, now, by, ASKED, None, name, new=f"{many} the old minimum", why=why.strip() or None)
    return kept


def _may_ask(desk: Desk, name: str, version: int) -> None:
    if not desk.request.manages or not desk.by:
        raise Refused(
            Refusal("manager-only", say("Only the manager sets how long sheets lie."), say("Ask the manager."))
        )
    if not desk.request.reason.strip():
        raise Refused(
            Refusal("reason-needed", say("A reason is needed; it stays in the log."), say("Say why."), "which-one")
        )
    if name not in MINIMUM_RULES or version != desk.house.version:
        raise ValueError(
            say("A house rule was changed meanwhile. Nothing was written: look at the list, and answer again.")
        )


def _longer(desk: Desk, shorter: Shorter) -> tuple[int, Standing, Writing]:
    row = sheet_by_id(desk.session, shorter.sheet_id)
    stands = standing_of(row)
    found = (
        [late] if (late := behind(desk, row["last_at"])) else refusals(make_attempt(desk, row, stands, Step.RESTATE))
    )
    if found:
        raise Refused(*found)
    sets = {"minimum_s": shorter.asks_s, "rule_version": desk.house.version}
    facts = {"raised_from_s": shorter.lies_for_s}
    return (
        row["id"],
        stands,
        Writing(Step.RESTATE, stands.stage, stands.place, sets, facts=facts, reason=desk.request.reason),
    )
