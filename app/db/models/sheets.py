"""Tables of the sheets and of what they are sheets of."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from app.db.models.base import Base

IN_QUEUE = text("in_queue")


class Consignment(Base):
    """The sheets that arrived together, and where from. `place_in_order` is the room's own order of work."""

    __tablename__ = "consignment"
    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    source: Mapped[str | None]
    kind: Mapped[str] = mapped_column(default="fieldwork")
    papers: Mapped[str | None]
    arrived_on: Mapped[date | None]
    sheets_said: Mapped[int | None]
    note: Mapped[str | None]
    place_in_order: Mapped[int] = mapped_column(default=0)
    closed_at: Mapped[datetime | None]


class Gathering(Base):
    """What one collector took at one time and place."""

    __tablename__ = "gathering"
    id: Mapped[int] = mapped_column(primary_key=True)
    collector_id: Mapped[int | None] = mapped_column(ForeignKey("collector.id"))
    record_number: Mapped[str | None]
    event_date: Mapped[str | None]
    __table_args__ = (Index("ix_gathering_collector_number", "collector_id", "record_number"),)


class Specimen(Base):
    """One sheet or several that belong together. `exchange_at` is since when it is free to go in exchange, and why."""

    __tablename__ = "specimen"
    id: Mapped[int] = mapped_column(primary_key=True)
    gathering_id: Mapped[int | None] = mapped_column(ForeignKey("gathering.id"), index=True)
    sheets: Mapped[int] = mapped_column(default=1)
    exchange_at: Mapped[datetime | None]
    exchange_why: Mapped[str | None]


class NearName(Base):
    """A word of a plant's name with one letter left out, or none: so that a name is found with one wrong letter."""

    __tablename__ = "near_name"
    piece: Mapped[str] = mapped_column(primary_key=True)
    plant_name_id: Mapped[int] = mapped_column(ForeignKey("plant_name.id"), primary_key=True)
    __table_args__ = {"sqlite_with_rowid": False}


class PlantName(Base):
    """A plant's name as it is written, with a folded key to search by."""

    __tablename__ = "plant_name"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    authorship: Mapped[str | None]
    family: Mapped[str | None]
    search_key: Mapped[str] = mapped_column(index=True)
    __table_args__ = (Index("ix_plant_name_name", "name"),)


class Collector(Base):
    """A collector's name as it is written, with a folded key to search by."""

    __tablename__ = "collector"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    search_key: Mapped[str] = mapped_column(index=True)


class Bundle(Base):
    """What is tied, bagged or boxed together, with a card of its own; `dryer_id` is the dryer in which it lies."""

    __tablename__ = "bundle"
    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    kind: Mapped[str] = mapped_column(default="tray")
    method: Mapped[str | None]
    dryer_id: Mapped[int | None]
    pressed_at: Mapped[datetime | None]
    last_at: Mapped[datetime | None]
    closed_at: Mapped[datetime | None]


