"""Who works at a station: signing in by badge or name, and out again."""

from __future__ import annotations

from sqlalchemy import insert, select, update

from app.db.models import Worker, table_of
from app.domain.answer import Answer
from app.domain.attempt import WorkerFacts
from app.domain.errors import Refusal, Refused
from app.domain.house import House
from app.domain.language import mark, say, say_n
from app.services.attendance import ATTENDANCE, OPEN, end_times
from app.services.desk import Desk, workers_named
from app.services.hands_then import come_then, gone_then

WORKER = table_of(Worker)
WHAT_IS_KEPT = (
    mark("You are signed in here. This is what is kept about you, told once:"),
    mark("Your name, your badge, and what you may do here; the manager sees them."),
    mark("Each sheet you handle, with place and time. It stays with the sheet for good."),
    mark("When you signed in and out at which station, for {months}; trainers and the manager see it."),
    mark("A refused scan is kept without your name. When you leave, ask for your name to become a number."),
)
TOGETHER = 2


def sign_in(desk: Desk, worker_id: int, *, how: str, with_others: str = "") -> None:
    """Sign a worker in at this station and out everywhere else.

    `with_others` is empty (alone: whoever was here is signed out), "together", or "beside" (they learn from whoever
    is here already). Refused: a second learner or a third worker, learning beside nobody, whoever only reads.
    """
    if desk.station_id is None:
        words = say("Signing in is done at a station.")
        raise Refused(Refusal("unknown-station", words, say("Go to a station's screen.")))
    found = workers_named(desk.session, (worker_id,), desk.house)
    if not found:
        words = say("Nobody who works here is meant.")
        raise Refused(Refusal("unknown-worker", words, say("Choose a name, or scan your badge.")))
    if found[0].rights == {"reader"}:
        raise Refused(only_reads(found[0].name))
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
    values = {"worker_id": worker_id, "station_id": desk.station_id, "signed_in_at": desk.now, "how": how,
              "beside_id": beside}  # fmt: skip
    desk.session.execute(insert(ATTENDANCE), values)


def only_reads(name: str) -> Refusal:
    """Why somebody whose only right is to read does no work here."""
    words = say("{name} may look things up here, and does no work on sheets.", name=name)
    return Refusal("unknown-worker", words, say("The manager can say otherwise on the page of people."))


def hello(desk: Desk, worker: WorkerFacts) -> Answer:
    """The answer to a sign-in; the first time it tells in five lines what is kept about a worker, who sees it, how long."""
    first = select(WORKER.c.id).where(WORKER.c.id == worker.worker_id, WORKER.c.told_at.is_(None))
    lines: tuple[str, ...] = (say("You are signed in here."),)
    if desk.session.execute(first).scalar() is not None:
        desk.session.execute(update(WORKER).where(WORKER.c.id == worker.worker_id).values(told_at=desk.now))
        lines = what_is_kept(desk.house)
    return Answer("done", say("Hello, {name}.", name=worker.name.split()[0]), lines, say("Scan a sheet."))


def what_is_kept(house: House) -> tuple[str, ...]:
    """What is kept about a worker, in five lines under a first: what, who sees it, and for how long."""
    months = house.keep_hours_months
    return tuple(say(line, months=say_n("a month", "{n} months", months)) for line in WHAT_IS_KEPT)


def sign_out_all(desk: Desk) -> None:
    """Sign out everybody who is signed in at this station."""
    if desk.told_late:
        gone_then(desk)
        return
    end_times(desk.session, desk.now, "out", ATTENDANCE.c.station_id == desk.station_id)


def _may_join(others: list[int], how: str) -> None:
    if len(others) >= TOGETHER:
        raise Refused(
            Refusal("not-signed-in", say("Two are signed in here already."), say("One of them signs out first."))
        )
    if how == "beside" and not others:
        words = say("Nobody is signed in here to learn beside.")
        raise Refused(Refusal("not-signed-in", words, say("Whoever teaches scans their badge first.")))


def _here(desk: Desk) -> list[int]:
    mine = (ATTENDANCE.c.station_id == desk.station_id, OPEN)
    return list(desk.session.execute(select(ATTENDANCE.c.worker_id).where(*mine).order_by(ATTENDANCE.c.id)).scalars())
