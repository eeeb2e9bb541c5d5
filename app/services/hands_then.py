"""Who stood at a station when a scan was made that it had kept: coming and going are told late, too, and in order."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, bindparam, func, insert, or_, select, update
from sqlalchemy.orm import Session

from app.db.prepared import prepared
from app.services.attendance import ATTENDANCE, sign_out_idle
from app.services.desk import Desk

_HERE_THEN = prepared(
    select(ATTENDANCE)
    .where(
        ATTENDANCE.c.station_id == bindparam("station"), ATTENDANCE.c.signed_in_at <= bindparam("told"),
        or_(ATTENDANCE.c.signed_out_at.is_(None), ATTENDANCE.c.signed_out_at > bindparam("told")),
    )
    .order_by(ATTENDANCE.c.id)
)  # fmt: skip


def here_then(session: Session, station_id: int, told: datetime) -> tuple[Any, ...]:
    """The times at this station that were not over at that moment, however they ended since."""
    return tuple(session.execute(_HERE_THEN, {"station": station_id, "told": told}))


def come_then(desk: Desk, worker_id: int, how: str) -> None:
    """Sign a worker in at the moment at which the kept badge was scanned.

    They were nowhere else from then on, and whoever was here was gone. Where the worker signed in elsewhere since, or
    somebody else here, their time here ended with that.
    """
    told, mine = desk.happened_at, ATTENDANCE.c.worker_id == worker_id
    here = ATTENDANCE.c.station_id == desk.station_id
    sign_out_idle(desk.session, desk.now, desk.house, mine)
    _end_then(desk, "replaced", here)
    _end_then(desk, "elsewhere", mine)
    later = select(func.min(ATTENDANCE.c.signed_in_at)).where(ATTENDANCE.c.signed_in_at > told)
    taken_over = desk.session.execute(later.where(here)).scalar()
    moved_on = desk.session.execute(later.where(mine)).scalar()
    ends = min((at for at in (taken_over, moved_on) if at is not None), default=None)
    ended_how = None if ends is None else "replaced" if ends == taken_over else "elsewhere"
    values = {"worker_id": worker_id, "station_id": desk.station_id, "signed_in_at": told, "signed_out_at": ends,
              "ended_how": ended_how, "how": how}  # fmt: skip
    desk.session.execute(insert(ATTENDANCE), values)


def gone_then(desk: Desk) -> None:
    """Sign out whoever stood here when the kept card was scanned."""
    _end_then(desk, "out", ATTENDANCE.c.station_id == desk.station_id)


def _end_then(desk: Desk, how: str, *which: ColumnElement[bool]) -> None:
    told = desk.happened_at
    lasted = or_(ATTENDANCE.c.signed_out_at.is_(None), ATTENDANCE.c.signed_out_at > told)
    ended = update(ATTENDANCE).where(*which, ATTENDANCE.c.signed_in_at <= told, lasted)
    desk.session.execute(ended.values(signed_out_at=told, ended_how=how))
