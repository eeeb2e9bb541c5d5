"""Signing workers off: who may take a step alone, with sheets of which difficulty, by whose word; and ending it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import insert, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import SignOff, Worker, table_of
from app.domain.language import ENGLISH, say, speaking
from app.domain.sign_off_rules import DIFFICULTIES, ORDINARY, TAUGHT, sheets_words
from app.domain.stages import Step
from app.services.changes import changed, reason_given

SIGN_OFF = table_of(SignOff)
WORKER = table_of(Worker)


def sign_off(session: Session, worker_id: int, step: Step, difficulty: str, now: datetime, by: int | None) -> bool:
    """Say that a worker may take a step alone with sheets of this difficulty; False if they may already.

    ValueError with a sentence for a step that is not taught, for whoever has left or only reads, and for harder sheets
    before ordinary ones.
    """
    if step not in TAUGHT or difficulty not in DIFFICULTIES:
        raise ValueError(say("Nobody is signed off for that. Choose a step and what kind of sheets."))
    worker = _at_work_here(session, worker_id)
    may = {row["difficulty"] for row in _in_force(session, worker_id, step.value)}
    if difficulty in may:
        return False
    if difficulty != ORDINARY and ORDINARY not in may:
        raise ValueError(
            say(
                "Ordinary sheets come first: sign {name} off to {work}.",
                name=worker["name"],
                work=sheets_words(step, ORDINARY),
            )
        )
    values = {"worker_id": worker_id, "step": step.value, "difficulty": difficulty, "signed_at": now, "signed_by": by}
    session.execute(insert(SIGN_OFF), values)
    with speaking(ENGLISH):
        new = sheets_words(step, difficulty)
    changed(session, now, by, "worker", worker_id, "signed off", new=new)
    return True


def end(session: Session, sign_off_id: int, why: str, now: datetime, by: int | None) -> tuple[str, ...]:
    """End a sign-off with a reason; with that for ordinary sheets every other of the step ends too.

    Return what the worker may no longer do alone, empty if it had ended already. ValueError without a reason or for one
    that never was. The row stays, so that a late entry is judged by what held when it happened.
    """
    why = reason_given(why)
    found = session.execute(select(SIGN_OFF).where(SIGN_OFF.c.id == sign_off_id)).mappings().one_or_none()
    if found is None:
        raise ValueError(say("There is no such sign-off."))
    _lock(session, found["worker_id"])
    in_force = _in_force(session, found["worker_id"], found["step"])
    ending = _ending(in_force, sign_off_id)
    for row in ending:
        session.execute(update(SIGN_OFF).where(SIGN_OFF.c.id == row["id"]).values(ended_at=now, ended_by=by))
        with speaking(ENGLISH):
            old = sheets_words(Step(row["step"]), row["difficulty"])
        changed(session, now, by, "worker", row["worker_id"], "sign-off ended", old=old, why=why)
    return tuple(sheets_words(Step(row["step"]), row["difficulty"]) for row in ending)


def _ending(in_force: Sequence[RowMapping], sign_off_id: int) -> list[RowMapping]:
    mine = [row for row in in_force if row["id"] == sign_off_id]
    return list(in_force) if mine and mine[0]["difficulty"] == ORDINARY else mine


def _at_work_here(session: Session, worker_id: int) -> RowMapping:
    worker = _lock(session, worker_id)
    if worker is None or worker["retired_at"] is not None:
        raise ValueError(say("Nobody who works here is meant."))
    if worker["rights"] == "reader":
        raise ValueError(
            say("{name} only finds and reads. Whoever works at a station is signed off.", name=worker["name"])
        )
    return worker


def _lock(session: Session, worker_id: int) -> RowMapping | None:
    """The worker's row, locked, so that two who sign off at once write one line."""
    return session.execute(select(WORKER).where(WORKER.c.id == worker_id).with_for_update()).mappings().one_or_none()


def _in_force(session: Session, worker_id: int, step: str) -> Sequence[RowMapping]:
    mine = (SIGN_OFF.c.worker_id == worker_id, SIGN_OFF.c.step == step, SIGN_OFF.c.ended_at.is_(None))
    return session.execute(select(SIGN_OFF).where(*mine).order_by(SIGN_OFF.c.id)).mappings().all()
