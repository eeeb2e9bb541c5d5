"""Who works at a station: signing in by badge or name, and out again."""

from __future__ import annotations

from sqlalchemy import insert, select, update

from app.db.models import Attendance, Worker, table_of
from app.domain.answer import Answer
from app.domain.attempt import WorkerFacts
from app.domain.errors import Refusal, Refused
from app.services.desk import Desk, workers_named

ATTENDANCE = table_of(Attendance)
WORKER = table_of(Worker)
WHAT_IS_KEPT = (
    "You are signed in here. This is what is kept about you, told once:",
    "Your name, your badge, and what you may do here; the manager sees them.",
    "Each sheet you handle, with place and time. It stays with the sheet for good.",
    "When you signed in and out at which station; trainers and the manager see it.",
    "A refused scan is kept without your name. When you leave, ask for your name to become a number.",
)
TOGETHER = 2


def sign_in(desk: Desk, worker_id: int, *, how: str, with_others: str = "") -> None:
    """Sign a worker in at this station and out everywhere else.

    `with_others` is empty (alone: whoever was here is signed out), "together", or "beside" (they learn from whoever
    is here already).
    """
    if desk.station_id is None:
        raise Refused(Refusal("unknown-station", "Signing in is done at a station.", "Go to a station's screen."))
    if not workers_named(desk.session, (worker_id,), desk.house):
        raise Refused(
            Refusal("unknown-worker", "Nobody who works here is meant.", "Choose a name, or scan your badge.")
        )
    here = _here(desk)
    if not with_others:
        sign_out_all(desk)
    elif len(here) >= TOGETHER:
        raise Refused(Refusal("not-signed-in", "Two are signed in here already.", "One of them signs out first."))
    _sign_out(desk, worker_id)
    beside = here[0] if with_others == "beside" and here else None
    values = {
        "worker_id": worker_id,
        "station_id": desk.station_id,
        "signed_in_at": desk.now,
        "how": how,
        "beside_id": beside,
    }
    desk.session.execute(insert(ATTENDANCE), values)


def hello(desk: Desk, worker: WorkerFacts) -> Answer:
    """The answer to a sign-in; the first time it tells in five lines what is kept about a worker, who sees it, how long."""
    first = select(WORKER.c.id).where(WORKER.c.id == worker.worker_id, WORKER.c.told_at.is_(None))
    lines: tuple[str, ...] = ("You are signed in here.",)
    if desk.session.execute(first).scalar() is not None:
        desk.session.execute(update(WORKER).where(WORKER.c.id == worker.worker_id).values(told_at=desk.now))
        lines = WHAT_IS_KEPT
    return Answer("done", f"Hello, {worker.name.split()[0]}.", lines, "Scan a sheet.")


def sign_out_all(desk: Desk) -> None:
    """Sign out everybody who is signed in at this station."""
    mine = (ATTENDANCE.c.station_id == desk.station_id, ATTENDANCE.c.signed_out_at.is_(None))
    desk.session.execute(update(ATTENDANCE).where(*mine).values(signed_out_at=desk.now))


def _sign_out(desk: Desk, worker_id: int) -> None:
    mine = (ATTENDANCE.c.worker_id == worker_id, ATTENDANCE.c.signed_out_at.is_(None))
    desk.session.execute(update(ATTENDANCE).where(*mine).values(signed_out_at=desk.now))


def _here(desk: Desk) -> list[int]:
    mine = (ATTENDANCE.c.station_id == desk.station_id, ATTENDANCE.c.signed_out_at.is_(None))
    return list(desk.session.execute(select(ATTENDANCE.c.worker_id).where(*mine).order_by(ATTENDANCE.c.id)).scalars())
