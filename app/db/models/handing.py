"""Tables of the hand-overs to the collection's catalogue: each a fixed set of sheets, as they were told then."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.db.models.base import Base


class HandOver(Base):
    """One hand-over, by its number: all that the log had up to an entry and that was not told before. Never changed."""

    __tablename__ = "hand_over"
    id: Mapped[int] = mapped_column(primary_key=True)
    made_at: Mapped[datetime]
    made_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    until_entry_id: Mapped[int]
    sheets: Mapped[int]
    corrections: Mapped[int]
    exact_places: Mapped[bool]
    with_names: Mapped[bool]


class HandedSheet(Base):
    """One line of a hand-over: a sheet as it was told. `corrects_id` is the hand-over that told it before, otherwise."""

    __tablename__ = "handed_sheet"
    hand_over_id: Mapped[int] = mapped_column(ForeignKey("hand_over.id"), primary_key=True)
    place: Mapped[int] = mapped_column(primary_key=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id"), index=True)
    key: Mapped[str]
    corrects_id: Mapped[int | None] = mapped_column(ForeignKey("hand_over.id"))
    what: Mapped[str | None]
    told: Mapped[dict[str, Any]]


class HandOverWord(Base):
    """What was said of a hand-over: to whom it was made, who received it, or why it was called back; each once."""

    __tablename__ = "hand_over_word"
    id: Mapped[int] = mapped_column(primary_key=True)
    hand_over_id: Mapped[int] = mapped_column(ForeignKey("hand_over.id"))
    deed: Mapped[str]
    said_at: Mapped[datetime]
    said_by: Mapped[int | None] = mapped_column(ForeignKey("worker.id"))
    words: Mapped[str]
    __table_args__ = (
        CheckConstraint("deed IN ('made', 'received', 'called-back')", name="deed"),
        UniqueConstraint("hand_over_id", "deed"),
    )
