"""How many sheets were filed, read off the sums that are kept beside the log and never off the collection."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, case, func, select
from sqlalchemy.orm import Session

from app.db.models import Entry, TallyDay, table_of
from app.domain.calendar import iso_week, local_day, week_bounds
from app.domain.stages import Step

DAY = table_of(TallyDay)
ENTRY = table_of(Entry)
SIXTIETHS = 60
# Two people who work together share one sheet; their credits, in sixtieths, make it whole again.
_FILED = select(func.coalesce(func.sum(DAY.c.credit_60), 0)).where(
    DAY.c.step == Step.FILE, DAY.c.day >= bindparam("first"), DAY.c.day < bindparam("after")
)
_SIGNED = case((DAY.c.step == Step.FILE, DAY.c.credit_60), else_=-DAY.c.credit_60)
_IN_ALL = select(func.coalesce(func.sum(_SIGNED), 0)).where(DAY.c.step.in_((Step.FILE, Step.BRING_BACK)))
_CORRECTED = ENTRY.alias("corrected")
_SINCE = (
    select(ENTRY.c.step, _CORRECTED.c.step)
    .outerjoin(_CORRECTED, _CORRECTED.c.id == ENTRY.c.corrects)
    .where(ENTRY.c.id > bindparam("seen"))
)
_NEWEST = select(func.coalesce(func.max(ENTRY.c.id), 0))
COUNTS = {Step.FILE.value: 1, Step.BRING_BACK.value: -1}


@dataclass(frozen=True, slots=True)
class FiledCounts:
    """Sheets filed in this ISO week of the room, and in all those that were filed and not brought back since."""

    this_week: int
    in_all: int


def filed_counts(session: Session, now: datetime, zone: ZoneInfo) -> FiledCounts:
    """How many sheets were filed this week and in all."""
    first, after = (local_day(bound, zone) for bound in week_bounds(*iso_week(now, zone), zone))
    week = session.execute(_FILED, {"first": first, "after": after}).scalar_one()
    return FiledCounts(week // SIXTIETHS, _in_all(session))


def _in_all(session: Session) -> int:
    """Summed up once, and from then on moved along with the entries that came since: the sums reach back for years."""
    kept = session.info["database"].kept
    newest = session.execute(_NEWEST).scalar_one()
    seen, count = kept.get("filed", (None, 0))
    if seen is None or seen > newest:
        count = session.execute(_IN_ALL).scalar_one() // SIXTIETHS
    else:
        count += sum(_counts(*row) for row in session.execute(_SINCE, {"seen": seen}))
    kept["filed"] = (newest, count)
    return int(count)


def _counts(step: str, corrected: str | None) -> int:
    return -COUNTS.get(corrected, 0) if corrected is not None else COUNTS.get(step, 0)
