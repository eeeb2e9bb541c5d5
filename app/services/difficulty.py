"""What makes the sheet in hand harder than others, and who might help where nobody there is signed off for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from sqlalchemy import bindparam, select
from sqlalchemy.engine import RowMapping

from app.db.models import Attendance, SignOff, Station, Worker, table_of
from app.domain.attempt import Attempt
from app.domain.language import say
from app.domain.sign_off_rules import TAUGHT, difficulties_of, lacking
from app.domain.stages import Step
from app.services.describing import hazard_kinds
from app.services.desk import Desk

WORKER = table_of(Worker)
STATION = table_of(Station)
ATTENDANCE = table_of(Attendance)
SIGN_OFF = table_of(SignOff)
MOST_NAMED = 3
_SIGNED_OFF = (
    select(WORKER.c.id, WORKER.c.name, SIGN_OFF.c.difficulty)
    .join(SIGN_OFF, SIGN_OFF.c.worker_id == WORKER.c.id)
    .where(WORKER.c.retired_at.is_(None), SIGN_OFF.c.ended_at.is_(None), SIGN_OFF.c.step == bindparam("step"))
    .order_by(WORKER.c.name, WORKER.c.id)
)
_AT_WORK = (
    select(ATTENDANCE.c.worker_id, STATION.c.name)
    .join(STATION, STATION.c.id == ATTENDANCE.c.station_id)
    .where(ATTENDANCE.c.signed_out_at.is_(None))
    .order_by(ATTENDANCE.c.id)
)


def with_difficulty(desk: Desk, row: RowMapping, attempt: Attempt) -> Attempt:
    """The same attempt with the sheet's difficulty, as its row and this scan say, and with whoever might help."""
    # Glue that is on is asked for the sign-off that taking up would have needed.
    judged = replace(attempt, step=Step.TAKE_UP) if attempt.step is Step.MOUNT else attempt
    if judged.step not in TAUGHT:
        return attempt
    difficulties = _difficulties(desk, row, attempt)
    missing = lacking(replace(judged, difficulties=difficulties))
    might_help = _might_help(desk, judged, missing) if missing else ()
    return replace(attempt, difficulties=difficulties, might_help=might_help)


def _difficulties(desk: Desk, row: RowMapping, attempt: Attempt) -> tuple[str, ...]:
    facts = desk.request.facts
    told = facts.get("hazards", ())
    kinds = hazard_kinds(desk.session, row["id"], row["consignment_id"])
    bulky = "bulky" in (attempt.sheet.bulk, facts.get("bulk"))
    return difficulties_of(
        "bulky" if bulky else attempt.sheet.bulk, [*kinds, *([told] if isinstance(told, str) else told)]
    )


def _might_help(desk: Desk, attempt: Attempt, missing: Iterable[str]) -> tuple[str, ...]:
    """Those at work who are signed off for all that is missing, and where; else those who are not there now."""
    there = {worker.worker_id for worker in (*attempt.by, *attempt.beside)}
    covers: dict[tuple[int, str], set[str]] = {}
    for worker_id, name, difficulty in desk.session.execute(_SIGNED_OFF, {"step": attempt.step.value}):
        covers.setdefault((worker_id, name), set()).add(difficulty)
    able = [each for each, signed in covers.items() if signed >= set(missing) and each[0] not in there]
    at_work = {worker_id: station for worker_id, station in desk.session.execute(_AT_WORK)}
    here = [f"{name} ({at_work[worker_id]})" for worker_id, name in able if worker_id in at_work]
    away = [say("{name}, who is not signed in now,", name=name) for _, name in able]
    return tuple((here or away)[:MOST_NAMED])
