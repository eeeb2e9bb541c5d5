"""One look at a mounted sheet: what was found, to whose gluing it belongs, and whether the seal is on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from app.db.models import Entry, Finding, Inspection, table_of
from app.db.standing import STANDS
from app.domain.answer import Answer, Choice
from app.domain.attempt import Attempt
from app.domain.errors import Refusal, Refused
from app.domain.findings import MENDED, PASSED, Mark, marks_of
from app.domain.house import House
from app.domain.language import mark, say
from app.domain.stages import Stage, Step
from app.services.desk import Desk

ENTRY = table_of(Entry)
GLUINGS = (Step.MOUNT.value, Step.RE_GLUE.value)
SEAL_NOW = mark("Now the seal, top right.")
NO_SEAL = mark("No seal is written down for it: look at the top right corner.")
SEAL_IS_ON = Choice(
    mark("The seal is on"), "choose", f"step={Step.INSPECT.value}&facts.outcome={PASSED}&facts.sealed=yes"
)


def told_marks(desk: Desk) -> tuple[Mark, ...]:
    """What the request says was found; Refused: not-inspected for a kind that the room's list does not have."""
    told = desk.request.facts.get("findings", ())
    try:
        return marks_of(told.splitlines() if isinstance(told, str) else told)
    except ValueError as error:
        raise Refused(Refusal("not-inspected", str(error), say("Choose from the list of findings."), "stop")) from error


def look_facts(desk: Desk, outcome: str) -> dict[str, Any]:
    """What the entry of a look keeps: how it ended and what was found, and the seal where it is on."""
    sealed = {"sealed": True} if outcome == PASSED and desk.request.facts.get("sealed") is True else {}
    return {"findings": [each.text for each in told_marks(desk)], "looked": outcome, **sealed}


def ends_a_look(desk: Desk, attempt: Attempt) -> bool:
    """Whether gluing anew, or sending back, ends a look: where sheets are inspected, or where it says what was found."""
    return attempt.sheet.stage is Stage.DRY and (Step.INSPECT in desk.steps or bool(desk.request.facts.get("findings")))


def is_only_seal(desk: Desk, attempt: Attempt) -> bool:
    """Whether a sheet that was passed is only told to have its seal on now: that is no second look."""
    facts = desk.request.facts
    return attempt.sheet.outcome == PASSED and facts.get("outcome") == PASSED and facts.get("sealed") is True


def outcome_kept(house: House, outcome: str) -> str:
    """The outcome of the sheet: what was mended with straps or thread is passed at once where own work may be passed."""
    at_once = outcome == MENDED and not house.not_own_work and not house.own_work_next_day
    return PASSED if at_once else outcome


def keep_look(desk: Desk, sheet_id: int, entry_id: int, facts: Mapping[str, Any], looked_at: datetime) -> None:
    """Write the look that an entry ended beside it, with its findings; nothing for an entry that ended none."""
    if "looked" not in facts:
        return
    values = {"sheet_id": sheet_id, "entry_id": entry_id, "outcome": str(facts["looked"]), "inspected_at": looked_at,
              "mount_entry_id": _gluing_before(desk.session, sheet_id, entry_id, looked_at)}  # fmt: skip
    made = desk.session.execute(insert(table_of(Inspection)).values(values).returning(Inspection.id)).scalar_one()
    for each in marks_of(facts.get("findings", ())):
        found = {"inspection_id": made, "kind": each.kind, "at_x": each.x, "at_y": each.y, "note": each.note or None}
        desk.session.execute(insert(table_of(Finding)), found)


def with_seal(desk: Desk, sheet_id: int, step: Step, outcome: str | None, answer: Answer) -> Answer:
    """An answer that reminds of the seal: once a sheet is passed, with a button; and when it is filed without one."""
    if not desk.house.seal_after_passing or step not in (Step.INSPECT, Step.FILE):
        return answer
    if step is Step.FILE:
        return answer if outcome != PASSED or seal_is_told(desk.session, sheet_id) else _and(answer, NO_SEAL)
    if outcome != PASSED or desk.request.facts.get("sealed") is True:
        return answer
    sheet = answer.sheet
    carry = {"code": sheet.number} if sheet is not None else {}
    return replace(_and(answer, SEAL_NOW), choices=(*answer.choices, SEAL_IS_ON), carry={**answer.carry, **carry})


def seal_is_told(session: Session, sheet_id: int) -> bool:
    """Whether the log says of a sheet, since it was last glued, that the seal is on."""
    mine = (ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == sheet_id)
    looks = select(ENTRY.c.step, ENTRY.c.facts).where(*mine, ENTRY.c.step.in_((*GLUINGS, Step.INSPECT.value)), STANDS)
    for row in session.execute(looks.order_by(ENTRY.c.happened_at.desc(), ENTRY.c.id.desc())):
        if row.step in GLUINGS:
            return False
        if row.facts.get("sealed"):
            return True
    return False


def _and(answer: Answer, line: str) -> Answer:
    return replace(answer, lines=(*answer.lines, line))


def _gluing_before(session: Session, sheet_id: int, entry_id: int, at: datetime) -> int | None:
    """The gluing that was looked at: the last before, never the one that ended the look; None for what came mounted."""
    mine = (ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == sheet_id, ENTRY.c.step.in_(GLUINGS))
    found = select(ENTRY.c.id).where(*mine, ENTRY.c.id != entry_id, ENTRY.c.happened_at <= at, STANDS)
    last = session.execute(found.order_by(ENTRY.c.happened_at.desc(), ENTRY.c.id.desc()).limit(1)).scalar()
    return int(last) if last is not None else None
