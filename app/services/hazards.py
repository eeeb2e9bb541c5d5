"""Dangers that travel with a sheet or a consignment: said with a scan or on a page, and cleared with a reason, one or many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Consignment, Hazard, Sheet, table_of
from app.db.rules import room_house
from app.domain.hazards import CAUTIONS, HAZARD_WORDS
from app.domain.language import ENGLISH, say, speaking
from app.domain.numbers import Kind
from app.domain.reading import Exact, read
from app.services.changes import changed
from app.services.describing import hazard_kinds
from app.services.desk import Desk
from app.services.facts import sheet_by_number
from app.services.room import add_hazard

SHEET = table_of(Sheet)
HAZARD = table_of(Hazard)


def say_hazards(desk: Desk, row: RowMapping) -> None:
    """Write down the hazards that came with this scan, each once; those that nobody knows here are left aside."""
    said = desk.request.facts.get("hazards", ())
    kinds = [kind for kind in dict.fromkeys([said] if isinstance(said, str) else said) if kind in CAUTIONS]
    if not kinds:
        return
    known = hazard_kinds(desk.session, row["id"], row["consignment_id"])
    by = desk.by[0].worker_id if desk.by else None
    for kind in kinds:
        if kind not in known:
            add_hazard(desk.session, kind, desk.now, sheet_id=row["id"], by=by)


def put_hazard(session: Session, kind: str, why: str, now: datetime, by: int | None, *, sheet_id: int | None = None,
               consignment_id: int | None = None) -> bool:  # fmt: skip
    """Say that a sheet, or all of a consignment, carries a danger; False where that is known. ValueError for an unknown kind."""
    mine = (
        HAZARD.c.sheet_id.is_not_distinct_from(sheet_id),
        HAZARD.c.consignment_id.is_not_distinct_from(consignment_id),
    )
    standing = select(HAZARD.c.id).where(HAZARD.c.kind == kind, HAZARD.c.cleared_at.is_(None), *mine)
    if session.execute(standing).first() is not None:
        return False
    hazard_id = add_hazard(session, kind, now, sheet_id=sheet_id, consignment_id=consignment_id, by=by)
    session.execute(update(HAZARD).where(HAZARD.c.id == hazard_id).values(why=why.strip() or None))
    changed(session, now, by, "hazard", hazard_id, _told(session, hazard_id, kind), new="said", why=why.strip() or None)
    return True


def clear_hazard(session: Session, hazard_id: int, why: str, now: datetime, by: int | None) -> bool:
    """Say with a reason that a danger is none; False where it was cleared already. ValueError without a reason, or for none."""
    if not why.strip():
        raise ValueError(say("Say why: what was looked at, and what was found."))
    row = session.execute(select(HAZARD).where(HAZARD.c.id == hazard_id).with_for_update()).one_or_none()
    if row is None:
        raise ValueError(say("There is no such danger. Load the page again."))
    if row.cleared_at is not None:
        return False
    values = {"cleared_at": now, "cleared_by": by, "why": why.strip()}
    session.execute(update(HAZARD).where(HAZARD.c.id == hazard_id).values(values))
    told = _told(session, hazard_id, row.kind)
    changed(session, now, by, "hazard", hazard_id, told, old=row.why or "said", new="cleared", why=why.strip())
    return True


@dataclass(frozen=True, slots=True)
class SaidOf:
    """Of what a danger was said: its name, the number if it is a sheet, and whether nobody had said so before."""

    name: str
    number: str
    is_new: bool


def say_of(session: Session, text: str, kind: str, why: str, now: datetime, by: int | None) -> SaidOf:
    """Say that a sheet, by its number, or all of a consignment, by its code, carries a danger. ValueError for neither."""
    reading = read(text, room_house(session)[1])
    row = sheet_by_number(session, reading.text) if isinstance(reading, Exact) and reading.kind is Kind.SHEET else None
    if row is not None:
        return SaidOf(row["number"], row["number"], put_hazard(session, kind, why, now, by, sheet_id=row["id"]))
    mine = select(Consignment.id, Consignment.name).where(func.upper(Consignment.code) == text.strip().upper())
    came = session.execute(mine).one_or_none()
    if came is None:
        raise ValueError(
            say("No sheet here has this number, and no consignment this code. Type it off the slip, or the list.")
        )
    return SaidOf(came.name, "", put_hazard(session, kind, why, now, by, consignment_id=came.id))


def clear_many(session: Session, hazard_ids: Sequence[int], why: str, now: datetime, by: int | None) -> int:
    """Clear these with one reason; how many stood until now. ValueError without a reason, or for one that is not there."""
    return sum(clear_hazard(session, each, why, now, by) for each in dict.fromkeys(hazard_ids))


def clear_of(session: Session, hazard_id: int) -> str:
    """The number of the sheet that a danger was said of; empty where it was of a consignment."""
    found = select(SHEET.c.number).join(HAZARD, HAZARD.c.sheet_id == SHEET.c.id).where(HAZARD.c.id == hazard_id)
    return str(session.execute(found).scalar() or "")


@speaking(ENGLISH)
def _told(session: Session, hazard_id: int, kind: str) -> str:
    """A danger and what it travels with, as a change names them."""
    found = (
        select(Sheet.number, Consignment.name)
        .select_from(HAZARD)
        .outerjoin(Sheet, Sheet.id == HAZARD.c.sheet_id)
        .outerjoin(Consignment, Consignment.id == HAZARD.c.consignment_id)
        .where(HAZARD.c.id == hazard_id)
    )
    row = session.execute(found).one()
    return f"{HAZARD_WORDS.get(kind, kind)}, {row.number or row.name}"
