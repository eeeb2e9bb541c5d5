"""Dangers said and cleared from a page: of what was typed, and of many at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Consignment, Hazard, Sheet, table_of
from app.db.rules import room_house
from app.domain.language import say
from app.domain.numbers import Kind
from app.domain.reading import Exact, read
from app.services.facts import sheet_by_number
from app.services.hazards import clear_hazard, put_hazard

SHEET = table_of(Sheet)
HAZARD = table_of(Hazard)


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
