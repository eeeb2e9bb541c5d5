"""The pace of long work beside the scans: short turns, each as much as fits into one, and a rest after each."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sized
from dataclasses import dataclass
from typing import TypeVar

Rest = Callable[[float], None]
Chunk = TypeVar("Chunk", bound=Sized)
# After each turn, twice as long as it held the others up: so they have the room to themselves two thirds of the time.
PAUSE = 2.0
LONGEST_PAUSE_S = 1.0
# While others write too, nobody of them is to wait longer than this for one turn; on a slow machine a turn takes fewer
# sheets. What every turn costs by itself gets no less with fewer of them, so there is an end to that.
LONGEST_TURN_S = 0.003
FEWEST, MOST = 50, 500
# So long after somebody else has written it is held that they will again.
NEAR_S = 5.0


def rest(seconds: float) -> None:
    """Let the others have their turn, after a turn that took so long."""
    time.sleep(min(seconds * PAUSE, LONGEST_PAUSE_S))


@dataclass(slots=True)
class Pace:
    """How work goes on: `rest` hears how long a turn took, and `many` is how much the next one takes."""

    rest: Rest = rest
    longest_turn_s: float = LONGEST_TURN_S
    many: int = MOST
    _seen: int | None = None
    _alone_from: float = 0.0

    def looks(self, mark: int | None) -> None:
        """In a turn: `mark` is another one when somebody else has written since the last; None where nobody can tell."""
        now = time.perf_counter()
        if mark is None or (self._seen is not None and mark != self._seen):
            self._alone_from = now + NEAR_S
        self._seen = mark

    def turns(self) -> Iterator[None]:
        """Turn after turn, with a rest between two of them."""
        while True:
            begun = time.perf_counter()
            yield
            self.rest(time.perf_counter() - begun)

    def each(self, chunks: Iterable[Chunk]) -> Iterator[Chunk]:
        """Chunk after chunk, a rest before every one but the first; how large they are depends on how long both the reading
        and what is done with them take.
        """
        left, turns, worked = iter(chunks), self.turns(), 0.0
        while True:
            begun = time.perf_counter()
            chunk = next(left, None)
            if chunk is None:
                return
            worked += time.perf_counter() - begun
            next(turns)
            begun = time.perf_counter()
            yield chunk
            self.took(len(chunk), worked + time.perf_counter() - begun)
            worked = 0.0

    def took(self, many: int, seconds: float) -> None:
        """So much was done in so many seconds of a turn: the next one takes as much as fits, or most while nobody waits."""
        fits = int(many * self.longest_turn_s / max(seconds, 1e-6))
        self.many = MOST if time.perf_counter() >= self._alone_from else max(FEWEST, min(MOST, fits))
