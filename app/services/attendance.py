"""Times at a station: they end when somebody goes, when nothing is scanned any more, and by the manager's word."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, bindparam, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Attendance, Station, table_of
from app.db.prepared import prepared
from app.db.rules import room_house
from app.domain.attendance import idle_since
from app.domain.house import House
from app.domain.language import say
from app.services.changes import changed

ATTENDANCE = table_of(Attendance)
STATION = table_of(Station)
OPEN = ATTENDANCE.c.signed_out_at.is_(None)
NOTHING_IN_HAND = {"pending": None, "stack_id": None, "bundle_id": None, "last_sheet_id": None, "in_round": False}
_OPEN_TIMES = select(ATTENDANCE.c.id, ATTENDANCE.c.signed_in_at, ATTENDANCE.c.station_id, STATION.c.seen_at).join(
    STATION, STATION.c.id == ATTENDANCE.c.station_id
)
_ENDED_IDLE = prepared(
    select(ATTENDANCE)
    .where(
        ATTENDANCE.c.station_id == bindparam("station"), ATTENDANCE.c.ended_how == "idle",
        ATTENDANCE.c.signed_in_at <= bindparam("told"), ATTENDANCE.c.signed_out_at >= bindparam("since"),
    )
    .order_by(ATTENDANCE.c.id)
)  # fmt: skip


def end_times(session: Session, now: datetime, how: str, *which: ColumnElement[bool]) -> None:
    """End every open time that fits; `how` is out, elsewhere, replaced or left. It ends now, and one that was idle with
    the last scan there.
    """
    sign_out_idle(session, now, room_house(session)[0], *which)
    session.execute(update(ATTENDANCE).where(OPEN, *which).values(signed_out_at=now, ended_how=how))


def sign_out_idle(session: Session, now: datetime, house: House, *which: ColumnElement[bool]) -> int:
    """Sign out whoever is at a station where nothing was scanned for longer than the house rule; how many that were.

    With `which`, only those whose time fits. It ends with the last scan there by anyone, or with the sign-in, and what
    they had in hand is put down.
    """
    if not house.idle_sign_out_min:
        return 0
    return _end_idle(session, session.execute(_OPEN_TIMES.where(OPEN, *which)).all(), now, house)


def leave_if_idle(session: Session, station: RowMapping, now: datetime, house: House) -> bool:
    """Sign out whoever is idle at this station, before it is used again; whether there was anybody.

    It asks nothing of the database while the station was used within the limit.
    """
    seen_at = station["seen_at"]
    if seen_at is not None and now - seen_at <= timedelta(minutes=house.idle_sign_out_min):
        return False
    return sign_out_idle(session, now, house, ATTENDANCE.c.station_id == station["id"]) > 0


def called_back(session: Session, station_id: int, told: datetime, now: datetime, house: House) -> tuple[Any, ...]:
    """The times that were ended as idle, though a scan that the station had kept shows them to have gone on.

    While the line is down nothing is heard of a station. A kept scan that was made within the limit of their last one
    is theirs, and their time goes on until then; where that is not long ago, they are signed in again.
    """
    limit = timedelta(minutes=house.idle_sign_out_min)
    asked = {"station": station_id, "told": told, "since": told - limit}
    found = [row for row in session.execute(_ENDED_IDLE, asked) if not _is_taken_over(session, row, told)]
    for row in found:
        goes_on = now - told <= limit and not _is_taken_over(session, row, now)
        until = None if goes_on else max(row.signed_out_at, told)
        values = {"signed_out_at": until, "ended_how": None if goes_on else "idle"}
        session.execute(update(ATTENDANCE).where(ATTENDANCE.c.id == row.id).values(**values))
    return tuple(found)


def set_end(
    session: Session, attendance_id: int, ended_at: datetime, why: str, now: datetime, *, by: int | None
) -> None:
    """Write in when somebody really left, where they forgot to sign out; the hours follow.

    ValueError without a reason, for a time before the sign-in or yet to come, for one after they signed in elsewhere, and
    for hours that are no longer kept by person.
    """
    row = session.execute(select(ATTENDANCE).where(ATTENDANCE.c.id == attendance_id)).one_or_none()
    if row is None:
        raise ValueError(say("These hours are no longer kept by person."))
    if not why.strip():
        raise ValueError(say("Say why; it stays with what was changed."))
    if wrong := _wrong_end(session, row, ended_at, now):
        raise ValueError(wrong)
    if ended_at == row.signed_out_at:
        return
    session.execute(update(ATTENDANCE).where(ATTENDANCE.c.id == row.id).values(signed_out_at=ended_at, ended_how="out"))
    _put_down(session, [row.station_id] if row.signed_out_at is None else [])
    old = row.signed_out_at.isoformat() if row.signed_out_at else None
    changed(session, now, by, "worker", row.worker_id, "signed out", old=old, new=ended_at.isoformat(), why=why.strip())


def _wrong_end(session: Session, row: Any, ended_at: datetime, now: datetime) -> str:
    if ended_at < row.signed_in_at:
        return say("That is before the sign-in. Give a later time.")
    if ended_at > now:
        return say("That time has not come yet. Give an earlier one.")
    if _moved_on(session, row, ended_at):
        return say("By then they had signed in again, here or at another station. Give an earlier time.")
    return ""


def _end_idle(session: Session, rows: Iterable[Any], now: datetime, house: House) -> int:
    stations = []
    for row in rows:
        ended_at = idle_since(row.signed_in_at, row.seen_at, now, house.idle_sign_out_min)
        if ended_at is not None:
            mine = update(ATTENDANCE).where(ATTENDANCE.c.id == row.id)
            session.execute(mine.values(signed_out_at=ended_at, ended_how="idle"))
            stations.append(row.station_id)
    _put_down(session, stations)
    return len(stations)


def _put_down(session: Session, stations: list[int]) -> None:
    """Whoever comes next to a station where nobody is left does not answer what was asked of those before."""
    for station_id in set(stations):
        here = select(ATTENDANCE.c.id).where(OPEN, ATTENDANCE.c.station_id == station_id).exists()
        session.execute(update(STATION).where(STATION.c.id == station_id, ~here).values(**NOTHING_IN_HAND))


def _moved_on(session: Session, row: Any, until: datetime) -> bool:
    """Whether the worker signed in again, here or elsewhere, by that moment."""
    later = (ATTENDANCE.c.worker_id == row.worker_id, ATTENDANCE.c.signed_in_at > row.signed_in_at)
    found = select(ATTENDANCE.c.id).where(*later, ATTENDANCE.c.signed_in_at <= until)
    return session.execute(found.limit(1)).first() is not None


def _is_taken_over(session: Session, row: Any, until: datetime) -> bool:
    """Whether by that moment the worker had signed in again, or anybody else at the station they had left."""
    later = (ATTENDANCE.c.station_id == row.station_id, ATTENDANCE.c.signed_in_at > row.signed_out_at)
    found = select(ATTENDANCE.c.id).where(*later, ATTENDANCE.c.signed_in_at <= until)
    return _moved_on(session, row, until) or session.execute(found.limit(1)).first() is not None
