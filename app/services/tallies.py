"""Sums kept beside the log and changed with it: sheets by day, worker and step, and stays by week, stage and length."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from app.db.models import TallyDay, TallyStay, table_of
from app.db.upsert import adding
from app.domain.calendar import iso_week, local_day
from app.domain.sheet import Standing
from app.domain.stages import Stage, Step
from app.domain.stays import dwell_bucket_h
from app.services.desk import Desk

DAY = table_of(TallyDay)
STAY = table_of(TallyStay)
NO_CABINET = 0


def add(desk: Desk, step: Step, was: Standing, now: Standing, happened_at: datetime, workers: Sequence[int],
        times: int = 1) -> None:  # fmt: skip
    """Count one entry in, or several that are alike."""
    ended = now.stage != was.stage
    count(desk, step, was.stage if ended else None, was.came_at, was.kept_in_id, happened_at, workers, times)


def count(desk: Desk, step: Step, left: Stage | None, came_at: datetime | None, kept_in: int | None, happened_at: datetime,
          workers: Sequence[int], sign: int) -> None:  # fmt: skip
    """Count one entry in (sign 1), several alike (sign 2 and more), or one out (sign -1): the workers' sheets, and the
    stay that it ended, if any, in the cabinet where the sheet last lay in that stage.
    """
    zone, dialect = desk.occasion.zone, desk.session.get_bind().dialect.name
    if workers:
        rows = [day_row(zone, happened_at, worker, step, len(workers), sign) for worker in workers]
        desk.session.execute(adding(dialect, DAY, ("sheets", "credit_60")), rows)
    if left is not None and came_at is not None:
        row = stay_row(zone, left, kept_in, came_at, happened_at, sign)
        desk.session.execute(adding(dialect, STAY, ("stays",)), row)


def day_row(
    zone: ZoneInfo, happened_at: datetime, worker: int, step: Step, shares: int, sign: int
) -> dict[str, date | int | str]:
    """One worker's share of one entry on its local day; the credit in sixtieths of a sheet."""
    day = local_day(happened_at, zone)
    return {"day": day, "worker_id": worker, "step": step.value, "sheets": sign, "credit_60": sign * (60 // shares)}


def stay_row(
    zone: ZoneInfo, stage: Stage, kept_in: int | None, came_at: datetime, left_at: datetime, sign: int
) -> dict[str, int | str]:
    """One stay in a stage, in the ISO week in which it ended."""
    year, week = iso_week(left_at, zone)
    hours = dwell_bucket_h(max((left_at - came_at).total_seconds(), 0.0))
    return {"week": f"{year}-W{week:02}", "stage": stage.value, "cabinet_id": kept_in or NO_CABINET, "hours": hours,
            "stays": sign}  # fmt: skip
