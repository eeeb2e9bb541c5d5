"""How many sheets were filed, read off the sums that are kept beside the log and never off the collection."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, case, func, select
from sqlalchemy.orm import Session

from app.db.models import TallyDay, table_of
from app.domain.calendar import iso_week, local_day, week_bounds
from app.domain.stages import Step

DAY = table_of(TallyDay)
SIXTIETHS = 60
# Two people who work together share one sheet; their credits, in sixtieths, make it whole again.
_FILED = select(func.coalesce(func.sum(DAY.c.credit_60), 0)).where(
    DAY.c.step == Step.FILE, DAY.c.day >= bindparam("first"), DAY.c.day < bindparam("after")
)
_SIGNED = case((DAY.c.step == Step.FILE, DAY.c.credit_60), else_=-DAY.c.credit_60)
_IN_ALL = select(func.coalesce(func.sum(_SIGNED), 0)).where(DAY.c.step.in_((Step.FILE, Step.BRING_BACK)))


@dataclass(frozen=True, slots=True)
class FiledCounts:
    """Sheets filed in this ISO week of the room, and in all those that were filed and not brought back since."""

    this_week: int
    in_all: int


def filed_counts(session: Session, now: datetime, zone: ZoneInfo) -> FiledCounts:
    """How many sheets were filed this week and in all."""
    first, after = (local_day(bound, zone) for bound in week_bounds(*iso_week(now, zone), zone))
    week = session.execute(_FILED, {"first": first, "after": after}).scalar_one()
    return FiledCounts(week // SIXTIETHS, session.execute(_IN_ALL).scalar_one() // SIXTIETHS)
