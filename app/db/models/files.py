"""Tables of the files that sheets are taken in from: what was sent, its rows until they are in, and how columns were read."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.db.models.base import Base


class TakenFile(Base):
    """A file on its way in, or in. It is checked whole before anything is taken in; `state` is checked, going, in, or
    withdrawn. While it is going, `done` of its `rows` are in; whatever interrupts it, it goes on from there.
    """

    __tablename__ = "taken_file"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    digest: Mapped[str] = mapped_column(index=True)
    consignment_id: Mapped[int] = mapped_column(ForeignKey("consignment.id"), index=True)
    mapping: Mapped[dict[str, Any] | None]
    state: Mapped[str]
    rows: Mapped[int]
    done: Mapped[int] = mapped_column(default=0)
    sent_at: Mapped[datetime]
    sent_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    ended_at: Mapped[datetime | None]
    why: Mapped[str | None]


class TakenRow(Base):
    """One checked row of a file that is not in yet, by its place in the file."""

    __tablename__ = "taken_row"
    file_id: Mapped[int] = mapped_column(ForeignKey("taken_file.id"), primary_key=True)
    place: Mapped[int] = mapped_column(primary_key=True)
    line: Mapped[int]
    number: Mapped[str]
    said: Mapped[dict[str, Any]]
    __table_args__ = (Index("ix_taken_row_number", "number"), {"sqlite_with_rowid": False})


class ColumnMap(Base):
    """How the columns of files from one source are read: remembered by the source and the headings, newest first."""

    __tablename__ = "column_map"
    id: Mapped[int] = mapped_column(primary_key=True)
    source_key: Mapped[str]
    headings: Mapped[str]
    mapping: Mapped[dict[str, Any]]
    kept_at: Mapped[datetime]
    kept_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    __table_args__ = (UniqueConstraint("source_key", "headings"),)
