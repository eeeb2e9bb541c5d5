"""The board kept for all who look at it: read and drawn by one request at a time, at most once a second."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import blake2s

from app.db.engine import reading
from app.queries.board import Board, board, board_version
from app.queries.outlook import NOTHING, Outlook, outlook
from app.queries.waiting import judge
from app.web.render import House

SECOND = timedelta(seconds=1)
# Another program (an import, a backup) may write beside this one; what this one writes is known at once.
OTHERS_ASKED_EVERY = timedelta(seconds=5)
# What lies ahead is reckoned from whole days: a few scans more or less do not move it.
AHEAD_EVERY = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class Look:
    """For whom the board is drawn: for a wall, where people pass by, or for somebody who may put lines aside."""

    wall: bool = False
    keeps: bool = False


@dataclass(frozen=True, slots=True)
class Drawn:
    """The board as one kind of viewer sees it: its words, a mark of them, and since when they have been the same."""

    body: str
    mark: str
    since: datetime
    of: Board


@dataclass
class Kept:
    """The board as it was last read in one language, and as it was drawn from that: those who come meanwhile get what there is.

    Nobody waits for the board but the first who asks: a viewer who waits would keep a thread from the scans.
    """

    house: House
    draw: Callable[[Board, Outlook, Look], str]
    turn: threading.Lock = field(default_factory=threading.Lock)
    found: Board | None = None
    ahead: Outlook = NOTHING
    ahead_at: datetime | None = None
    read_at: datetime | None = None
    asked_at: datetime | None = None
    writes: int = -1
    drawn: dict[Look, Drawn] = field(default_factory=dict)

    def board_now(self) -> Board:
        """The board, read at most once a second however many look at it."""
        found = self.found
        if found is not None and not self._is_old():
            return found
        if not self.turn.acquire(blocking=found is None):
            assert found is not None
            return found
        try:
            return self._read_anew() if self.found is None or self._is_old() else self.found
        finally:
            self.turn.release()

    def board_for_script(self) -> Board:
        """The board with everything that was written until now: a script that wrote finds its own writing in it."""
        with self.turn:
            found = self.found
            if found is None or self._is_old() or self.writes != self.house.database.writes:
                return self._read_anew()
            # Beside other servers it may have written through one of them.
            alone = self.house.database.is_alone
            return found if alone or self._is_of_this_version(found, self.house.clock()) else self._read_anew()

    def drawn_now(self, look: Look) -> Drawn:
        """The board drawn for one kind of viewer, once however many look; the same words keep their mark and moment."""
        found, was = self.board_now(), self.drawn.get(look)
        if was is not None and was.of is found:
            return was
        body = self.draw(found, self.ahead, look)
        mark = blake2s(body.encode(), digest_size=9).hexdigest()
        since = was.since if was is not None and was.mark == mark else found.drawn_at
        drawn = self.drawn[look] = Drawn(body, mark, since, found)
        return drawn

    def is_still(self, look: Look, mark: str) -> bool:
        """Whether a page with this mark shows the board as it is. Asked of the database only when something was written
        since, a minute has passed, or another program may have written.
        """
        was = self.drawn.get(look)
        if was is None or was.mark != mark:
            return False
        if was.of is self.found and not self._may_have_changed():
            return True
        return mark == self.drawn_now(look).mark

    def _may_have_changed(self) -> bool:
        now, found = self.house.clock(), self.found
        if found is None or self.read_at is None or self.asked_at is None or _minute(now) != _minute(self.read_at):
            return True
        if self.writes == self.house.database.writes and abs(now - self.asked_at) < OTHERS_ASKED_EVERY:
            return False
        if not self._is_old():
            return False
        return not self._is_of_this_version(found, now)

    def _is_of_this_version(self, found: Board, now: datetime) -> bool:
        writes = self.house.database.writes
        with reading(self.house.database) as session:
            same = board_version(session) == found.version
        if same:
            self.writes, self.asked_at = writes, now
        return same

    def _is_old(self) -> bool:
        return self.read_at is None or abs(self.house.clock() - self.read_at) >= SECOND

    def _read_anew(self) -> Board:
        moment, writes = self.house.clock(), self.house.database.writes
        with reading(self.house.database) as session:
            found = board(session, moment, self.house.zone)
            if self.ahead_at is None or abs(moment - self.ahead_at) >= AHEAD_EVERY:
                self.ahead, self.ahead_at = outlook(session, judge(session, moment, self.house.zone), found), moment
        self.found, self.read_at, self.asked_at, self.writes = found, moment, moment, writes
        return found


def _minute(moment: datetime) -> int:
    """Ages are said in minutes, so the same room may look otherwise a minute later."""
    return int(moment.timestamp()) // 60