class Sheet(Base):
    """One sheet. Everything from `stage` on is folded from its log and written together with an entry."""

    __tablename__ = "sheet"
    id: Mapped[int] = mapped_column(primary_key=True)
    number: Mapped[str] = mapped_column(unique=True)
    consignment_id: Mapped[int | None] = mapped_column(ForeignKey("consignment.id"), index=True)
    specimen_id: Mapped[int | None] = mapped_column(ForeignKey("specimen.id"), index=True)
    part: Mapped[int] = mapped_column(default=1)
    plant_name_id: Mapped[int | None] = mapped_column(ForeignKey("plant_name.id"), index=True)
    collector_id: Mapped[int | None] = mapped_column(ForeignKey("collector.id"))
    record_number: Mapped[str | None]
    event_date: Mapped[str | None]
    locality: Mapped[str | None]
    is_sensitive: Mapped[bool] = mapped_column(default=False)
    pieces: Mapped[int] = mapped_column(default=1)
    notes: Mapped[str | None]
    kept: Mapped[dict[str, Any] | None]
    has_label: Mapped[bool] = mapped_column(default=True)
    wanted_at: Mapped[datetime | None]
    treated_until: Mapped[datetime | None]
    treated_left_s: Mapped[int | None]
    added_at: Mapped[datetime]
    stage: Mapped[str | None]
    came_at: Mapped[datetime | None]
    last_at: Mapped[datetime | None]
    cabinet_id: Mapped[int | None] = mapped_column(ForeignKey("cabinet.id"))
    shelf_id: Mapped[int | None] = mapped_column(ForeignKey("shelf.id"))
    bundle_id: Mapped[int | None] = mapped_column(ForeignKey("bundle.id"))
    table_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    stack_id: Mapped[int | None] = mapped_column(ForeignKey("stack.id"))
    layer: Mapped[int | None]
    kept_in_id: Mapped[int | None]
    bulk: Mapped[str] = mapped_column(default="ordinary")
    fresh: Mapped[bool] = mapped_column(default=False)
    adhesive_id: Mapped[int | None] = mapped_column(ForeignKey("adhesive.id"))
    minimum_s: Mapped[int | None]
    rule_version: Mapped[int | None]
    glued_at: Mapped[datetime | None]
    method: Mapped[str | None]
    pressed_at: Mapped[datetime | None]
    papers_at: Mapped[datetime | None]
    unmounted: Mapped[str | None]
    without_weight: Mapped[bool] = mapped_column(default=False)
    outcome: Mapped[str | None]
    inspected_by: Mapped[list[Any]] = mapped_column(default=list)
    mounted_by: Mapped[list[Any]] = mapped_column(default=list)
    mended_by: Mapped[list[Any]] = mapped_column(default=list)
    holds: Mapped[str] = mapped_column(default="")
    closed_as: Mapped[str | None]
    in_queue: Mapped[bool] = mapped_column(default=False)
    version: Mapped[int] = mapped_column(default=0)
    __table_args__ = (
        # All that the board asks of what waits, so that it never has to look at the rows themselves.
        Index("ix_sheet_queue", "stage", "cabinet_id", "came_at", "holds", "outcome", "fresh", "method", "papers_at",
              "shelf_id", "bundle_id", sqlite_where=IN_QUEUE, postgresql_where=IN_QUEUE),
        Index("ix_sheet_oldest", "came_at", sqlite_where=IN_QUEUE, postgresql_where=IN_QUEUE),
        Index("ix_sheet_collector_number", "collector_id", "record_number"),
        Index("ix_sheet_record_number", "record_number"),
        Index("ix_sheet_stack", "stack_id", sqlite_where=text("stack_id IS NOT NULL"),
              postgresql_where=text("stack_id IS NOT NULL")),
        Index("ix_sheet_bundle", "bundle_id", sqlite_where=text("bundle_id IS NOT NULL"),
              postgresql_where=text("bundle_id IS NOT NULL")),
        Index("ix_sheet_table", "table_id", sqlite_where=text("table_id IS NOT NULL"),
              postgresql_where=text("table_id IS NOT NULL")),
        Index("ix_sheet_shelf", "shelf_id"),
        Index("ix_sheet_loose", "cabinet_id", sqlite_where=text("shelf_id IS NULL"),
              postgresql_where=text("shelf_id IS NULL")),
        Index("ix_sheet_wanted", "wanted_at", sqlite_where=text("wanted_at IS NOT NULL"),
              postgresql_where=text("wanted_at IS NOT NULL")),
    )  # fmt: skip


class Wanted(Base):
    """Somebody asked that a sheet be done soon: for whom or what, by when, and how it ended."""

    __tablename__ = "wanted"
    id: Mapped[int] = mapped_column(primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id"), index=True)
    asked_at: Mapped[datetime]
    asked_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    needed_on: Mapped[date | None]
    why: Mapped[str]
    ended_at: Mapped[datetime | None]
    ended_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    how: Mapped[str | None]


class FormerNumber(Base):
    """A number that a sheet once had; it still finds the sheet."""

    __tablename__ = "former_number"
    number: Mapped[str] = mapped_column(primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id"), index=True)
    until_at: Mapped[datetime]


class Hold(Base):
    """A hold on a sheet, from the entry that put it to the entry that lifted it.

    Of a sheet that is out: with whom, and the day on which it is due back.
    """

    __tablename__ = "hold"
    id: Mapped[int] = mapped_column(primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id"))
    kind: Mapped[str]
    put_at: Mapped[datetime]
    put_entry_id: Mapped[int] = mapped_column(ForeignKey("entry.id"), index=True)
    lifted_at: Mapped[datetime | None]
    lifted_entry_id: Mapped[int | None] = mapped_column(ForeignKey("entry.id"), index=True)
    why: Mapped[str | None]
    with_whom: Mapped[str | None]
    due_on: Mapped[date | None]
    __table_args__ = (
        Index("ix_hold_sheet_open", "sheet_id", "lifted_at"),
        Index("ix_hold_kind_open", "kind", "put_at", sqlite_where=text("lifted_at IS NULL"),
              postgresql_where=text("lifted_at IS NULL")),
    )  # fmt: skip


class Hazard(Base):
    """A danger that travels with a sheet or with all of a consignment."""

    __tablename__ = "hazard"
    id: Mapped[int] = mapped_column(primary_key=True)
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("sheet.id"), index=True)
    consignment_id: Mapped[int | None] = mapped_column(ForeignKey("consignment.id"), index=True)
    kind: Mapped[str]
    said_at: Mapped[datetime]
    said_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    cleared_at: Mapped[datetime | None]
    cleared_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    why: Mapped[str | None]
    __table_args__ = (UniqueConstraint("sheet_id", "consignment_id", "kind", "said_at"),)
