"""Lots of adhesive: made from the number on a label, each with a card, put right, and taken out of use."""

from __future__ import annotations

from datetime import date

from sqlalchemy import insert, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Lot, Supply, table_of
from app.domain.language import say
from app.domain.numbers import Kind
from app.domain.supplies import ADHESIVE
from app.services.changes import changed, reason_given
from app.services.codes_given import next_code
from app.services.supplies import Told, supply_row

LOT, SUPPLY = table_of(Lot), table_of(Supply)
LONGEST = 60


def lot_numbered(session: Session, supply_id: int, number: str, told: Told, label_on: date | None = None) -> int:
    """The lot of a supply with this number, as it stands on the label; made, with a card, where it is new. Its id.

    ValueError, in a sentence, for no number, and for a supply that is no adhesive.
    """
    called = " ".join(number.split())[:LONGEST]
    if not called:
        raise ValueError(say("Type the number of the lot, as it stands on the label."))
    if supply_row(session, supply_id)["kind"] != ADHESIVE:
        raise ValueError(say("Only an adhesive has lots."))
    known = select(LOT.c.id).where(LOT.c.supply_id == supply_id, LOT.c.number_key == _key(called))
    lot_id: int | None = session.execute(known).scalar()
    if lot_id is not None:
        return lot_id
    values = {"code": next_code(session, Kind.LOT), "supply_id": supply_id, "number": called, "number_key": _key(called),
              "label_on": label_on, "added_at": told.now}  # fmt: skip
    lot_id = session.execute(insert(LOT).values(values).returning(LOT.c.id)).scalar_one()
    changed(session, told.now, told.by, "lot", lot_id, "added", new=called)
    return lot_id


def say_of_lot(session: Session, lot_id: int, told: Told, number: str, label_on: date | None, why: str) -> None:
    """Put right a lot's number, or the date on its label. ValueError without a reason, or where another has the number."""
    row, called = lot_row(session, lot_id), " ".join(number.split())[:LONGEST]
    same = select(LOT.c.id).where(LOT.c.supply_id == row["supply_id"], LOT.c.number_key == _key(called))
    if not called or not why.strip():
        raise ValueError(say("Give the number as it stands on the label, and say why."))
    if set(session.execute(same).scalars()) - {lot_id}:
        raise ValueError(say("There is another lot with this number."))
    values = {"number": called, "number_key": _key(called), "label_on": label_on}
    session.execute(update(LOT).where(LOT.c.id == lot_id).values(**values))
    was, now_is = _said(row["number"], row["label_on"]), _said(called, label_on)
    changed(session, told.now, told.by, "lot", lot_id, "label", old=was, new=now_is, why=why.strip())


def end_lot(session: Session, lot_id: int, told: Told, why: str, *, again: bool = False) -> None:
    """Nothing more is glued from a lot, or `again` it is: its card says so. ValueError without a reason."""
    row = lot_row(session, lot_id)
    why = reason_given(why)
    session.execute(update(LOT).where(LOT.c.id == lot_id).values(ended_at=None if again else told.now))
    what = "in use again" if again else "out of use"
    changed(session, told.now, told.by, "lot", lot_id, what, old=row["number"], why=why)


def lot_row(session: Session, lot_id: int) -> RowMapping:
    """The lot's row; ValueError, in a sentence, where there is none."""
    row = session.execute(select(LOT).where(LOT.c.id == lot_id)).mappings().one_or_none()
    if row is None:
        raise ValueError(say("There is no such lot. Load the page again."))
    return row


def adhesive_of(session: Session, lot_id: int) -> int:
    """Which adhesive a lot is of; ValueError, in a sentence, where there is no such lot."""
    found = select(SUPPLY.c.adhesive_id).join(LOT, LOT.c.supply_id == SUPPLY.c.id).where(LOT.c.id == lot_id)
    adhesive_id: int | None = session.execute(found).scalar()
    if adhesive_id is None:
        raise ValueError(say("There is no such lot. Load the page again."))
    return adhesive_id


def _key(number: str) -> str:
    return "".join(number.split()).upper()


def _said(number: str, label_on: date | None) -> str:
    return f"{number}, {label_on.isoformat()}" if label_on else number
