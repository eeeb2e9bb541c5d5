"""Tables of the people and the places where they stand."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from app.db.models.base import Base


class Worker(Base):
    """Anyone who handles sheets. `rights` is a list of reader, volunteer, trainer, manager, parted by spaces."""

    __tablename__ = "worker"
    id: Mapped[int] = mapped_column(primary_key=True)
    number: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    name_key: Mapped[str] = mapped_column(index=True)
    rights: Mapped[str]
    badge_code: Mapped[str | None] = mapped_column(unique=True)
    badge_since_at: Mapped[datetime | None]
    pin_hash: Mapped[str | None]
    password_hash: Mapped[str | None]
    password_changed_at: Mapped[datetime | None]
    told_at: Mapped[datetime | None]
    added_at: Mapped[datetime]
    retired_at: Mapped[datetime | None]
    name_gone_at: Mapped[datetime | None]
    language: Mapped[str | None]


class Station(Base):
    """A place with a screen and a scanner. `steps` lists what is done there; the rest is what it has in hand.

    `uses` is what a mounting table takes for a sheet unless something else is said: packet, straps and the like.
    """

    __tablename__ = "station"
    id: Mapped[int] = mapped_column(primary_key=True)
    slug: Mapped[str] = mapped_column(unique=True)
    code: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    steps: Mapped[list[Any]]
    is_practice: Mapped[bool] = mapped_column(default=False)
    secret_hash: Mapped[str | None] = mapped_column(unique=True)
    enrolled_at: Mapped[datetime | None]
    enrolled_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    closed_at: Mapped[datetime | None]
    clear_at: Mapped[datetime | None]
    seen_at: Mapped[datetime | None]
    adhesive_id: Mapped[int | None] = mapped_column(ForeignKey("adhesive.id"))
    bulk: Mapped[str | None]
    method: Mapped[str | None]
    uses: Mapped[dict[str, Any] | None]
    cabinet_id: Mapped[int | None] = mapped_column(ForeignKey("cabinet.id"))
    shelf_id: Mapped[int | None] = mapped_column(ForeignKey("shelf.id"))
    stack_id: Mapped[int | None] = mapped_column(ForeignKey("stack.id"))
    bundle_id: Mapped[int | None] = mapped_column(ForeignKey("bundle.id"))
    consignment_id: Mapped[int | None] = mapped_column(ForeignKey("consignment.id"))
    last_sheet_id: Mapped[int | None]
    check_id: Mapped[int | None]
    last_code: Mapped[str | None]
    last_code_at: Mapped[datetime | None]
    pending: Mapped[dict[str, Any] | None]
    in_round: Mapped[bool] = mapped_column(default=False)


class Attendance(Base):
    """A worker signed in at a station: `beside` names the worker they learn from there.

    `ended_how` is out, elsewhere, replaced (somebody else signed in), idle, or left (the worker no longer works here).
    """

    __tablename__ = "attendance"
    id: Mapped[int] = mapped_column(primary_key=True)
    worker_id: Mapped[int] = mapped_column(ForeignKey("worker.id"), index=True)
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    signed_in_at: Mapped[datetime]
    signed_out_at: Mapped[datetime | None]
    beside_id: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    how: Mapped[str] = mapped_column(default="badge")
    ended_how: Mapped[str | None]
    __table_args__ = (
        Index("ix_attendance_signed_in", "signed_in_at"),
        Index("ix_attendance_station_open", "station_id", sqlite_where=text("signed_out_at IS NULL"),
              postgresql_where=text("signed_out_at IS NULL")),
    )  # fmt: skip


class HoursSum(Base):
    """Hours of a month (YYYY-MM) at a station, in seconds, once they are no longer kept by person."""

    __tablename__ = "hours_sum"
    month: Mapped[str] = mapped_column(primary_key=True)
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"), primary_key=True)
    seconds: Mapped[int]


class SignOff(Base):
    """A worker may take a step alone, for sheets of one difficulty, since when and by whose word."""

    __tablename__ = "sign_off"
    id: Mapped[int] = mapped_column(primary_key=True)
    worker_id: Mapped[int] = mapped_column(ForeignKey("worker.id"), index=True)
    step: Mapped[str]
    difficulty: Mapped[str] = mapped_column(default="ordinary")
    signed_at: Mapped[datetime]
    signed_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    ended_at: Mapped[datetime | None]
    ended_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))


class Token(Base):
    """A key for scripts and scanners, kept as a hash; scope is read, scan or manage."""

    __tablename__ = "token"
    id: Mapped[int] = mapped_column(primary_key=True)
    secret_hash: Mapped[str] = mapped_column(unique=True)
    scope: Mapped[str]
    name: Mapped[str]
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    worker_id: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime | None]
    used_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]
    __table_args__ = (CheckConstraint("scope IN ('read', 'scan', 'manage')", name="scope"),)


class LogIn(Base):
    """Failed log-ins, by the name tried, so that guessing is slowed down."""

    __tablename__ = "log_in"
    name_key: Mapped[str] = mapped_column(primary_key=True)
    failures: Mapped[int] = mapped_column(default=0)
    failed_at: Mapped[datetime]
