"""Figures of weeks read off the log once and kept in memory, until an entry is written or taken back that lies in them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from app.db.models import Entry, table_of

ENTRY = table_of(Entry)
MOST_KEPT = 400
Made = TypeVar("Made")
_CORRECTED = ENTRY.alias("corrected")
_NEWEST = select(func.coalesce(func.max(ENTRY.c.id), 0))
_SINCE = (
    select(ENTRY.c.happened_at, _CORRECTED.c.happened_at)
    .outerjoin(_CORRECTED, _CORRECTED.c.id == ENTRY.c.corrects)
    .where(ENTRY.c.id > bindparam("seen"))
)


@dataclass(frozen=True, slots=True)
class Span:
    """From `since` up to but not including `until`: one week in the room."""

    since: datetime
    until: datetime

    def holds(self, moment: datetime | None) -> bool:
        """Whether a moment lies in it."""
        return moment is not None and self.since <= moment < self.until


class Weeks:
    """What is known of weeks in this reading. A finished week is read once; the log never changes, it only grows."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self._newest = int(session.execute(_NEWEST).scalar_one())
        seen, known = session.info["database"].kept.get("weeks", (0, {}))
        # A smaller number than was seen is another log: nothing is known of it.
        self._known: dict[tuple[str, Span], Any] = self._untouched(seen, known) if seen <= self._newest else {}

    def get(self, part: str, span: Span, make: Callable[[Session, Span], Made]) -> Made:
        """This part of what is known of a week, read now if it was not before."""
        if (part, span) not in self._known:
            self._known[part, span] = make(self.session, span)
        found: Made = self._known[part, span]
        return found

    def keep(self) -> None:
        """Leave what is known for the next reading, with the entry up to which it was read."""
        # One value, so that a reader beside this one never sees half of it.
        kept = dict(list(self._known.items())[-MOST_KEPT:])
        self.session.info["database"].kept["weeks"] = (self._newest, kept)

    def _untouched(self, seen: int, known: dict[tuple[str, Span], Any]) -> dict[tuple[str, Span], Any]:
        spans = {span for _, span in known}
        for moments in self.session.execute(_SINCE, {"seen": seen}) if seen < self._newest and spans else ():
            spans = {span for span in spans if not any(span.holds(moment) for moment in moments)}
        return {key: value for key, value in known.items() if key[1] in spans}
