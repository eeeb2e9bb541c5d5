"""Times that a station tells of scans it had kept: what may be written of them, and when the station was heard of."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import update
from sqlalchemy.orm import Session

from app.domain.errors import Refusal, Refused
from app.domain.kept import STILL_THERE, told_too_late
from app.domain.stages import Step
from app.services.desk import STATION, Desk


def too_late(desk: Desk, step: Step) -> Refusal | None:
    """Why this step may not be written at this desk, because a station tells of it too late; None where it may."""
    if not desk.told_late:
        return None
    return told_too_late(step, desk.not_before or desk.happened_at, desk.now)


def is_unread(desk: Desk) -> bool:
    """Whether nobody reads what is answered here: what was scanned next, before the answer came, does not reply to it."""
    return desk.told_late and desk.now - desk.happened_at > STILL_THERE


def refuse_too_late(desk: Desk, *steps: Step) -> None:
    """Refused: too-old, for any of these steps that a station may not tell of so late."""
    for step in steps:
        if (refusal := too_late(desk, step)) is not None:
            raise Refused(refusal)


def late_facts(desk: Desk, step: Step) -> dict[str, Any]:
    """What an entry keeps of an uncertain time beside the latest that it may have been: the earliest.

    Every entry is written with it. Refused: too-old, where a station tells of this step too late; a correction that
    follows from something else was looked at before.
    """
    if step is not Step.CORRECT:
        refuse_too_late(desk, step)
    return {"not_before": desk.not_before.isoformat()} if desk.not_before is not None else {}


def hear_of(session: Session, station_id: int, held: int, now: datetime) -> None:
    """Write down that a station was heard of, and whether it has scans to send; what it sends later is not older."""
    values = {"clear_at": now} if held == 0 else {"seen_at": now}
    session.execute(update(STATION).where(STATION.c.id == station_id).values(**values))
