"""Who works at a station: signing in by badge or name, and out again."""

from __future__ import annotations

from sqlalchemy import insert, select, update

from app.db.models import Worker, table_of
from app.domain.answer import Answer
from app.domain.attempt import WorkerFacts
from app.domain.errors import Refusal, Refused
from app.domain.house import House
from app.services.attendance import ATTENDANCE, OPEN, end_times
from app.services.desk import Desk, workers_named
from app.services.hands_then import come_then, gone_then

WORKER = table_of(Worker)
WHAT_IS_KEPT = (
    "You are signed in here. This is what is kept about you, told once:",
    "Your name, your badge, and what you may do here; the manager sees them.",
    "Each sheet you handle, with place and time. It stays with the sheet for good.",
    "When you signed in and out at which station, for {months}; trainers and the manager see it.",
    "A refused scan is kept without your name. When you leave, ask for your name to become a number.",
)
TOGETHER = 2


def sign_in(desk: Desk, worker_id: int, *, how: str, with_others: str = "") -> None:
    """Sign a worker in at this station and out everywhere else.

    `with_others` is empty (alone: whoever was here is signed out), "together", or "beside" (they learn from whoever
    is here already). Refused: a second learner or a third worker, and learning beside nobody.
    """
    if desk.station_id is None:
        raise Refused(Refusal("unknown-station", "Signing in is done at a station.", "Go to a station's screen."))
    if not workers_named(desk.session, (worker_id,), desk.house):
        raise Refused(
            Refusal("unknown-worker", "Nobody who works here is meant.", "Choose a name, or scan your badge.")
        )
    if desk.told_late:
        come_then(desk, worker_id, how)
        return
    others = [each for each in _here(desk) if each != worker_id]
    if with_others:
        _may_join(others, with_others)
    else:
        end_times(desk.session, desk.now, "replaced", ATTENDANCE.c.station_id == desk.station_id)
    end_times(desk.session, desk.now, "elsewhere", ATTENDANCE.c.worker_id == worker_id)
    beside = others[0] if with_others == "beside" else None
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
        lines = what_is_kept(desk.house)
    return Answer("done", f"Hello, {worker.name.split()[0]}.", lines, "Scan a sheet.")


def what_is_kept(house: House) -> tuple[str, ...]:
    """What is kept about a worker, in five lines under a first: what, who sees it, and for how long."""
    months = house.keep_hours_months
    said = "a month" if months == 1 else f"{months} months"
    return tuple(line.replace("{months}", said) for line in WHAT_IS_KEPT)


def sign_out_all(desk: Desk) -> None:
    """Sign out everybody who is signed in at this station."""
    if desk.told_late:
        gone_then(desk)
        return
    end_times(desk.session, desk.now, "out", ATTENDANCE.c.station_id == desk.station_id)


def _may_join(others: list[int], how: str) -> None:
    if len(others) >= TOGETHER:
        raise Refused(Refusal("not-signed-in", "Two are signed in here already.", "One of them signs out first."))
    if how == "beside" and not others:
        words = "Nobody is signed in here to learn beside."
        raise Refused(Refusal("not-signed-in", words, "Whoever teaches scans their badge first."))


def _here(desk: Desk) -> list[int]:
    mine = (ATTENDANCE.c.station_id == desk.station_id, OPEN)
    return list(desk.session.execute(select(ATTENDANCE.c.worker_id).where(*mine).order_by(ATTENDANCE.c.id)).scalars())
