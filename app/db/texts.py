"""Where somebody may have written a name down: every text that people type in and that is no label of a sheet."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import ColumnElement, Table

from app.db.models import (
    Cabinet,
    CabinetCheck,
    CalendarDay,
    Change,
    Doubt,
    Entry,
    Hazard,
    Hold,
    HouseRule,
    PestSeen,
    PutAside,
    Token,
    Wanted,
    table_of,
)


@dataclass(frozen=True, slots=True)
class TextColumn:
    """One column of texts: its table, what identifies a row, and how it is said."""

    table: Table
    column: ColumnElement[str]
    key: ColumnElement[object]
    words: str


def _column(model: type, name: str, words: str, key: str = "id") -> TextColumn:
    table = table_of(model)
    return TextColumn(table, table.c[name], table.c[key], words)


TEXTS: dict[str, TextColumn] = {
    "entry.reason": _column(Entry, "reason", "Why, in the log of a sheet or stack"),
    "hold.why": _column(Hold, "why", "Why a sheet was held"),
    "doubt.why": _column(Doubt, "why", "How a move in question was settled"),
    "hazard.why": _column(Hazard, "why", "Of a hazard"),
    "wanted.why": _column(Wanted, "why", "Why a sheet was wanted"),
    "wanted.how": _column(Wanted, "how", "What became of a wanted sheet"),
    "put_aside.why": _column(PutAside, "why", "Why a line was put aside"),
    "house_rule.reason": _column(HouseRule, "reason", "Why a house rule was changed"),
    "calendar_day.why": _column(CalendarDay, "why", "Why the room was closed", key="day"),
    "cabinet.note": _column(Cabinet, "note", "Note of a cabinet"),
    "cabinet_check.why": _column(CabinetCheck, "why", "Note of a cabinet check"),
    "pest_seen.why": _column(PestSeen, "why", "What was done about a pest"),
    "token.name": _column(Token, "name", "What a key for scripts is called"),
    "change.old": _column(Change, "old", "What was there before a change"),
    "change.new": _column(Change, "new", "What a change put there"),
    "change.why": _column(Change, "why", "Why something was changed"),
}
ANSWERS = "scan.answer"
ANSWER_WORDS = "Said on a station’s screen"
