"""What stations feel: the running server, asked over the network by many at once, beside its own baselines."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from itertools import repeat
from pathlib import Path
from statistics import median

from tests.bench.asking import HELLO_REQUEST, Request, Scanning, by_hand_written, by_screen, by_script, deeds
from tests.bench.data import Collection
from tests.bench.floor import empty_stacks
from tests.bench.furniture import STATIONS
from tests.bench.load import Heard, Line, flat_out, paced
from tests.bench.rounds import HELLO, Round, share, shuffled

Play = Callable[[list[Line], list[Iterator[Request]]], Heard]


@dataclass
class Service:
    """A running server with fifty lines to it: for each station the ways in which it may ask, and the sheets to ask about."""

    collection: Collection
    port: int
    mine: Path
    lines: list[Line]
    ways: dict[str, list[Scanning]]
    sheets: dict[str, Iterator[str]]
    failures: int = 0
    refused: int = 0
    heard: dict[str, list[float]] = field(default_factory=dict)

    def sources(self, way: str, clients: int) -> list[Iterator[Request]]:
        """What each client asks, without end."""
        if way == HELLO:
            return [repeat(HELLO_REQUEST) for _ in range(clients)]
        kind = "floor" if way == "raw" else "mine"
        return [map(self.ways[way][place], deeds(self.sheets[kind])) for place in range(clients)]

    def play(self, way: str, clients: int, how: Play) -> Heard:
        """One load of one kind; afterwards the stacks are emptied for the next one."""
        heard = how(self.lines[:clients], self.sources(way, clients))
        if not min(heard.each):
            raise AssertionError("There are too few sheets ready for mounting for so much load.")
        self.failures += heard.failures
        self.refused += sum(count for status, count in heard.statuses.items() if 400 <= status < 500)
        self.heard.setdefault(way, []).extend(heard.seconds)
        if way not in (HELLO, "raw"):
            self.empty_stacks()
        return heard

    def empty_stacks(self) -> None:
        """Make room for the next load."""
        with closing(sqlite3.connect(self.mine, timeout=30, isolation_level=None)) as connection:
            empty_stacks(connection)


def service(collection: Collection, port: int, mine: Path) -> Service:
    """All lines of one server, opened."""
    lines, keys = [Line(port) for _ in range(STATIONS)], collection.keys
    ways = {
        "raw": [by_hand_written(1 + place) for place in range(STATIONS)],
        "script": [by_script(token) for token in keys.tokens],
        "screen": [by_screen(cookie, line.ask) for cookie, line in zip(keys.cookies, lines, strict=True)],
    }
    sheets = {kind: iter(collection.ready) for kind in ("mine", "floor")}
    return Service(collection, port, mine, lines, ways, sheets)


def copies(collection: Collection, folder: Path) -> tuple[Path, Path]:
    """A fresh copy of the collection for the program, and one for the floor."""
    found = folder / "served.sqlite3", folder / "served-floor.sqlite3"
    for path in found:
        for old in folder.glob(path.name + "*"):
            old.unlink()
        shutil.copy(collection.path, path)
    return found


def throughput(service: Service, clients: int, requests: int, ways: tuple[str, ...]) -> Callable[[], Round]:
    """A round of flat out: requests in a second for each way."""
    each = max(12, requests // clients // 12 * 12)

    def play() -> Round:
        found = {}
        for way in shuffled([HELLO, *ways]):
            heard = service.play(way, clients, lambda lines, sources: flat_out(lines, sources, count=each))
            found[way] = len(heard.seconds) / heard.took
        return found

    return play


def feeling(
    service: Service, seconds: float, ways: tuple[str, ...], beside: Callable[[], None] | None = None
) -> Callable[[], Round]:
    """A round of fifty stations with one scan a second each: the middle answer and the slowest in a hundred."""

    def play() -> Round:
        found = {}
        for way in shuffled([HELLO, *ways]):
            heard = service.play(
                way, STATIONS, lambda lines, sources: paced(lines, sources, every=1.0, seconds=seconds)
            )
            found[way], found[f"{way} p99"] = median(heard.seconds), share(heard.seconds, 0.99)
        return found

    return play


def fairness(service: Service, seconds: float, way: str) -> Round:
    """Fifty stations at once, flat out: fewest over most scans by a station, and the slowest answer over the middle one."""
    heard = service.play(way, STATIONS, lambda lines, sources: flat_out(lines, sources, seconds=seconds))
    return {"fewest": min(heard.each) / max(heard.each), "slowest": max(heard.seconds) / median(heard.seconds)}


def idle(service: Service, connections: int) -> float:
    """The share of requests that is answered while so many other connections say nothing."""
    waiting = [Line(service.port) for _ in range(connections)]
    heard = service.play("script", STATIONS, lambda lines, sources: flat_out(lines, sources, count=4))
    for line in waiting:
        line.close()
    return heard.statuses[200] / (4 * STATIONS)
