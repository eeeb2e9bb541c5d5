"""Cards of the lots of adhesive in use, and which of their pots a table may open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Adhesive, Lot, Supply, table_of
from app.domain.language import say
from app.domain.numbers import shown
from app.queries.gluings import spans_now

LOT, SUPPLY = table_of(Lot), table_of(Supply)
# So many buttons are enough at a table: the newest lots, and whatever is open there.
MOST_OFFERED = 6
_IN_USE = (
    select(LOT.c.id, LOT.c.code, LOT.c.number, LOT.c.label_on, SUPPLY.c.adhesive_id, Adhesive.name.label("adhesive"))
    .join(SUPPLY, SUPPLY.c.id == LOT.c.supply_id)
    .join(Adhesive, Adhesive.id == SUPPLY.c.adhesive_id)
    .where(LOT.c.ended_at.is_(None), SUPPLY.c.closed_at.is_(None), Adhesive.ended_at.is_(None))
)


@dataclass(frozen=True, slots=True)
class LotCard:
    """The card of a lot: its number as it stands on the label, of which adhesive, and the date on the label."""

    code: str
    shown: str
    number: str
    adhesive: str
    label_on: date | None


@dataclass(frozen=True, slots=True)
class Pot:
    """A pot that a table may open by one touch: the code of its lot's card, its adhesive and number, and whether it is open."""

    code: str
    adhesive: str
    number: str
    is_open: bool


def lot_cards(session: Session, lot: str = "") -> tuple[LotCard, ...]:
    """The cards of the lots in use, by adhesive and number, or of the one with this code; ValueError, in a sentence, where it
    is not there.
    """
    rows = session.execute(_IN_USE.where(LOT.c.code == lot) if lot else _IN_USE).all()
    if lot and not rows:
        raise ValueError(say("There is no lot with the code {code} in use.", code=lot[:40]))
    ordered = sorted(rows, key=lambda row: (row.adhesive.lower(), row.number.lower()))
    return tuple(LotCard(row.code, shown(row.code, ()), row.number, row.adhesive, row.label_on) for row in ordered)


def pots_for(session: Session, station_id: int, at: datetime) -> tuple[Pot, ...]:
    """The pots that a table may open, the newest lots first; those that are open there stand first."""
    rows = session.execute(_IN_USE.order_by(LOT.c.id.desc())).all()
    if not rows:
        return ()
    open_now = {span.lot_id for span in spans_now(session) if span.holds(station_id, at)}
    here: list[Any] = [row for row in rows if row.id in open_now]
    others = [row for row in rows if row.id not in open_now][: max(MOST_OFFERED - len(here), 0)]
    return tuple(Pot(row.code, row.adhesive, row.number, row.id in open_now) for row in (*here, *others))
