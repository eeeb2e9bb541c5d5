"""What the served room does by itself for its backups: one a day, the list beside them, and a look at their second place."""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from app.clock import utc_now
from app.config import HOME, Config
from app.db.engine import Database, reading, transaction
from app.services.backup import backup_failed, backup_is_due, keep_place
from app.services.backup_list import bring_list_up, newest_rows
from app.services.backup_places import place_of, state_of
from app.services.codes_given import Given, given_out

LOG = logging.getLogger("blotter.backups")
FOLDER = "backups"
LOOK_EVERY_S = 10.0
# A moment is quiet when nobody has written for so long; after so long it is made in any case.
QUIET, LONGEST_WAIT = timedelta(minutes=2), timedelta(hours=1)
AGAIN_AFTER = timedelta(hours=1)
PLACE_EVERY = timedelta(minutes=10)
LONGEST_S = 6 * 3600
# Makes a backup and says in one sentence why there is none; nothing where there is. True: throw nothing away.
Run = Callable[[bool], str]


@dataclass
class Keeper:
    """Keeps the backups of one running room. `doubtful` says whether the computer's clock is in doubt."""

    database: Database
    data: Path
    zone: ZoneInfo
    run: Run
    doubtful: Callable[[], bool] = lambda: False
    seen: tuple[int, int] = (-1, -1)
    listed: tuple[int, Given] | None = None
    quiet_since: datetime | None = None
    waits_since: datetime | None = None
    failed_at: datetime | None = None
    place_at: datetime | None = field(default=None)

    def look(self, now: datetime) -> bool:
        """Do what is due at this moment; whether a backup was made."""
        self._note_quiet(now)
        self._list()
        self._look_at_place(now)
        if not self._is_time(now):
            return False
        why = self.run(self.doubtful())
        self.waits_since, self.failed_at = None, now if why else None
        if why:
            LOG.warning("There is no backup. %s", why)
            with transaction(self.database) as session:
                backup_failed(session, why)
        return not why

    def _note_quiet(self, now: datetime) -> None:
        with reading(self.database) as session:
            seen = newest_rows(session)
        if seen != self.seen or self.quiet_since is None or self.quiet_since > now:
            self.seen, self.quiet_since = seen, now

    def _is_time(self, now: datetime) -> bool:
        if self.failed_at is not None and timedelta(0) <= now - self.failed_at < AGAIN_AFTER:
            return False
        with reading(self.database) as session:
            if not any(self.seen) or not backup_is_due(session, now, self.zone):
                self.waits_since = None
                return False
        if self.waits_since is None or self.waits_since > now:
            self.waits_since = now
        is_quiet = self.quiet_since is not None and now - self.quiet_since >= QUIET
        return is_quiet or now - self.waits_since >= LONGEST_WAIT

    def _list(self) -> None:
        """Bring the lists up whenever something was changed or given out since; where they cannot be written, the next time."""
        with suppress(OSError), reading(self.database) as session:
            newest = self.seen[1], given_out(session)
            if newest != self.listed:
                bring_list_up(session, self.data / FOLDER)
                self.listed = newest

    def _look_at_place(self, now: datetime) -> None:
        if self.place_at is not None and timedelta(0) <= now - self.place_at < PLACE_EVERY:
            return
        self.place_at = now
        with reading(self.database) as session:
            place = place_of(session, self.data)
        if place is None:
            return
        # Not within the transaction: a share that does not answer would hold everybody up.
        state = state_of(place)
        with transaction(self.database) as session:
            came_back = keep_place(session, state, now, was_copied=False)
        if came_back:
            # What was taken away while it was out of reach is written there now.
            self.listed = None


def keep_backups(keeper: Keeper, stopped: threading.Event) -> None:
    """Look every few seconds until `stopped` is set. What cannot be done now is done later, whatever stood in its way."""
    while not stopped.wait(LOOK_EVERY_S):
        try:
            keeper.look(utc_now())
        except Exception:
            LOG.exception("The look after the backups fell over.")


def run_apart(config: Config) -> Run:
    """Make backups in a program of their own, so that reading the whole log again holds no scan up."""

    def run(keep_all: bool) -> str:
        command = [sys.executable, "-m", "app", "backup", "--by-itself", "--data", str(config.data)]
        where = {**os.environ, "BLOTTER_DATABASE_URL": config.database_url, "BLOTTER_ZONE": config.zone.key}
        try:
            done = subprocess.run([*command, *["--keep-all"] * keep_all], cwd=HOME, env=where, capture_output=True, text=True,
                                  timeout=LONGEST_S, stdin=subprocess.DEVNULL, check=False)  # fmt: skip
        except (OSError, subprocess.TimeoutExpired) as error:
            return f"The program that makes it did not come to its end: {type(error).__name__}."
        said = done.stderr.strip().splitlines()
        return "" if done.returncode == 0 else said[-1] if said else "The program that makes it said nothing."

    return run
