"""Sheets that somebody wants done soon: asked for with a reason, and a day if there is one, until it is done or let go."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import insert, select, update
from sqlalchemy.orm import Session

from app.db.models import Sheet, Wanted, table_of
from app.domain.consigned import why_closed
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.stages import Stage, Step
from app.services.changes import changed
from app.services.custody import standing_of
from app.services.desk import Desk
from app.services.facts import place_words, sheet_by_id

SHEET = table_of(Sheet)
WANTED = table_of(Wanted)
LONGEST = 300
# The steps after which nobody waits for a sheet any more, and how its wish is said to have ended.
ENDED_BY: dict[str, str] = {Step.FILE: "filed", Step.WITHDRAW: "withdrawn"}


def ask_for(session: Session, sheet_id: int, why: str, now: datetime, today: date, *, needed_on: date | None, by: int,
            teaches: bool) -> str:  # fmt: skip
    """Ask that a sheet be done soon. Where there is nothing to ask for, a sentence says why, and nothing is written: it is
    filed or closed, or somebody else has asked already (whose wish only they, a trainer or the manager replace).

    ValueError without a reason, or for a day before `today`.
    """
    row = sheet_by_id(session, sheet_id)
    if row["closed_as"] is not None:
        return say("It was closed: {closed_as}.", closed_as=why_closed(row["closed_as"]))
    if row["stage"] == Stage.FILED:
        place = place_words(session, standing_of(row).place)
        return say("It is filed in {place}.", place=place) if place else say("It is filed.")
    if needed_on is not None and needed_on < today:
        raise ValueError(say("That day has passed. Give today or a later one."))
    wish = _open_wish(session, sheet_id)
    if wish is not None and wish.asked_by != by and not teaches:
        return say("It is wanted already: {why}. Ask a trainer if it is needed otherwise.", why=wish.why)
    want(session, sheet_id, why, now, needed_on=needed_on, by=by)
    return ""


def give_up(session: Session, sheet_id: int, how: str, now: datetime, *, by: int, teaches: bool) -> bool:
    """A sheet is no longer wanted, as whoever asked for it, a trainer or the manager says; False when it was not.

    Refused: manager-only for anybody else. ValueError when it is not said what became of it.
    """
    sheet_by_id(session, sheet_id)
    wish = _open_wish(session, sheet_id)
    if wish is not None and wish.asked_by != by and not teaches:
        words = say("Somebody else asked for it.")
        raise Refused(
            Refusal("manager-only", words, say("They, a trainer or the manager may say that it is not wanted."))
        )
    how = " ".join(how.split())
    if not how:
        raise ValueError(say("Say what became of it."))
    return let_go(session, sheet_id, how, now, by=by)


def end_wish(desk: Desk, sheet_id: int, step: Step) -> None:
    """A wanted sheet is filed, or leaves the queue: the wish ends with that entry, and with the same moment."""
    by = desk.by[0].worker_id if desk.by else None
    if _end(desk.session, sheet_id, desk.happened_at, by, ENDED_BY[step]):
        desk.session.execute(update(SHEET).where(SHEET.c.id == sheet_id).values(wanted_at=None))


def wish_again(desk: Desk, sheet_id: int, step: Step, happened_at: datetime) -> None:
    """The entry that ended a wish was taken back: the sheet is wanted again, unless it was asked for anew meanwhile."""
    mine = (WANTED.c.sheet_id == sheet_id, WANTED.c.ended_at == happened_at, WANTED.c.how == ENDED_BY[step])
    wish = desk.session.execute(
        select(WANTED.c.id, WANTED.c.asked_at).where(*mine).order_by(WANTED.c.id.desc())
    ).first()
    if wish is None or _open_wish(desk.session, sheet_id) is not None:
        return
    opened = update(WANTED).where(WANTED.c.id == wish.id).values(ended_at=None, ended_by=None, how=None)
    desk.session.execute(opened)
    desk.session.execute(update(SHEET).where(SHEET.c.id == sheet_id).values(wanted_at=wish.asked_at))


def pass_on(session: Session, closed_id: int, kept_id: int, now: datetime) -> None:
    """Two numbers were one sheet: what was asked for by the one that is closed is asked for the other, if nothing is yet."""
    wish = _open_wish(session, closed_id)
    if wish is None:
        return
    let_go(session, closed_id, "put together", now, by=wish.asked_by)
    if _open_wish(session, kept_id) is None:
        want(session, kept_id, wish.why, now, needed_on=wish.needed_on, by=wish.asked_by)


def want(session: Session, sheet_id: int, why: str, now: datetime, *, needed_on: date | None = None,
         by: int | None = None) -> int:  # fmt: skip
    """Ask that a sheet be done soon; what was asked for it before is replaced. ValueError without a reason."""
    why = " ".join(why.split())
    if not why:
        raise ValueError(say("Say what it is wanted for."))
    if len(why) > LONGEST:
        raise ValueError(say("Say it in {most} letters at most.", most=LONGEST))
    _end(session, sheet_id, now, by, "asked for anew")
    values = {"sheet_id": sheet_id, "asked_at": now, "asked_by": by, "needed_on": needed_on, "why": why}
    wish_id: int = session.execute(insert(WANTED).values(**values).returning(WANTED.c.id)).scalar_one()
    session.execute(update(SHEET).where(SHEET.c.id == sheet_id).values(wanted_at=now))
    changed(session, now, by, "sheet", sheet_id, "wanted", new=needed_on.isoformat() if needed_on else None, why=why)
    return wish_id


def let_go(session: Session, sheet_id: int, how: str, now: datetime, *, by: int | None = None) -> bool:
    """A sheet is no longer wanted, and why; False when it was not."""
    if not _end(session, sheet_id, now, by, how):
        return False
    session.execute(update(SHEET).where(SHEET.c.id == sheet_id).values(wanted_at=None))
    changed(session, now, by, "sheet", sheet_id, "no longer wanted", why=how)
    return True


def _open_wish(session: Session, sheet_id: int) -> Any | None:
    mine = (WANTED.c.sheet_id == sheet_id, WANTED.c.ended_at.is_(None))
    return session.execute(select(WANTED).where(*mine)).first()


def _end(session: Session, sheet_id: int, now: datetime, by: int | None, how: str) -> bool:
    still = select(WANTED.c.id).where(WANTED.c.sheet_id == sheet_id, WANTED.c.ended_at.is_(None))
    ids = list(session.execute(still).scalars())
    if ids:
        session.execute(update(WANTED).where(WANTED.c.id.in_(ids)).values(ended_at=now, ended_by=by, how=how))
    return bool(ids)
