"""Tables of the supplies: what they are, what was counted, came in and was taken, and the lots of adhesive with their pots."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from app.db.models.base import Base


class Supply(Base):
    """One supply of the room. `unit` is what is counted and bought, `holds` how many grams or centimetres one of them holds
    (1 where a sheet takes one), `pack` how many are bought together; `order_below` is in units, `lead_weeks` from order to
    delivery. An adhesive's supply names which of the room's adhesives it is.
    """

    __tablename__ = "supply"
    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str]
    name: Mapped[str]
    unit: Mapped[str]
    holds: Mapped[int] = mapped_column(default=1)
    adhesive_id: Mapped[int | None] = mapped_column(ForeignKey("adhesive.id"))
    pack: Mapped[int] = mapped_column(default=1)
    order_below: Mapped[int] = mapped_column(default=0)
    lead_weeks: Mapped[int] = mapped_column(default=0)
    supplier: Mapped[str | None]
    added_at: Mapped[datetime]
    closed_at: Mapped[datetime | None]
    __table_args__ = (
        CheckConstraint("holds >= 1 AND pack >= 1 AND order_below >= 0 AND lead_weeks >= 0", name="sizes"),
        CheckConstraint("(kind = 'adhesive') = (adhesive_id IS NOT NULL)", name="adhesive"),
    )


class Lot(Base):
    """A batch of an adhesive, by the number on its label; its pots share one card. `label_on` is the date on the label,
    `ended_at` since when nothing more is glued from it.
    """

    __tablename__ = "lot"
    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(unique=True)
    supply_id: Mapped[int] = mapped_column(ForeignKey("supply.id"))
    number: Mapped[str]
    number_key: Mapped[str]
    label_on: Mapped[date | None]
    added_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    __table_args__ = (UniqueConstraint("supply_id", "number_key"),)


class SupplyEntry(Base):
    """One line of what happened to a supply: a count, a delivery, or what was taken for another end; never changed.

    `thousandths` is the amount in thousandths of a unit. What corrects another line takes its place; of kind void, nothing
    does.
    """

    __tablename__ = "supply_entry"
    id: Mapped[int] = mapped_column(primary_key=True)
    supply_id: Mapped[int] = mapped_column(ForeignKey("supply.id"))
    kind: Mapped[str]
    thousandths: Mapped[int]
    happened_at: Mapped[datetime]
    recorded_at: Mapped[datetime]
    entered_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"))
    supplier: Mapped[str | None]
    why: Mapped[str | None]
    corrects: Mapped[int | None] = mapped_column(ForeignKey("supply_entry.id"))
    __table_args__ = (
        CheckConstraint("kind IN ('count', 'came', 'taken', 'void')", name="kind"),
        CheckConstraint("thousandths >= 0", name="thousandths"),
        Index("ix_supply_entry_supply", "supply_id", "happened_at"),
        Index("ix_supply_entry_corrects", "corrects", unique=True, sqlite_where=text("corrects IS NOT NULL"),
              postgresql_where=text("corrects IS NOT NULL")),
    )  # fmt: skip


class LotOpening(Base):
    """From `opened_at` on a pot of this lot is the one that is open at a station for its adhesive; with no lot, none is.

    Never changed: what corrects another line takes its place, a void one leaves nothing in it. `adhesive_before_id` is what
    the station glued with until then.
    """

    __tablename__ = "lot_opening"
    id: Mapped[int] = mapped_column(primary_key=True)
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    adhesive_id: Mapped[int] = mapped_column(ForeignKey("adhesive.id"))
    lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"))
    opened_at: Mapped[datetime]
    recorded_at: Mapped[datetime]
    opened_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    scan_id: Mapped[str | None]
    adhesive_before_id: Mapped[int | None] = mapped_column(ForeignKey("adhesive.id"))
    is_void: Mapped[bool] = mapped_column(default=False)
    why: Mapped[str | None]
    corrects: Mapped[int | None] = mapped_column(ForeignKey("lot_opening.id"))
    __table_args__ = (
        Index("ix_lot_opening_station", "station_id", "opened_at"),
        Index("ix_lot_opening_corrects", "corrects", unique=True, sqlite_where=text("corrects IS NOT NULL"),
              postgresql_where=text("corrects IS NOT NULL")),
    )  # fmt: skip
