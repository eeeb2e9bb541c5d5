"""Duplicates that may go in exchange: set free with a reason, and kept here after all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, func, insert, or_, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Hazard, Sheet, Specimen, table_of
from app.domain.consigned import NO_NUMBER, why_closed
from app.domain.language import mark, say
from app.domain.suspected import HISTORIC
from app.services.changes import changed, reason_given
from app.services.facts import sheet_by_number
from app.services.many_sheets import UNKNOWN

SHEET = table_of(Sheet)
SPECIMEN = table_of(Specimen)
HAZARD = table_of(Hazard)
MOST = 500
SUSPECTED = mark("it may carry mercury or arsenic: say that the receiver is told, or keep it.")
_TOLD = " (mercury or arsenic suspected; the receiver is told)"


@dataclass(frozen=True, slots=True)
class SetFree:
    """Of several specimens, each named by the number of one of its sheets: which it was done for, and why not for the others."""

    done: tuple[str, ...]
    left: tuple[tuple[str, str], ...]


def set_free(
    session: Session, numbers: Sequence[str], why: str, now: datetime, by: int | None, *, told: bool = False
) -> SetFree:
    """Set specimens free to go in exchange. One of each gathering stays; of a suspected one it is said that the receiver is
    `told`. ValueError without a reason, and for none or too many.
    """
    _may_be_asked(numbers, why)
    done, left = list[str](), list[tuple[str, str]]()
    for number in dict.fromkeys(numbers):
        row = sheet_by_number(session, number)
        if row is None or (reason := _stays(session, row, told)):
            left.append((number, say(UNKNOWN) if row is None else reason))
            continue
        words = why.strip() + (_TOLD if is_suspected(session, row) else "")
        specimen_id = _specimen_of(session, row)
        session.execute(
            update(SPECIMEN).where(SPECIMEN.c.id == specimen_id).values(exchange_at=now, exchange_why=words)
        )
        changed(
            session, now, by, "specimen", specimen_id, f"free to go in exchange, {row['number']}", new="free", why=words
        )
        done.append(row["number"])
    return SetFree(tuple(done), tuple(left))


def keep_here(session: Session, numbers: Sequence[str], why: str, now: datetime, by: int | None) -> SetFree:
    """Specimens that were free to go in exchange stay here after all. ValueError without a reason, and for none or too many."""
    _may_be_asked(numbers, why)
    done, left = list[str](), list[tuple[str, str]]()
    for number in dict.fromkeys(numbers):
        row = sheet_by_number(session, number)
        if row is None or not is_free(session, row):
            left.append((number, say(UNKNOWN) if row is None else say("it is not free to go.")))
            continue
        session.execute(
            update(SPECIMEN).where(SPECIMEN.c.id == row["specimen_id"]).values(exchange_at=None, exchange_why=None)
        )
        changed(session, now, by, "specimen", row["specimen_id"], f"free to go in exchange, {row['number']}", old="free",
                new="stays here", why=why.strip())  # fmt: skip
        _one_of_its_own(session, row["specimen_id"])
        done.append(row["number"])
    return SetFree(tuple(done), tuple(left))


def _stays(session: Session, row: RowMapping, told: bool) -> str:
    """Why a specimen is not set free; empty when it may be."""
    if row["closed_as"] is not None:
        return say("it was closed: {closed_as}.", closed_as=why_closed(row["closed_as"]))
    if row["stage"] is None:
        return say("it has not been taken in.")
    if is_free(session, row):
        return say("it is free already.")
    if not _others_stay(session, row):
        return say("no other specimen of its gathering would stay here.")
    return SUSPECTED if is_suspected(session, row) and not told else ""


def _others_stay(session: Session, row: RowMapping) -> bool:
    """Whether another specimen of the same collector and field number is here and is not free to go."""
    if row["collector_id"] is None or (row["record_number"] or "") in NO_NUMBER:
        return False
    found = (
        select(SHEET.c.id)
        .outerjoin(SPECIMEN, SPECIMEN.c.id == SHEET.c.specimen_id)
        .where(SHEET.c.collector_id == row["collector_id"], SHEET.c.record_number == row["record_number"], SHEET.c.id != row["id"],
               SHEET.c.closed_as.is_(None), SHEET.c.stage.is_not(None), SPECIMEN.c.exchange_at.is_(None))
    )  # fmt: skip
    if row["specimen_id"] is not None:
        found = found.where(SHEET.c.specimen_id.is_distinct_from(row["specimen_id"]))
    if row["event_date"]:
        found = found.where(or_(SHEET.c.event_date.is_(None), SHEET.c.event_date == row["event_date"]))
    return session.execute(found.limit(1)).first() is not None


def is_suspected(session: Session, row: RowMapping) -> bool:
    """Whether a sheet of its specimen, or its consignment, may carry mercury or arsenic."""
    whose: ColumnElement[bool] = HAZARD.c.sheet_id.in_(sheets_of(session, row))
    if row["consignment_id"] is not None:
        whose = or_(whose, HAZARD.c.consignment_id == row["consignment_id"])
    found = select(HAZARD.c.id).where(HAZARD.c.kind == HISTORIC, HAZARD.c.cleared_at.is_(None), whose)
    return session.execute(found.limit(1)).first() is not None


def sheets_of(session: Session, row: RowMapping) -> list[int]:
    """The rows of all sheets of a sheet's specimen, in their order."""
    if row["specimen_id"] is None:
        return [row["id"]]
    mine = select(SHEET.c.id).where(SHEET.c.specimen_id == row["specimen_id"], SHEET.c.closed_as.is_(None))
    return list(session.execute(mine.order_by(SHEET.c.part, SHEET.c.id)).scalars())


def is_free(session: Session, row: RowMapping) -> bool:
    """Whether the specimen of a sheet is free to go."""
    free = select(SPECIMEN.c.exchange_at).where(SPECIMEN.c.id == row["specimen_id"])
    return session.execute(free).scalar() is not None


def _specimen_of(session: Session, row: RowMapping) -> int:
    """The row of a sheet's specimen, which is made where there is none."""
    if row["specimen_id"] is not None:
        return int(row["specimen_id"])
    specimen_id = session.execute(insert(SPECIMEN).values(sheets=1).returning(SPECIMEN.c.id)).scalar_one()
    session.execute(update(SHEET).where(SHEET.c.id == row["id"]).values(specimen_id=specimen_id))
    return int(specimen_id)


def _one_of_its_own(session: Session, specimen_id: int) -> None:
    """A specimen of one sheet needs no row once it stays: so it can be joined with another sheet like any."""
    many = session.execute(select(func.count()).where(SHEET.c.specimen_id == specimen_id)).scalar_one()
    if many == 1:
        session.execute(update(SHEET).where(SHEET.c.specimen_id == specimen_id).values(specimen_id=None))


def _may_be_asked(numbers: Sequence[str], why: str) -> None:
    reason_given(why)
    if not 0 < len(numbers) <= MOST:
        raise ValueError(say("Tick 1 to {most} specimens at a time.", most=MOST))
