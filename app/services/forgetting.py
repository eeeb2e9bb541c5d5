"""What is kept for some months only: whose the hours were, who saw a sheet, and which scans were refused."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import delete, update
from sqlalchemy.orm import Session

from app.db.models import HoursSum, RefusedScan, Sighting, table_of
from app.db.rules import room_house
from app.db.upsert import adding
from app.domain.attendance import forgotten_before, seconds_by_month
from app.domain.calendar import months_before
from app.services.attendance import ATTENDANCE

HOURS_SUM = table_of(HoursSum)
SIGHTING = table_of(Sighting)
REFUSED = table_of(RefusedScan)


def forget_old(session: Session, now: datetime, zone: ZoneInfo) -> int:
    """Add hours that are older than the house keeps them to the sums of their month and station, and forget whose they
    were; how many times at a station that were. Sightings that old lose their worker.

    Who took a step with a sheet stays with the sheet. Whoever is still signed in is not forgotten. All of it is one
    transaction, so that no hour is counted twice or lost.
    """
    limit = forgotten_before(now, room_house(session)[0].keep_hours_months, zone)
    old = (ATTENDANCE.c.signed_in_at < limit, ATTENDANCE.c.signed_out_at < limit)
    columns = (ATTENDANCE.c.station_id, ATTENDANCE.c.signed_in_at, ATTENDANCE.c.signed_out_at)
    gone = session.execute(delete(ATTENDANCE).where(*old).returning(*columns)).all()
    _add_up(session, gone, zone)
    seen = (SIGHTING.c.seen_at < limit, SIGHTING.c.worker_id.is_not(None))
    session.execute(update(SIGHTING).where(*seen).values(worker_id=None))
    return len(gone)


def forget_refusals(session: Session, now: datetime) -> int:
    """Delete what was refused longer ago than the house keeps it (keep_refusals_months); how many rows that were."""
    house = room_house(session)[0]
    old = delete(REFUSED).where(REFUSED.c.refused_at < months_before(now, house.keep_refusals_months))
    return len(session.execute(old.returning(REFUSED.c.id)).all())


def _add_up(session: Session, gone: Sequence[Any], zone: ZoneInfo) -> None:
    sums: Counter[tuple[str, int]] = Counter()
    for station_id, signed_in_at, signed_out_at in gone:
        for month, seconds in seconds_by_month(signed_in_at, signed_out_at, zone).items():
            sums[month, station_id] += seconds
    rows = [{"month": month, "station_id": station, "seconds": seconds} for (month, station), seconds in sums.items()]
    if rows:
        session.execute(adding(session.get_bind().dialect.name, HOURS_SUM, ("seconds",)), rows)
