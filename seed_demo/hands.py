"""Lived time and the hands in it: people's work goes on side by side, scan by scan, until the room is entered."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from itertools import count
from typing import Any
from zoneinfo import ZoneInfo

from app.domain.answer import Answer
from app.domain.house import House
from app.domain.numbers import COMMANDS
from app.services.corrections import undo
from app.services.desk import Desk, Occasion, ScanRequest
from app.services.intake import run_import
from app.services.opening import open_desk
from app.services.scanning import once, scan
from seed_demo.people import MANAGER
from seed_demo.room import Furniture

# One piece of work of one person: it yields the seconds until its next scan.
Work = Iterator[int]
IDLE = timedelta(minutes=House().idle_sign_out_min)


class Hands:
    """Everything that anybody does in the demo goes through these: the moment is the agenda's, the doing the services'."""

    def __init__(self, session: Any, zone: ZoneInfo, room: Furniture, moment: datetime) -> None:
        self.session, self.zone, self.room, self.moment = session, zone, room, moment
        self._agenda: list[tuple[datetime, int, Work]] = []
        self._order, self._scans = count(), count(1)
        self._where: dict[str, str] = {}
        self._scanned_at: dict[str, datetime] = {}

    # -- time ---------------------------------------------------------------------------------------------------
    def begin(self, moment: datetime, work: Work) -> None:
        """Somebody begins a piece of work at this moment."""
        heapq.heappush(self._agenda, (moment, next(self._order), work))

    def soon(self, seconds: int, work: Work) -> None:
        """Somebody begins a piece of work in so many seconds."""
        self.begin(self.moment + timedelta(seconds=seconds), work)

    def live_until(self, end: datetime) -> None:
        """Let all that was begun go on, one thing after the other; what would lie after `end` never happens."""
        while self._agenda:
            moment, _, work = heapq.heappop(self._agenda)
            if moment > end:
                self._agenda.clear()
                return
            self.moment = moment
            if (wait := next(work, None)) is not None:
                self.soon(wait, work)

    @property
    def occasion(self) -> Occasion:
        """This moment in this room."""
        return Occasion(self.moment, self.zone)

    # -- scanning -----------------------------------------------------------------------------------------------
    def scans(self, code: str, at: str | None, *, answers: str = "done", **more: Any) -> Answer:
        """A code is scanned at a station; RuntimeError when the room answers otherwise than the story has it."""
        self._comes_back(at)
        answer = scan(self.session, self.request(code, at, **more), self.occasion)
        return _as_told(answer, answers, code)

    def manages(self, code: str, act: Callable[[Desk], Answer], what: str, *, by: str = MANAGER, **more: Any) -> Answer:
        """The manager does something from the sheet's own page, or writes up what somebody else did."""
        request = self.request(code, None, worker_ids=(self.room.workers[by].worker_id,), manages=True, **more)
        return _as_told(once(self.session, request, self.occasion, act, what), "done", what)

    def undoes(self, entry_id: int, at: str) -> Answer:
        """The wrong sheet was scanned: the scan is taken back."""
        self._comes_back(at)
        request = self.request("", at)
        act = lambda desk: undo(desk, entry_id, "wrong sheet")  # noqa: E731
        return _as_told(once(self.session, request, self.occasion, act, f"undo {entry_id}"), "done", "undo")

    def request(self, code: str, at: str | None, **more: Any) -> ScanRequest:
        """A request with an id of its own."""
        station_id = self.room.stations[at] if at else None
        return ScanRequest(f"demo-{next(self._scans):06}", code, station_id, **more)

    # -- people -------------------------------------------------------------------------------------------------
    def signs_in(self, who: str, at: str) -> None:
        """Somebody signs in at a station with their badge, and out wherever they were before."""
        self._scanned_at[at] = self.moment
        self.scans(self.room.workers[who].badge, at)
        self._where = {other: place for other, place in self._where.items() if place != at} | {who: at}

    def _comes_back(self, at: str | None) -> None:
        """Whoever was signed out because nothing was scanned at their station for so long signs in again."""
        if at is None:
            return
        last = self._scanned_at.get(at, self.moment)
        self._scanned_at[at] = self.moment
        who = next((who for who, place in self._where.items() if place == at), None)
        if who is not None and self.moment - last > IDLE:
            self.signs_in(who, at)

    def all_leave(self, at: str) -> None:
        """Whoever works at a station signs out with the card; nothing stays in its hand."""
        self.scans(COMMANDS["done"], at)
        self._where = {other: place for other, place in self._where.items() if place != at}

    @property
    def worked_at(self) -> list[str]:
        """The stations at which somebody is signed in."""
        return sorted(self._where.values())

    # -- lists --------------------------------------------------------------------------------------------------
    def takes_in_list(self, rows: str, consignment: str, who: str) -> int:
        """A parcel is taken in by the list that came with it; returns how many sheets are new."""
        worker_ids = (self.room.workers[who].worker_id,)
        return run_import(self.session, rows.encode(), consignment, self.occasion, worker_ids).new

    def desk(self, at: str) -> Desk:
        """The desk of a station, for what is registered there before it is scanned."""
        self._comes_back(at)
        desk, refusal = open_desk(self.session, self.request("", at), self.occasion)
        if refusal is not None:
            raise RuntimeError(refusal.words)
        return desk


def _as_told(answer: Answer, wanted: str, what: str) -> Answer:
    if answer.kind not in wanted.split():
        raise RuntimeError(f"{what}: {answer.word} {' '.join(answer.lines)} {answer.next}")
    return answer
