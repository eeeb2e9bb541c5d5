"""When somebody was signed in where, and how that began and ended."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from app.db.models import Attendance, Station, Worker
from app.domain.attendance import BEGAN_WORDS, ENDED_WORDS
from app.domain.language import say

MOST_TIMES = 30


@dataclass(frozen=True, slots=True)
class TimeThere:
    """A time at a station; `until` is None and `ended` empty while it goes on, `beside` names whom they learned from."""

    attendance_id: int
    station: str
    since: datetime
    until: datetime | None
    began: str
    ended: str
    beside: str


def times_of(session: Session, worker_id: int) -> tuple[TimeThere, ...]:
    """A worker's last times at stations, the latest first; only those that are still kept by person."""
    teacher = aliased(Worker)
    found = (
        select(Attendance, Station.name, teacher.name)
        .join(Station, Station.id == Attendance.station_id)
        .outerjoin(teacher, teacher.id == Attendance.beside_id)
        .where(Attendance.worker_id == worker_id)
        .order_by(Attendance.signed_in_at.desc(), Attendance.id.desc())
    )
    rows = session.execute(found.limit(MOST_TIMES))
    return tuple(
        TimeThere(
            time.id, station, time.signed_in_at, time.signed_out_at, began_words(time.how), _ended(time), beside or ""
        )
        for time, station, beside in rows
    )


def began_words(how: str) -> str:
    """How somebody signed in, as it is said: "by badge"."""
    return say(BEGAN_WORDS.get(how, how))


def _ended(time: Attendance) -> str:
    if time.signed_out_at is None:
        return ""
    # What ended before this was written down was signed out, as far as anybody knows.
    return say(ENDED_WORDS.get(time.ended_how or "out", say("signed out")))
