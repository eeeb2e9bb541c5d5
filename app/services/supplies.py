"""Supplies: set up, counted, come in, taken for other ends; and put right, by lines that take the place of others."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import Any

from sqlalchemy import func, insert, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Adhesive, Supply, SupplyEntry, table_of
from app.db.standing import SUPPLY_STANDS
from app.domain.language import say
from app.domain.supplies import ADHESIVE, CAME, COUNT, KINDS, TAKEN, THOUSAND, UNITS, VOID
from app.services.changes import changed, reason_given

SUPPLY, SUPPLY_ENTRY = table_of(Supply), table_of(SupplyEntry)
CHANGEABLE = ("name", "pack", "order_below", "lead_weeks", "supplier")
LONGEST_NAME = 80


@dataclass(frozen=True, slots=True)
class Told:
    """When something was written down and by whom (a worker's id), and the moment at which it happened, None for now."""

    now: datetime
    by: int | None
    at: datetime | None = None


def add_supply(session: Session, kind: str, name: str, told: Told, *, unit: str = "", holds: int = 1,
               adhesive_id: int | None = None, **bought: Any) -> int:  # fmt: skip
    """Add a supply; `bought` is how: pack, order_below, lead_weeks, supplier. Its id.

    ValueError, in a sentence, for another kind or unit, a name that is taken, an adhesive that is not there, and a second
    supply in use of what the log can only reckon for one.
    """
    if kind not in KINDS or (unit and unit not in UNITS):
        raise ValueError(say("Choose what it is, and in which unit it is counted."))
    _may_be_added(session, kind, adhesive_id)
    _sized(holds=holds, **bought)
    small = bool(KINDS[kind].small)
    values = {"kind": kind, "name": _named(session, name, None), "unit": unit or KINDS[kind].unit, "added_at": told.now,
              "holds": holds if small else 1, "adhesive_id": adhesive_id if kind == ADHESIVE else None, **bought}  # fmt: skip
    supply_id: int = session.execute(insert(SUPPLY).values(values).returning(SUPPLY.c.id)).scalar_one()
    changed(session, told.now, told.by, "supply", supply_id, "added", new=str(values["name"]))
    return supply_id


def change_supply(session: Session, supply_id: int, told: Told, **new: Any) -> tuple[str, ...]:
    """Change a supply's name, or how it is bought; what was changed, by column. ValueError, in a sentence, as for adding."""
    row = supply_row(session, supply_id)
    wanted = {name: new[name] for name in CHANGEABLE if name in new}
    if "name" in wanted:
        wanted["name"] = _named(session, wanted["name"], supply_id)
    _sized(**{name: value for name, value in wanted.items() if name != "name"})
    differs = {name: value for name, value in wanted.items() if value != row[name]}
    if differs:
        session.execute(update(SUPPLY).where(SUPPLY.c.id == supply_id).values(**differs))
    for name, value in differs.items():
        changed(session, told.now, told.by, "supply", supply_id, name, old=_text(row[name]), new=_text(value))
    return tuple(differs)


def close_supply(session: Session, supply_id: int, told: Told, why: str) -> None:
    """A supply is no longer kept; its history stays. ValueError without a reason, and for one that is closed."""
    row = supply_row(session, supply_id)
    why = reason_given(why)
    session.execute(update(SUPPLY).where(SUPPLY.c.id == supply_id).values(closed_at=told.now))
    changed(session, told.now, told.by, "supply", supply_id, "closed", old=row["name"], why=why)


def count_supply(session: Session, supply_id: int, amount: Fraction, told: Told, why: str = "") -> int:
    """Somebody counted what lies in the cupboard, in units; the id of the line.

    ValueError, in a sentence, for a moment to come, and where it was counted at this very moment already.
    """
    return _enter(session, supply_id, COUNT, amount, told, why=why)


def came_in(session: Session, supply_id: int, amount: Fraction, told: Told, *, lot_id: int | None = None,
            supplier: str = "") -> int:  # fmt: skip
    """So many units came in, of which lot and from whom; the id of the line. ValueError as for a count, and for nothing."""
    if not amount:
        raise ValueError(say("Say how many came in."))
    return _enter(session, supply_id, CAME, amount, told, lot_id=lot_id, supplier=supplier)


def taken_out(session: Session, supply_id: int, amount: Fraction, told: Told, why: str) -> int:
    """So many units were spoiled, or taken for another end; the id of the line. ValueError without a reason, too."""
    if not amount:
        raise ValueError(say("Say how many were taken."))
    if not why.strip():
        raise ValueError(say("Say what became of it; it stays in the history."))
    return _enter(session, supply_id, TAKEN, amount, told, why=why)


def put_right(session: Session, entry_id: int, amount: Fraction | None, told: Told, why: str) -> int:
    """Another amount takes the place of a line, or with None nothing does; the id of the new line.

    Its moment stays, unless `told` names another. ValueError without a reason, and for a line that no longer stands.
    """
    row = standing_entry(session, entry_id)
    why = reason_given(why)
    kind = row["kind"] if amount is not None else VOID
    meant = Told(told.now, told.by, told.at or row["happened_at"])
    return _enter(session, row["supply_id"], kind, amount or Fraction(0), meant, corrects=entry_id, why=why,
                  lot_id=row["lot_id"], supplier=row["supplier"] or "")  # fmt: skip


def supply_row(session: Session, supply_id: int) -> RowMapping:
    """The supply in use with this id, its row locked; ValueError, in a sentence, where there is none."""
    found = select(SUPPLY).where(SUPPLY.c.id == supply_id, SUPPLY.c.closed_at.is_(None)).with_for_update()
    row = session.execute(found).mappings().one_or_none()
    if row is None:
        raise ValueError(say("There is no such supply in use. Load the page again."))
    return row


def standing_entry(session: Session, entry_id: int) -> RowMapping:
    """The line of a supply with this id, if it stands; ValueError, in a sentence, where it does not."""
    mine = select(SUPPLY_ENTRY).where(SUPPLY_ENTRY.c.id == entry_id, SUPPLY_STANDS)
    row = session.execute(mine).mappings().one_or_none()
    if row is None:
        raise ValueError(say("That line no longer stands. Load the page again."))
    return row


def _enter(session: Session, supply_id: int, kind: str, amount: Fraction, told: Told, *, corrects: int | None = None,
           lot_id: int | None = None, supplier: str = "", why: str = "") -> int:  # fmt: skip
    supply = supply_row(session, supply_id)
    at = told.at or told.now
    if at > told.now:
        raise ValueError(say("That time has not come yet."))
    if kind == COUNT:
        _once(session, supply_id, at, corrects)
    values = {"supply_id": supply_id, "kind": kind, "thousandths": int(amount * THOUSAND), "happened_at": at,
              "recorded_at": told.now, "entered_by": told.by, "lot_id": lot_id, "supplier": supplier.strip() or None,
              "why": why.strip() or None, "corrects": corrects}  # fmt: skip
    entry_id: int = session.execute(insert(SUPPLY_ENTRY).values(values).returning(SUPPLY_ENTRY.c.id)).scalar_one()
    # The line itself says it all; the change tells whoever keeps a reading of the room that there is one more.
    changed(session, told.now, told.by, "supply", supply["id"], kind, new=f"{float(amount):g}", why=why.strip() or None)
    return entry_id


def _once(session: Session, supply_id: int, at: datetime, corrects: int | None) -> None:
    same = (SUPPLY_ENTRY.c.supply_id == supply_id, SUPPLY_ENTRY.c.kind == COUNT, SUPPLY_ENTRY.c.happened_at == at)
    found = session.execute(select(SUPPLY_ENTRY.c.id).where(*same, SUPPLY_STANDS)).scalars().all()
    if set(found) - {corrects}:
        raise ValueError(say("It was counted at that very moment already. Put that count right instead."))


def _may_be_added(session: Session, kind: str, adhesive_id: int | None) -> None:
    mine: tuple[Any, ...] = (SUPPLY.c.kind == kind, SUPPLY.c.closed_at.is_(None))
    if kind == ADHESIVE:
        known = select(Adhesive.id).where(Adhesive.id == adhesive_id, Adhesive.ended_at.is_(None))
        if session.execute(known).scalar() is None:
            raise ValueError(say("Say which of the room's adhesives it is."))
        mine = (*mine, SUPPLY.c.adhesive_id == adhesive_id)
    other = session.execute(select(SUPPLY.c.name).where(*mine)).scalar() if kind != "other" else None
    if other is not None:
        raise ValueError(say("The log cannot tell it from {name}. Close that one first, or add to it.", name=other))


def _named(session: Session, name: str, supply_id: int | None) -> str:
    called = " ".join(name.split())[:LONGEST_NAME]
    if not called:
        raise ValueError(say("It needs a name."))
    same = select(SUPPLY.c.id).where(func.lower(SUPPLY.c.name) == called.lower(), SUPPLY.c.closed_at.is_(None))
    if set(session.execute(same).scalars()) - {supply_id}:
        raise ValueError(say("The name {name} is taken.", name=called))
    return called


def _sized(**sizes: Any) -> None:
    least = {"holds": 1, "pack": 1, "order_below": 0, "lead_weeks": 0}
    if any(not low <= sizes.get(name, low) <= 1_000_000 for name, low in least.items()):
        raise ValueError(say("A pack and a unit hold at least one; a line and a time are not below nothing."))


def _text(value: object) -> str | None:
    return None if value is None else str(value)
