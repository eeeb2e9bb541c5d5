"""What goes on beside the pages while the room is served: its sign of life, who is idle, what is forgotten, and tidying."""

from __future__ import annotations

import threading
from contextlib import suppress
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy.exc import SQLAlchemyError

from app.backing_up import Keeper, keep_backups
from app.bringing_in import Bringer, keep_bringing
from app.clock import Watch, utc_now
from app.db.engine import Database, checkpoint, reading, transaction
from app.db.rules import room_house
from app.domain.calendar import local_day
from app.services.attendance import sign_out_idle
from app.services.forgetting import forget_old, forget_refusals
from app.services.heartbeat import beat

CHECKPOINT_S = 2.0
BEAT_EVERY_S = 60.0


def keep_going(database: Database, watch: Watch, zone: ZoneInfo, stopped: threading.Event, uploads: Path | None = None,
               keeper: Keeper | None = None) -> None:  # fmt: skip
    """Start what goes on in the background, until `stopped` is set. `uploads` is where files lie that were sent in; `keeper`
    keeps the backups, where there are any.
    """
    if keeper is not None:
        keeper.doubtful = lambda: watch.is_doubtful(_ahead(database))
        threading.Thread(target=keep_backups, args=(keeper, stopped), daemon=True).start()
    if uploads is not None:
        bringing = (Bringer(database, utc_now, zone), uploads, stopped.wait)
        threading.Thread(target=keep_bringing, args=bringing, daemon=True).start()
    threading.Thread(target=_go_round, args=(database, watch, zone, stopped), daemon=True).start()
    threading.Thread(target=_tidy, args=(database, stopped), daemon=True).start()


def each_minute(database: Database, watch: Watch, now: datetime) -> None:
    """Give a sign of life and sign out who is idle; neither while the clock is in doubt.

    A sign of life from a wrong clock would take the doubt away at the next start.
    """
    if watch.doubtful_since_start:
        return
    with transaction(database) as session:
        beat(session, now)
        house = room_house(session)[0]
        watch.limit = timedelta(minutes=house.clock_ahead_min)
        if not watch.is_doubtful():
            sign_out_idle(session, now, house)


def each_day(database: Database, watch: Watch, now: datetime, zone: ZoneInfo) -> bool:
    """Forget what is no longer kept; whether it was done. A clock in doubt forgets nothing: it could not be undone."""
    with transaction(database) as session:
        house = room_house(session)[0]
        if watch.is_doubtful(timedelta(minutes=house.clock_ahead_min)):
            return False
        forget_old(session, now, zone)
        forget_refusals(session, now)
    return True


def read_ahead(database: Database, now: datetime, zone: ZoneInfo) -> None:
    """Read last week's report once, so that whoever asks for it on Monday does not wait for nine weeks of the log."""
    from app.queries.week import week

    year, number, _ = (local_day(now, zone) - timedelta(days=7)).isocalendar()
    # A room that is younger than a week has none.
    with suppress(ValueError, SQLAlchemyError), reading(database) as session:
        week(session, year, number, now, zone)


def _ahead(database: Database) -> timedelta:
    with reading(database) as session:
        return timedelta(minutes=room_house(session)[0].clock_ahead_min)


def _go_round(database: Database, watch: Watch, zone: ZoneInfo, stopped: threading.Event) -> None:
    forgot_on: date | None = None
    read_on: date | None = None
    while True:
        now = utc_now()
        today = local_day(now, zone)
        # What cannot be written now is written a minute later.
        with suppress(SQLAlchemyError):
            each_minute(database, watch, now)
            if today != forgot_on and each_day(database, watch, now, zone):
                forgot_on = today
        if stopped.wait(BEAT_EVERY_S):
            return
        if today != read_on:
            # Not at once: whoever opens the room in the morning comes first.
            read_ahead(database, now, zone)
            read_on = today


def _tidy(database: Database, stopped: threading.Event) -> None:
    """Carry what was written over into the database's file, so that no scan has to wait for it."""
    while not stopped.wait(CHECKPOINT_S):
        with suppress(SQLAlchemyError):
            checkpoint(database)
