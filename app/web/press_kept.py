"""The press room's pages kept for all who look at them: drawn once for each minute and each writing, sent when they differ."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import blake2s
from typing import Any

from app.db.engine import reading
from app.domain.language import spoken
from app.queries.board import board_version
from app.web.render import House, house, kept_here

Draw = Callable[[Any], str]
MOST = 200  # more pages than a room has stacks; beyond it somebody asks for names that are none


@dataclass(frozen=True, slots=True)
class Part:
    """The part of a page that changes: its words, and a mark of them."""

    body: str
    mark: str


@dataclass
class KeptParts:
    """What was drawn last, by language and the name of its page, and of which minute and which writing it is.

    While one request draws a part anew, those who come meanwhile get the part as it was: nobody waits with a thread.
    """

    house: House
    turn: threading.Lock = field(default_factory=threading.Lock)
    kept: dict[tuple[str, str], tuple[tuple[int, str], Part]] = field(default_factory=dict)

    def drawn_anew(self, name: str, draw: Draw) -> Part:
        """The part as it is at this moment, for somebody who opens the page."""
        with reading(self.house.database) as session:
            return self._draw(name, draw, session)

    def drawn_now(self, name: str, draw: Draw) -> Part:
        """The part for a page that shows it already: at most a minute old, and never older than what was written."""
        with reading(self.house.database) as session:
            was = self.kept.get((spoken().code, name))
            if was is not None and was[0] == self._state(session):
                return was[1]
            if not self.turn.acquire(blocking=was is None):
                assert was is not None
                return was[1]
            try:
                return self._draw(name, draw, session)
            finally:
                self.turn.release()

    def _draw(self, name: str, draw: Draw, session: Any) -> Part:
        state = self._state(session)
        body = draw(session)
        part = Part(body, blake2s(body.encode(), digest_size=9).hexdigest())
        if len(self.kept) >= MOST:
            self.kept.clear()
        self.kept[spoken().code, name] = (state, part)
        return part

    def _state(self, session: Any) -> tuple[int, str]:
        """Times are said in minutes, so the same stacks may look otherwise a minute later."""
        return int(self.house.clock().timestamp()) // 60, board_version(session)


def kept_parts() -> KeptParts:
    """The parts as they are kept by the running room."""
    kept: KeptParts = kept_here().setdefault("blotter-press", KeptParts(house()))
    return kept
