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
    HandOverWord,
    Hazard,
    Hold,
    HouseRule,
    LotOpening,
    PestSeen,
    PutAside,
    SupplyEntry,
    Token,
    Wanted,
    table_of,
)
from app.domain.language import mark


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
    "entry.reason": _column(Entry, "reason", mark("Why, in the log of a sheet or stack")),
    "hold.why": _column(Hold, "why", mark("Why a sheet was held")),
    "doubt.why": _column(Doubt, "why", mark("How a move in question was settled")),
    "hazard.why": _column(Hazard, "why", mark("Of a hazard")),
    "wanted.why": _column(Wanted, "why", mark("Why a sheet was wanted")),
    "wanted.how": _column(Wanted, "how", mark("What became of a wanted sheet")),
    "put_aside.why": _column(PutAside, "why", mark("Why a line was put aside")),
    "house_rule.reason": _column(HouseRule, "reason", mark("Why a house rule was changed")),
    "calendar_day.why": _column(CalendarDay, "why", mark("Why the room was closed"), key="day"),
    "cabinet.note": _column(Cabinet, "note", mark("Note of a cabinet")),
    "cabinet_check.why": _column(CabinetCheck, "why", mark("Note of a cabinet check")),
    "pest_seen.why": _column(PestSeen, "why", mark("What was done about a pest")),
    "supply_entry.why": _column(SupplyEntry, "why", mark("Why something was written of a supply")),
    "lot_opening.why": _column(LotOpening, "why", mark("Why it was put right which pot was open")),
    "hand_over_word.words": _column(
        HandOverWord, "words", mark("Who took or received a hand-over, or why it was called back")
    ),
    "token.name": _column(Token, "name", mark("What a key for scripts is called")),
    "change.old": _column(Change, "old", mark("What was there before a change")),
    "change.new": _column(Change, "new", mark("What a change put there")),
    "change.why": _column(Change, "why", mark("Why something was changed")),
}
ANSWERS = "scan.answer"
ANSWER_WORDS = mark("Said on a station’s screen")
