"""The workers of one week, by name: what they did by step, their hours, and how sure it is; nobody is held against others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.db.models import Worker, table_of
from app.domain.house import House
from app.domain.intervals import scaled_interval, wilson_interval
from app.domain.language import say
from app.domain.stages import STEP_WORDS, Step
from app.domain.stays import HOUR_S
from app.queries.hours import Bench, Hours, HoursBy, Presence, benches, hours_within, kept_since, presences
from app.queries.week_lines import FirstPass, Rate, StepLine, WorkerWeek
from app.queries.week_sheets import Handed, Looked, Sheets, first_looks, sheets_of
from app.queries.weeks_kept import Span, Weeks

WORKER = table_of(Worker)
ORDER = {step: place for place, step in enumerate(Step)}
_WORKERS = (
    select(WORKER.c.id, WORKER.c.name, WORKER.c.number)
    .where(WORKER.c.id.in_(bindparam("workers", expanding=True)))
    .order_by(WORKER.c.name_key, WORKER.c.id)
)
NOTHING = Hours()


@dataclass(frozen=True, slots=True)
class Ground:
    """What the week and the weeks before it hold, oldest first, the week itself last: what all its figures are made of.

    `hours` are of whole weeks; None for one of which hours are no longer kept by person.
    """

    house: House
    benches: Mapping[int, Bench]
    spans: tuple[Span, ...]
    sheets: tuple[Sheets, ...]
    hours: tuple[HoursBy | None, ...]


def ground_of(session: Session, weeks: Weeks, spans: Sequence[Span], now: datetime, zone: ZoneInfo,
              house: House) -> Ground:  # fmt: skip
    """Read the sheets and hours of these weeks; whatever is known of them is not read again."""
    present = presences(session, spans[0].since, spans[-1].until, now)
    first_kept = kept_since(session, zone)
    hours = tuple(_hours(present, span, first_kept) for span in spans)
    sheets = tuple(weeks.get("sheets", span, sheets_of) for span in spans)
    return Ground(house, benches(session), tuple(spans), sheets, hours)


def workers_of(session: Session, weeks: Weeks, ground: Ground, rated: int) -> tuple[WorkerWeek, ...]:
    """Everybody who did something or was signed in this week; rates and first looks of the last `rated` weeks."""
    looked: dict[int, Looked] = {}
    for span in ground.spans[-rated:]:
        for worker, more in weeks.get("looks", span, first_looks).items():
            looked[worker] = looked.get(worker, Looked()) + more
    hours = ground.hours[-1] or {}
    ids = {worker for worker, _ in ground.sheets[-1].by_worker} | {worker for worker, _ in hours}
    rows = session.execute(_WORKERS, {"workers": sorted(ids)}) if ids else ()
    return tuple(_worker(row, ground, rated, looked.get(row.id)) for row in rows)


def _hours(present: Sequence[Presence], span: Span, first_kept: datetime | None) -> HoursBy | None:
    if first_kept is not None and span.since < first_kept:
        return None
    return hours_within(present, span.since, span.until)


def _worker(row: Any, ground: Ground, rated: int, looked: Looked | None) -> WorkerWeek:
    mine = {station: hours for (worker, station), hours in (ground.hours[-1] or {}).items() if worker == row.id}
    at_tables = (hours for station, hours in mine.items() if ground.benches[station].at_table)
    done = sorted((step for worker, step in ground.sheets[-1].by_worker if worker == row.id), key=ORDER.__getitem__)
    return WorkerWeek(
        row.id, row.name, row.number, tuple(_step(row.id, step, ground, rated) for step in done),
        sum(mine.values(), NOTHING), sum(at_tables, NOTHING), _first_pass(looked, ground.house.first_pass_least),
    )  # fmt: skip


def _step(worker: int, step: Step, ground: Ground, rated: int) -> StepLine:
    handed = ground.sheets[-1].by_worker[worker, step]
    hours_s = _own_s(worker, step, ground.hours[-1], ground.benches)
    return StepLine(step, say(STEP_WORDS[step][1]), handed.sheets, handed.credit, handed.learning, hours_s,
                    _rate(worker, step, ground, rated))  # fmt: skip


def _rate(worker: int, step: Step, ground: Ground, rated: int) -> Rate | None:
    """Sheets an hour, both without what was learned; a week whose hours are no longer known counts on neither side."""
    handed, own_s = Handed(), 0
    for sheets, hours in zip(ground.sheets[-rated:], ground.hours[-rated:], strict=True):
        if hours is not None:
            handed += sheets.by_worker.get((worker, step), Handed())
            own_s += _own_s(worker, step, hours, ground.benches)
    if own_s < ground.house.rate_least_hours * HOUR_S:
        return None
    count, credit, hours_h = handed.sheets - handed.learning, handed.credit - handed.learning_credit, own_s / HOUR_S
    interval = scaled_interval(count, credit).times(1 / hours_h)
    return Rate(float(credit) / hours_h, interval, credit != count, count, credit, own_s)


def _own_s(worker: int, step: Step, hours: HoursBy | None, there: Mapping[int, Bench]) -> int:
    return sum(found.own_s for (who, station), found in (hours or {}).items()
               if who == worker and step.value in there[station].steps)  # fmt: skip


def _first_pass(looked: Looked | None, least: int) -> FirstPass | None:
    if looked is None:
        return None
    enough = looked.inspected >= least
    interval = wilson_interval(looked.passed, looked.inspected) if enough else None
    return FirstPass(looked.inspected, looked.passed, interval)
