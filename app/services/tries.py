"""Tries at the doors: how many wrong ones there may be, and how long the door then stays shut.

A try is counted before it is looked at, so that many at the same moment are no more than that many.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from app.db.models import LogIn, table_of
from app.db.upsert import adding, replacing
from app.domain.errors import Refusal, Refused
from app.domain.folding import folded
from app.domain.language import say

LOG_IN = table_of(LogIn)
TRIES, TRIES_HERE = 5, 20
WAIT = timedelta(minutes=5)
# A PIN has four digits: each time that its door shuts again, it stays shut for twice as long, up to 160 minutes.
MOST_DOUBLED = 5
REMEMBERED = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Lock:
    """What is counted: by which key, how many tries, what is said when it is shut; and whether it shuts for longer each time.

    One that is `shared` counts the tries of many: a right one takes back itself only.
    """

    key: str
    words: str
    next: str
    tries: int = TRIES
    is_pin: bool = False
    shared: bool = False


def name_lock(name: str) -> tuple[Lock, ...]:
    """The lock of a name or number that is signed in with, whether there is such a worker or not."""
    words, next_ = say("Too many tries with this name. It opens again {until}."), say("Wait, or ask another manager.")
    return (Lock(f"name {folded(name)[:200]}", words, next_),)


def own_lock(worker_id: int) -> tuple[Lock, ...]:
    """The lock of somebody's old password, asked for before a new one."""
    words, next_ = (
        say("Too many tries with the old password. It is asked for again {until}."),
        say("Wait, or ask another manager."),
    )
    return (Lock(f"own {worker_id}", words, next_),)


def pin_locks(worker_id: int, station_id: int) -> tuple[Lock, ...]:
    """The locks of a worker's PIN at whatever station, and of all PINs at this station."""
    words, next_ = say("Too many tries with this PIN. It opens again {until}."), say("Scan the badge, or wait.")
    here = say("Too many PINs were tried here. They are taken again {until}.")
    return (
        Lock(f"pin {worker_id}", words, next_, is_pin=True),
        Lock(f"pins at {station_id}", here, next_, TRIES_HERE, shared=True),
    )


def note_try(session: Session, locks: Sequence[Lock], now: datetime) -> None:
    """Count a try with each lock. Refused while one of them is shut, saying until when; that is not counted."""
    _forget_old(session, now)
    for lock in locks:
        _be_open(session, lock, now)
    dialect = session.get_bind().dialect.name
    for lock in locks:
        values = {"name_key": lock.key, "failures": 1, "failed_at": now}
        session.execute(adding(dialect, LOG_IN, ("failures",)), values)
        session.execute(replacing(dialect, LOG_IN, ("failed_at",)), values)


def was_right(session: Session, locks: Sequence[Lock]) -> None:
    """The try was no wrong one: what was counted is forgotten."""
    for lock in locks:
        mine = LOG_IN.c.name_key == lock.key
        fewer = update(LOG_IN).where(mine, LOG_IN.c.failures > 0).values(failures=LOG_IN.c.failures - 1)
        session.execute(fewer if lock.shared else delete(LOG_IN).where(mine))


def _be_open(session: Session, lock: Lock, now: datetime) -> None:
    row = session.execute(select(LOG_IN).where(LOG_IN.c.name_key == lock.key)).one_or_none()
    if row is None or row.failures < lock.tries:
        return
    times = row.failures // lock.tries if lock.is_pin else 1
    until = row.failed_at + WAIT * 2 ** min(times - 1, MOST_DOUBLED)
    shuts_now = not lock.is_pin or row.failures % lock.tries == 0
    if shuts_now and now < until:
        raise Refused(Refusal("manager-only", lock.words, lock.next, facts={"until": until}))


def _forget_old(session: Session, now: datetime) -> None:
    # Whoever tries ten thousand names leaves no more behind than what was tried in the last minutes.
    is_pin = LOG_IN.c.name_key.startswith("pin ")
    old = (~is_pin & (LOG_IN.c.failed_at <= now - WAIT)) | (LOG_IN.c.failed_at <= now - REMEMBERED)
    # A clock that was put back would otherwise keep the door shut until the hour comes again.
    session.execute(delete(LOG_IN).where(old | (LOG_IN.c.failed_at > now + WAIT)))
