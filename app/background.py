"""What goes on beside the pages while the room is served: its sign of life, and tidying what was written."""

from __future__ import annotations

import threading
from contextlib import suppress

from sqlalchemy.exc import SQLAlchemyError

from app.clock import Watch, utc_now
from app.db.engine import Database, checkpoint, transaction
from app.services.heartbeat import beat

CHECKPOINT_S = 2.0
BEAT_EVERY_S = 60.0


def keep_going(database: Database, watch: Watch, stopped: threading.Event) -> None:
    """Start what goes on in the background, until `stopped` is set."""
    threading.Thread(target=_beat, args=(database, watch, stopped), daemon=True).start()
    threading.Thread(target=_tidy, args=(database, stopped), daemon=True).start()


def _beat(database: Database, watch: Watch, stopped: threading.Event) -> None:
    """Give a sign of life once a minute; not while the clock is in doubt, or the doubt would be gone at the next start."""
    while True:
        if not watch.doubtful_since_start:
            # One that cannot be written now is written a minute later.
            with suppress(SQLAlchemyError), transaction(database) as session:
                beat(session, utc_now())
        if stopped.wait(BEAT_EVERY_S):
            return


def _tidy(database: Database, stopped: threading.Event) -> None:
    """Carry what was written over into the database's file, so that no scan has to wait for it."""
    while not stopped.wait(CHECKPOINT_S):
        with suppress(SQLAlchemyError):
            checkpoint(database)
