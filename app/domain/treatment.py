"""How a freezer treatment wears off: by the open time that a sheet spends outside of clean cabinets and closed bags."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import Any

from app.domain.calendar import LAST, Calendar, open_time, plus_open_days
from app.domain.house import House

OPEN_DAY_S = 86_400
# Until when a treatment holds that does not wear off now, because the sheet lies in a clean cabinet.
STANDS_STILL = LAST


@dataclass(frozen=True, slots=True)
class Treatment:
    """Until when a sheet counts as treated, and while that stands still how many seconds of open time it has left.

    An open day has 86,400 of these seconds, however long it is by the clock.
    """

    until: datetime | None
    left_s: int | None

    def sets(self) -> dict[str, Any]:
        """The facts of a sheet that say so."""
        return {"treated_until": self.until, "treated_left_s": self.left_s}


NOT_TREATED = Treatment(None, None)


def begun(house: House, calendar: Calendar, at: datetime) -> Treatment:
    """The treatment of what comes out of its bag into the open at this moment."""
    return in_the_open(Treatment(STANDS_STILL, house.treat_open_days * OPEN_DAY_S), calendar, at)


def kept_clean(treatment: Treatment, calendar: Calendar, at: datetime) -> Treatment:
    """The same treatment of a sheet that lies in a clean cabinet from this moment on; one that is worn off stays so."""
    if treatment.until is None or not at < treatment.until < STANDS_STILL:
        return treatment
    return Treatment(STANDS_STILL, int(open_time(calendar, at, treatment.until) * OPEN_DAY_S))


def in_the_open(treatment: Treatment, calendar: Calendar, at: datetime) -> Treatment:
    """The same treatment of a sheet that lies in the open from this moment on."""
    if treatment.until != STANDS_STILL or treatment.left_s is None:
        return treatment
    until = plus_open_days(calendar, at, Fraction(treatment.left_s, OPEN_DAY_S))
    return treatment if until is None else Treatment(until, None)
