"""How entries are told: who did it, in which zone and at which moment, and how the numbers of this room are spelled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from app.domain.numbers import Pattern, shown
from app.domain.words import dated


@dataclass(frozen=True, slots=True)
class Hands:
    """Who did it and who stood beside, as far as their names may be shown."""

    did: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Telling:
    """In which zone and at which moment it is told, and how this room's numbers are spelled."""

    zone: ZoneInfo
    now: datetime
    patterns: Sequence[Pattern]

    def when(self, moment: datetime) -> str:
        """A moment as the log says it: "Wed 25 Nov 14:06"."""
        return dated(moment, self.zone, self.now)

    def number(self, number: object) -> str:
        """A sheet's number as people read it."""
        return shown(str(number), self.patterns)
