"""Tables of the press room, the freezer and the inspection."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Float, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from app.db.models.base import Base


class Stack(Base):
    """Glued sheets lying in layers under weights. `next_layer` never goes back, so that no two sheets share a layer."""

    __tablename__ = "stack"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    code_on: Mapped[str] = mapped_column(unique=True)
    code_off: Mapped[str] = mapped_column(unique=True)
    capacity: Mapped[int]
    mass_kg: Mapped[float] = mapped_column(Float, default=0.0)
    pieces: Mapped[int] = mapped_column(default=4)
    weights_on: Mapped[bool] = mapped_column(default=False)
    turned_at: Mapped[datetime | None]
    seen_on_at: Mapped[datetime | None]
    last_at: Mapped[datetime | None]
    next_layer: Mapped[int] = mapped_column(default=1)
    counted: Mapped[int | None]
    counted_of: Mapped[int | None]
    counted_at: Mapped[datetime | None]
    closed_at: Mapped[datetime | None]


class Layer(Base):
    """A sheet lay in a stack from one entry to another."""

    __tablename__ = "layer"
    id: Mapped[int] = mapped_column(primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id"), index=True)
    stack_id: Mapped[int] = mapped_column(ForeignKey("stack.id"))
    layer: Mapped[int]
    laid_at: Mapped[datetime]
    out_at: Mapped[datetime | None]
    laid_entry_id: Mapped[int] = mapped_column(ForeignKey("entry.id"), index=True)
    out_entry_id: Mapped[int | None] = mapped_column(ForeignKey("entry.id"), index=True)
    __table_args__ = (
        UniqueConstraint("stack_id", "layer"),
        Index("ix_layer_stack_lying", "stack_id", sqlite_where=text("out_at IS NULL"),
              postgresql_where=text("out_at IS NULL")),
        Index("ix_layer_stack_out", "stack_id", "out_at"),
    )  # fmt: skip


class WeightSpan(Base):
    """The weights lay on a stack from `on_at` to `off_at`: folded from the stack's entries."""

    __tablename__ = "weight_span"
    id: Mapped[int] = mapped_column(primary_key=True)
    stack_id: Mapped[int] = mapped_column(ForeignKey("stack.id"))
    on_at: Mapped[datetime]
    off_at: Mapped[datetime | None]
    __table_args__ = (Index("ix_weight_span_stack", "stack_id", "off_at"),)


class FreezerLoad(Base):
    """A bag or box on its way through the freezer: what lies loose in it lies in its own bundle, tied bundles are listed
    beside. A freezer is a cabinet with `freezes_to_c`; what happens to it (opened, defrosted, a power cut) is an entry of
    that cabinet. `rule_c` and `rule_days` are the house's when it was put in. `cold_from` is logger or reckoned, `treated`
    whether it counted as a treatment, None until it is opened. Temperatures in degrees Celsius.
    """

    __tablename__ = "freezer_load"
    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    bundle_id: Mapped[int | None] = mapped_column(ForeignKey("bundle.id"))
    freezer_id: Mapped[int | None] = mapped_column(ForeignKey("cabinet.id"))
    made_at: Mapped[datetime | None]
    put_in_at: Mapped[datetime | None]
    cold_at: Mapped[datetime | None]
    cold_from: Mapped[str | None]
    out_at: Mapped[datetime | None]
    opened_at: Mapped[datetime | None]
    lowest_c: Mapped[float | None] = mapped_column(Float)
    rule_c: Mapped[float | None] = mapped_column(Float)
    rule_days: Mapped[int | None]
    treated: Mapped[bool | None]
    last_at: Mapped[datetime | None]
    __table_args__ = (
        Index("ix_freezer_load_open", "put_in_at", sqlite_where=text("opened_at IS NULL"),
              postgresql_where=text("opened_at IS NULL")),
    )  # fmt: skip


class LoadBundle(Base):
    """A tied bundle that lies in a load."""

    __tablename__ = "load_bundle"
    load_id: Mapped[int] = mapped_column(ForeignKey("freezer_load.id"), primary_key=True)
    bundle_id: Mapped[int] = mapped_column(ForeignKey("bundle.id"), primary_key=True, index=True)


class Inspection(Base):
    """One look at a mounted sheet and how it ended; credited to the mounting entry that it judges."""

    __tablename__ = "inspection"
    id: Mapped[int] = mapped_column(primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id"), index=True)
    entry_id: Mapped[int] = mapped_column(ForeignKey("entry.id"), unique=True)
    mount_entry_id: Mapped[int | None] = mapped_column(ForeignKey("entry.id"), index=True)
    outcome: Mapped[str]
    inspected_at: Mapped[datetime]


class Finding(Base):
    """One thing that an inspection found wrong, and where on the sheet, in thousandths of its width and height."""

    __tablename__ = "finding"
    id: Mapped[int] = mapped_column(primary_key=True)
    inspection_id: Mapped[int] = mapped_column(ForeignKey("inspection.id"), index=True)
    kind: Mapped[str]
    at_x: Mapped[int | None]
    at_y: Mapped[int | None]
    note: Mapped[str | None]
    marks: Mapped[dict[str, Any] | None]
