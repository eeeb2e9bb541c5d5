"""Tables of what is looked for and looked at: cabinet checks, pests that were seen, and who may do work with old poisons."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from app.db.models.base import Base


class CabinetCheck(Base):
    """One check of a cabinet, or of one shelf of it. `sample` is how many sheets were drawn by chance, None for all;
    `seed` is what they were drawn by. `begun_entry_id` is the last entry of the log when what is expected was fixed:
    sheets that moved later are told apart by it. `done_at` is when the one with the scanner was through, `closed_at` when
    the manager closed it.
    """

    __tablename__ = "cabinet_check"
    id: Mapped[int] = mapped_column(primary_key=True)
    cabinet_id: Mapped[int] = mapped_column(ForeignKey("cabinet.id"), index=True)
    shelf_id: Mapped[int | None] = mapped_column(ForeignKey("shelf.id"))
    sample: Mapped[int | None]
    seed: Mapped[int | None]
    begun_entry_id: Mapped[int]
    begun_at: Mapped[datetime]
    begun_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    done_at: Mapped[datetime | None]
    closed_at: Mapped[datetime | None]
    closed_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    why: Mapped[str | None]
    __table_args__ = (
        Index("ix_cabinet_check_open", "begun_at", sqlite_where=text("closed_at IS NULL"),
              postgresql_where=text("closed_at IS NULL")),
    )  # fmt: skip


class CheckExpected(Base):
    """A sheet that the log said would be there when the check began; never changed, never deleted."""

    __tablename__ = "check_expected"
    check_id: Mapped[int] = mapped_column(ForeignKey("cabinet_check.id"), primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id"), primary_key=True, index=True)
    shelf_id: Mapped[int | None] = mapped_column(ForeignKey("shelf.id"))
    __table_args__ = {"sqlite_with_rowid": False}


class CheckSeen(Base):
    """One scan of a check: a sheet, or what could not be read (its text only if it looks like a code). Never changed.

    `kind` is sheet, unknown or unreadable; what became of a sheet (found, elsewhere, ...) is reckoned, not kept.
    """

    __tablename__ = "check_seen"
    id: Mapped[int] = mapped_column(primary_key=True)
    check_id: Mapped[int] = mapped_column(ForeignKey("cabinet_check.id"))
    seen_at: Mapped[datetime]
    kind: Mapped[str]
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("sheet.id"), index=True)
    text: Mapped[str | None]
    shelf_id: Mapped[int | None] = mapped_column(ForeignKey("shelf.id"))
    worker_id: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    scan_id: Mapped[str | None]
    __table_args__ = (Index("ix_check_seen_check", "check_id", "sheet_id"),)


class PestSeen(Base):
    """A pest was seen: on which sheet, in which cabinet or with which consignment, when and by whom, and how it ended.

    Sheets that shared a place with it since `since_at` are its neighbours.
    """

    __tablename__ = "pest_seen"
    id: Mapped[int] = mapped_column(primary_key=True)
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("sheet.id"), index=True)
    cabinet_id: Mapped[int | None] = mapped_column(ForeignKey("cabinet.id"))
    consignment_id: Mapped[int | None] = mapped_column(ForeignKey("consignment.id"))
    seen_at: Mapped[datetime]
    seen_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    what: Mapped[str | None]
    since_at: Mapped[datetime | None]
    quarantined: Mapped[int | None]
    closed_at: Mapped[datetime | None]
    closed_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    why: Mapped[str | None]
    __table_args__ = (
        Index("ix_pest_seen_open", "seen_at", sqlite_where=text("closed_at IS NULL"),
              postgresql_where=text("closed_at IS NULL")),
    )  # fmt: skip


class NamedFor(Base):
    """The manager named a worker, or a station, for work with sheets suspected of old poisons: since when, until when.

    No reason is kept, on purpose: why somebody is not named is nobody's business.
    """

    __tablename__ = "named_for"
    id: Mapped[int] = mapped_column(primary_key=True)
    hazard: Mapped[str]
    worker_id: Mapped[int | None] = mapped_column(ForeignKey("worker.id"), index=True)
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    named_at: Mapped[datetime]
    named_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    ended_at: Mapped[datetime | None]
    ended_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
