"""Tables of the custody log: entries, the scans that they came from, refusals, sightings and the sums kept beside them."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from app.db.models.base import Base


class Scan(Base):
    """What a station or a script sent, by the id it gave; the answer is kept and given again."""

    __tablename__ = "scan"
    id: Mapped[int] = mapped_column(primary_key=True)
    scan_id: Mapped[str] = mapped_column(unique=True)
    fingerprint: Mapped[str]
    answer: Mapped[dict[str, Any]]
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    received_at: Mapped[datetime]
    __table_args__ = (Index("ix_scan_station_received", "station_id", "received_at"),)


class Entry(Base):
    """One line of the custody log; never changed, never deleted.

    `subject_kind` is sheet, stack, load or cabinet. `came_at` is when the sheet came into the stage it now leaves.
    """

    __tablename__ = "entry"
    id: Mapped[int] = mapped_column(primary_key=True)
    subject_kind: Mapped[str]
    subject_id: Mapped[int]
    step: Mapped[str]
    from_stage: Mapped[str | None]
    to_stage: Mapped[str | None]
    from_cabinet_id: Mapped[int | None]
    from_shelf_id: Mapped[int | None]
    from_stack_id: Mapped[int | None]
    from_layer: Mapped[int | None]
    to_cabinet_id: Mapped[int | None]
    to_shelf_id: Mapped[int | None]
    to_bundle_id: Mapped[int | None]
    to_table_id: Mapped[int | None]
    to_stack_id: Mapped[int | None]
    to_layer: Mapped[int | None]
    came_at: Mapped[datetime | None]
    happened_at: Mapped[datetime]
    recorded_at: Mapped[datetime]
    is_late: Mapped[bool]
    after_the_fact: Mapped[bool]
    time_from: Mapped[str]
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    token_id: Mapped[int | None] = mapped_column(ForeignKey("token.id"))
    # Deferred, because a scan is written with its answer, after the entries that the answer names.
    scan_id: Mapped[str | None] = mapped_column(ForeignKey("scan.scan_id", deferrable=True, initially="DEFERRED"))
    reason: Mapped[str | None]
    corrects: Mapped[int | None] = mapped_column(ForeignKey("entry.id"))
    early_by_s: Mapped[int | None]
    minimum_s: Mapped[int | None]
    rule_version: Mapped[int | None]
    facts: Mapped[dict[str, Any]]
    __table_args__ = (
        CheckConstraint("subject_kind IN ('sheet', 'stack', 'load', 'cabinet')", name="subject_kind"),
        Index("ix_entry_subject", "subject_kind", "subject_id", "happened_at"),
        Index("ix_entry_happened", "happened_at", "step"),
        Index("ix_entry_corrects", "corrects", unique=True, sqlite_where=text("corrects IS NOT NULL"),
              postgresql_where=text("corrects IS NOT NULL")),
        Index("ix_entry_scan", "scan_id", sqlite_where=text("scan_id IS NOT NULL"),
              postgresql_where=text("scan_id IS NOT NULL")),
    )  # fmt: skip


class EntryWorker(Base):
    """Who did it, or stood beside; the share of the credit as a fraction."""

    __tablename__ = "entry_worker"
    entry_id: Mapped[int] = mapped_column(ForeignKey("entry.id"), primary_key=True)
    worker_id: Mapped[int] = mapped_column(ForeignKey("worker.id"), primary_key=True)
    role: Mapped[str]
    share: Mapped[int]
    shares: Mapped[int]
    __table_args__ = (Index("ix_entry_worker_worker", "worker_id", "entry_id"),)


class RefusedScan(Base):
    """A scan that was refused, kept without the person."""

    __tablename__ = "refusal"
    id: Mapped[int] = mapped_column(primary_key=True)
    refused_at: Mapped[datetime]
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    step: Mapped[str | None]
    codes: Mapped[str]
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("sheet.id"))
    kept: Mapped[str | None]
    length: Mapped[int | None]
    __table_args__ = (Index("ix_refusal_refused", "refused_at"),)


class Sighting(Base):
    """The last time a thing was seen by a scan that wrote no entry for it."""

    __tablename__ = "sighting"
    subject_kind: Mapped[str] = mapped_column(primary_key=True)
    subject_id: Mapped[int] = mapped_column(primary_key=True)
    seen_at: Mapped[datetime]
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    worker_id: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))


class Doubt(Base):
    """An accepted move called in question: what, by which later entry, and how many seconds short."""

    __tablename__ = "doubt"
    id: Mapped[int] = mapped_column(primary_key=True)
    entry_id: Mapped[int] = mapped_column(ForeignKey("entry.id"), index=True)
    by_entry_id: Mapped[int] = mapped_column(ForeignKey("entry.id"))
    code: Mapped[str]
    short_s: Mapped[int]
    raised_at: Mapped[datetime]
    settled_at: Mapped[datetime | None]
    settled_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    why: Mapped[str | None]


class TallyDay(Base):
    """How many sheets a worker took a step with on one local day; the credit in sixtieths of a sheet."""

    __tablename__ = "tally_day"
    day: Mapped[date] = mapped_column(primary_key=True)
    worker_id: Mapped[int] = mapped_column(ForeignKey("worker.id"), primary_key=True)
    step: Mapped[str] = mapped_column(primary_key=True)
    sheets: Mapped[int]
    credit_60: Mapped[int]


class TallyStay(Base):
    """How many stays in a stage ended in one ISO week, by the cabinet where the sheet last lay in that stage, and by
    length; `cabinet_id` 0 is no cabinet, `hours` the lower bound of the bucket.
    """

    __tablename__ = "tally_stay"
    week: Mapped[str] = mapped_column(primary_key=True)
    stage: Mapped[str] = mapped_column(primary_key=True)
    cabinet_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    hours: Mapped[int] = mapped_column(primary_key=True)
    stays: Mapped[int]
