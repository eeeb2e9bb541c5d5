"""Lines of what needs a person, put aside by somebody who has seen them, until a day and with a reason."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, insert, select, update
from sqlalchemy.orm import Session

from app.db.models import PutAside, table_of
from app.db.rules import room_calendar, room_house
from app.domain.aside import checked_until
from app.domain.calendar import day_bounds, local_day
from app.domain.language import say
from app.services.changes import changed

ASIDE = table_of(PutAside)
LONGEST = 300


def put_aside(session: Session, key: str, many: int, until: date, why: str, now: datetime, zone: ZoneInfo, *,
              by: int | None = None) -> int:  # fmt: skip
    """Put the line with this key, which is about so many sheets, aside until a day of the room begins. What it was put
    aside for before is replaced. ValueError, in a sentence, without a reason, and for a day that is too soon or too far.
    """
    kind, _, subject = key.partition(" ")
    why = " ".join(why.split())
    if not why:
        raise ValueError(say("Say why; whoever asks next wants to know."))
    if len(why) > LONGEST:
        raise ValueError(say("Say it in {most} letters at most.", most=LONGEST))
    calendar = room_calendar(session, room_house(session)[0], zone)
    checked_until(kind, until, local_day(now, zone), calendar)
    _end(session, now, by, ASIDE.c.kind == kind, ASIDE.c.subject == subject)
    values = {"kind": kind, "subject": subject, "many": many, "aside_at": now, "aside_by": by,
              "until_at": day_bounds(until, zone)[0], "why": why}  # fmt: skip
    aside_id: int = session.execute(insert(ASIDE).values(**values).returning(ASIDE.c.id)).scalar_one()
    changed(session, now, by, "needs a person", aside_id, f"put aside: {key}", new=until.isoformat(), why=why)
    return aside_id


def take_again(session: Session, aside_id: int, now: datetime, *, by: int | None = None) -> bool:
    """Show a line again before its day; False when it was not put aside any more."""
    if not _end(session, now, by, ASIDE.c.id == aside_id, ASIDE.c.until_at > now):
        return False
    changed(session, now, by, "needs a person", aside_id, "taken up again")
    return True


def _end(session: Session, now: datetime, by: int | None, *which: ColumnElement[bool]) -> bool:
    still = select(ASIDE.c.id).where(ASIDE.c.ended_at.is_(None), *which)
    ids = list(session.execute(still).scalars())
    if ids:
        session.execute(update(ASIDE).where(ASIDE.c.id.in_(ids)).values(ended_at=now, ended_by=by))
    return bool(ids)
