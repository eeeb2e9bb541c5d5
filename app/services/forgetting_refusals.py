"""Refused scans are kept for some months, to see what to teach, and then forgotten."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import delete
from sqlalchemy.orm import Session

from app.db.models import RefusedScan, table_of
from app.db.rules import room_house
from app.domain.keeping import months_before

REFUSED = table_of(RefusedScan)


def forget_refusals(session: Session, now: datetime) -> int:
    """Delete what was refused longer ago than the house keeps it (keep_refusals_months); how many rows that were."""
    house = room_house(session)[0]
    old = delete(REFUSED).where(REFUSED.c.refused_at < months_before(now, house.keep_refusals_months))
    return len(session.execute(old.returning(REFUSED.c.id)).all())
