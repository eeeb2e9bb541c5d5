"""How long stays lasted and sheets have waited, counted by stage, cabinet and length: what the curves are drawn from."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import lru_cache
from itertools import chain
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, bindparam, func, select
from sqlalchemy.orm import Session

from app.db.models import Sheet, TallyDay, TallyStay, table_of
from app.domain.calendar import local_day
from app.domain.stages import Stage, Step
from app.domain.stays import dwell_bucket_h
from app.queries.kinds import IN_QUEUE

SHEET, STAY, DAY = table_of(Sheet), table_of(TallyStay), table_of(TallyDay)
FULL_WEEKS = 52
NO_CABINET = 0


@dataclass
class Count:
    """Stays that ended, and sheets that wait, by the lower bound of their bucket in hours; and the weeks with figures."""

    ended: Counter[int] = field(default_factory=Counter)
    waiting: Counter[int] = field(default_factory=Counter)
    weeks: set[str] = field(default_factory=set)


Counts = dict[tuple[str, int], Count]


def counts_of(session: Session, now: datetime, zone: ZoneInfo) -> Counts:
    """The counts of each stage and cabinet (0: in none), of stays that ended in the last 52 full ISO weeks and this one,
    and of all sheets that wait, since whenever.
    """
    counts: Counts = {}
    for stage, cabinet, hours, stays in session.execute(_ended(by_cabinet=True), _weeks(now, zone)):
        counts.setdefault((stage, cabinet), Count()).ended[hours] += stays
    for stage, cabinet, week in session.execute(_WITH_FIGURES, _weeks(now, zone)):
        counts.setdefault((stage, cabinet), Count()).weeks.add(week)
    for stage, cabinet, came_at, sheets in _waiting(session):
        counts.setdefault((stage, cabinet or NO_CABINET), Count()).waiting[_bucket(now, came_at)] += sheets
    return counts


def stage_counts(session: Session, now: datetime, zone: ZoneInfo) -> dict[str, Count]:
    """The same by stage alone, without the weeks; it costs less."""
    counts: dict[str, Count] = {}
    for stage, hours, stays in session.execute(_ended(by_cabinet=False), _weeks(now, zone)):
        counts.setdefault(stage, Count()).ended[hours] += stays
    for stage, _, came_at, sheets in _waiting(session):
        counts.setdefault(stage, Count()).waiting[_bucket(now, came_at)] += sheets
    return counts


def together(counts: Counts, stage: Stage) -> Count:
    """The counts of all cabinets of a stage, and of none, in one."""
    whole = Count()
    for (slug, _), count in counts.items():
        if slug == stage:
            whole.ended.update(count.ended)
            whole.waiting.update(count.waiting)
            whole.weeks |= count.weeks
    return whole


def fresh_among(session: Session, now: datetime, zone: ZoneInfo) -> bool:
    """Whether fresh plants wait at intake, or were laid to dry in the weeks that count: the sums do not set them apart."""
    since = first_day(now, zone)
    return any(
        session.execute(asked, values).first() for asked, values in ((_FRESH_NOW, {}), (_LAID_TO_DRY, {"since": since}))
    )


def first_day(now: datetime, zone: ZoneInfo) -> date:
    """The Monday of the first ISO week whose stays count, 52 weeks before that of this week."""
    today = local_day(now, zone)
    return today - timedelta(weeks=FULL_WEEKS, days=today.weekday())


def _weeks(now: datetime, zone: ZoneInfo) -> dict[str, str]:
    return {"first": _week_words(first_day(now, zone)), "last": _week_words(local_day(now, zone))}


def _week_words(day: date) -> str:
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02}"


def _waiting(session: Session) -> Iterator[Any]:
    """The sheets that wait, by stage, the cabinet where they were last kept, and when they came."""
    return chain(session.execute(_IN_CABINETS), session.execute(_ELSEWHERE))


def _bucket(now: datetime, came_at: datetime) -> int:
    return dwell_bucket_h(max((now - came_at).total_seconds(), 0.0))


_OF_THE_YEAR = STAY.c.week.between(bindparam("first"), bindparam("last"))
_WITH_FIGURES: Select[Any] = (
    select(STAY.c.stage, STAY.c.cabinet_id, STAY.c.week).where(_OF_THE_YEAR, STAY.c.stays > 0).distinct()
)
# In two readings: what lies in cabinets, in the order of the queue's index, and the few that lie elsewhere.
_STAGES = [stage.value for stage in Stage if stage is not Stage.FILED]
_IN_CABINETS: Select[Any] = (
    select(SHEET.c.stage, SHEET.c.cabinet_id, SHEET.c.came_at, func.count())
    .where(IN_QUEUE, SHEET.c.stage.in_(_STAGES), SHEET.c.cabinet_id.is_not(None))
    .group_by(SHEET.c.stage, SHEET.c.cabinet_id, SHEET.c.came_at)
)
_ELSEWHERE: Select[Any] = (
    select(SHEET.c.stage, SHEET.c.kept_in_id, SHEET.c.came_at, func.count())
    .where(IN_QUEUE, SHEET.c.stage.in_(_STAGES), SHEET.c.cabinet_id.is_(None))
    .group_by(SHEET.c.stage, SHEET.c.kept_in_id, SHEET.c.came_at)
)
_FRESH_NOW = select(SHEET.c.id).where(IN_QUEUE, SHEET.c.stage == Stage.INTAKE, SHEET.c.fresh.is_(True)).limit(1)
_LAID_TO_DRY = (
    select(DAY.c.day).where(DAY.c.day >= bindparam("since"), DAY.c.step == Step.LAY_TO_DRY, DAY.c.sheets > 0).limit(1)
)


@lru_cache(maxsize=2)
def _ended(*, by_cabinet: bool) -> Select[Any]:
    by = (STAY.c.stage, *((STAY.c.cabinet_id,) if by_cabinet else ()), STAY.c.hours)
    stays = func.sum(STAY.c.stays)
    return select(*by, stays).where(_OF_THE_YEAR).group_by(*by).having(stays > 0)
