"""How long something is kept: months counted back from now."""

from __future__ import annotations

from calendar import monthrange
from datetime import datetime


def months_before(moment: datetime, months: int) -> datetime:
    """The same day and time so many months earlier, or the last day of that month where it has no such day.

    ValueError for fewer than 0 months.
    """
    if months < 0:
        raise ValueError(f"{months} months cannot have passed. Give 0 or more.")
    years, place = divmod(moment.year * 12 + moment.month - 1 - months, 12)
    return moment.replace(year=years, month=place + 1, day=min(moment.day, monthrange(years, place + 1)[1]))
