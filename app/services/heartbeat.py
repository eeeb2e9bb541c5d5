"""The sign of life that the running room gives once a minute, so that a clock that was set is noticed at the next start."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Heartbeat, table_of
from app.db.upsert import replacing
from app.domain.house import House

HEARTBEAT = table_of(Heartbeat)
_LAST = select(HEARTBEAT.c.beat_at).where(HEARTBEAT.c.id == 1)


def beat(session: Session, now: datetime) -> None:
    """Write down that the room is running now."""
    statement = replacing(session.get_bind().dialect.name, HEARTBEAT, ("beat_at",))
    session.execute(statement, {"id": 1, "beat_at": now, "confirmed_at": None})


def clock_is_strange(session: Session, now: datetime, house: House) -> bool:
    """Whether the clock stands before the last sign of life, or further after it than the house's days.

    A clock is set back by some seconds now and then; as many minutes as it may run ahead are let pass.
    """
    last: datetime | None = session.execute(_LAST).scalar()
    if last is None:
        return False
    is_before = last - now > timedelta(minutes=house.clock_ahead_min)
    return is_before or now - last > timedelta(days=house.clock_gap_days)
