"""Tables of the room itself: cabinets, shelves, adhesives, house rules, the calendar, and what was changed by whom."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Float, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from app.db.models.base import Base


class Cabinet(Base):
    """A cabinet belongs to a stage. Limits of its own win over the stage's.

    `unclean_at` is when it lost its name of a clean one, until it is clean again. A freezer is a cabinet that
    `freezes_to_c` degrees Celsius.
    """

    __tablename__ = "cabinet"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    code: Mapped[str] = mapped_column(unique=True)
    stage: Mapped[str | None]
    is_clean: Mapped[bool] = mapped_column(default=False)
    unclean_at: Mapped[datetime | None]
    is_dryer: Mapped[bool] = mapped_column(default=False)
    freezes_to_c: Mapped[float | None] = mapped_column(Float)
    last_at: Mapped[datetime | None]
    capacity: Mapped[int | None]
    limit_open_days: Mapped[int | None]
    walk: Mapped[int] = mapped_column(default=0)
    note: Mapped[str | None]
    closed_at: Mapped[datetime | None]


class Shelf(Base):
    """One shelf of a cabinet, counted from the top."""

    __tablename__ = "shelf"
    id: Mapped[int] = mapped_column(primary_key=True)
    cabinet_id: Mapped[int] = mapped_column(ForeignKey("cabinet.id"))
    name: Mapped[str]
    code: Mapped[str] = mapped_column(unique=True)
    capacity: Mapped[int | None]
    __table_args__ = (UniqueConstraint("cabinet_id", "name"),)


class Adhesive(Base):
    """One line of the room's own list: product, lot, dilution, and the class that sets its time under weight."""

    __tablename__ = "adhesive"
    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    class_: Mapped[str] = mapped_column("class")
    lot: Mapped[str | None]
    dilution: Mapped[str | None]
    opened_at: Mapped[datetime | None]
    ended_at: Mapped[datetime | None]


class NumberPattern(Base):
    """A pattern of sheet numbers: prefix, digits, and whether a check character follows; `minted` is the last serial."""

    __tablename__ = "number_pattern"
    id: Mapped[int] = mapped_column(primary_key=True)
    prefix: Mapped[str]
    width: Mapped[int]
    has_check: Mapped[bool] = mapped_column(default=True)
    mints: Mapped[bool] = mapped_column(default=False)
    minted: Mapped[int] = mapped_column(default=0)
    is_practice: Mapped[bool] = mapped_column(default=False)
    __table_args__ = (UniqueConstraint("prefix", "width"),)


class HouseRule(Base):
    """A value of a house rule, from one version of the rules on."""

    __tablename__ = "house_rule"
    id: Mapped[int] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(index=True)
    name: Mapped[str]
    value: Mapped[int]
    set_at: Mapped[datetime]
    set_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    reason: Mapped[str]
    __table_args__ = (UniqueConstraint("version", "name"),)


class FamilyOrder(Base):
    """The place of a family in the room's own order of filing; families that are not listed follow by name."""

    __tablename__ = "family_order"
    family_key: Mapped[str] = mapped_column(primary_key=True)
    family: Mapped[str]
    place: Mapped[int]


class Temperature(Base):
    """A temperature that somebody read at a dryer, in degrees Celsius."""

    __tablename__ = "temperature"
    id: Mapped[int] = mapped_column(primary_key=True)
    cabinet_id: Mapped[int] = mapped_column(ForeignKey("cabinet.id"))
    read_at: Mapped[datetime]
    read_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    celsius: Mapped[float] = mapped_column(Float)
    note: Mapped[str | None]
    __table_args__ = (Index("ix_temperature_cabinet", "cabinet_id", "read_at"),)


class CalendarDay(Base):
    """A date on which the room is closed, or open, against its weekday."""

    __tablename__ = "calendar_day"
    day: Mapped[date] = mapped_column(primary_key=True)
    is_open: Mapped[bool]
    why: Mapped[str]


class PutAside(Base):
    """A line of what needs a person that somebody has seen, and that comes back on a day: who, until when, why.

    `many` is how many sheets it was about; the line comes back sooner when it has grown.
    """

    __tablename__ = "put_aside"
    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str]
    subject: Mapped[str]
    many: Mapped[int]
    aside_at: Mapped[datetime]
    aside_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    until_at: Mapped[datetime]
    why: Mapped[str]
    ended_at: Mapped[datetime | None]
    ended_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    __table_args__ = (
        Index("ix_put_aside_open", "until_at", sqlite_where=text("ended_at IS NULL"),
              postgresql_where=text("ended_at IS NULL")),
    )  # fmt: skip


class Change(Base):
    """A change to something that is not a sheet: who, when, what, old, new, why."""

    __tablename__ = "change"
    id: Mapped[int] = mapped_column(primary_key=True)
    changed_at: Mapped[datetime]
    changed_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    subject: Mapped[str]
    subject_id: Mapped[int | None]
    what: Mapped[str]
    old: Mapped[str | None]
    new: Mapped[str | None]
    why: Mapped[str | None]


class Heartbeat(Base):
    """One row: the last sign of life, against which the clock is checked at the start."""

    __tablename__ = "heartbeat"
    id: Mapped[int] = mapped_column(primary_key=True)
    beat_at: Mapped[datetime]
    confirmed_at: Mapped[datetime | None]


class Setting(Base):
    """What is set once and is not a number: the room's name, the code for the first manager."""

    __tablename__ = "setting"
    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[str]
