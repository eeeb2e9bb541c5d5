"""A sheet's brief as it is read on its page: cautions first, then what to know before its folder is opened."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.db.briefing import facts_for_brief
from app.domain.brief import brief_lines
from app.domain.words import said
from app.queries.house import patterns_now


@dataclass(frozen=True, slots=True)
class Brief:
    """What to know of a sheet: its lines in the order in which they are read. Its cautions come before all of them."""

    lines: tuple[str, ...]


def brief_of(session: Session, sheet_id: int, now: datetime, zone: ZoneInfo) -> Brief:
    """The whole brief of one sheet, the ordinary too."""
    facts = facts_for_brief(session, sheet_id, patterns_now(session))
    return Brief(brief_lines(facts, lambda moment: said(moment, zone, now), whole=True))
