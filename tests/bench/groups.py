"""What is measured, group by group; each group works in fresh copies of the collection and yields its lines of the table."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from itertools import count
from pathlib import Path
from statistics import median

from tests.bench.data import Collection, build
from tests.bench.furniture import STATIONS
from tests.bench.imports import import_round, list_of, memory_of, prepare, send_in
from tests.bench.load import flat_out, paced
from tests.bench.pages import PAGES, cabinet_round, page_round, usual_round, week_round
from tests.bench.postgres import beside
from tests.bench.pressing import PressRoom
from tests.bench.reads import board_round, growth_round, opened, search_round
from tests.bench.rounds import HELLO, Line, Round, at_least, at_most, line, ratios, rounds_of, shuffled
from tests.bench.server import served
from tests.bench.serving import Service, copies, fairness, feeling, idle, service, throughput
from tests.bench.starting import bare_memory, own_memory, start_round
from tests.bench.viewers import by_cookie, by_token, viewers
from tests.bench.work import Work

SCANS = ("script", "screen")
SAID = {"services": "services alone", "script": "as a script sends it", "screen": "a station's screen"}
CLIENTS = (1, 8, STATIONS)
# No goal was set for these pages: they are measured so that a change for the worse is seen.
SEEN = 1_000
# Times in which scans are measured until a file is in, at the most.
MOST_DURING = 8


@dataclass(frozen=True, slots=True)
class Bench:
    """What a run works with: the smallest and the largest collection, a folder, how many rounds, and how long."""

    small: Collection
    large: Collection
    folder: Path
    rounds: int
    seconds: float
    requests: int
    now: datetime


def work(bench: Bench) -> Iterator[Line]:
    """What a scan costs in the process itself."""
    for door, said in SAID.items():
        found = _worked(Work(bench.large, bench.folder, door), bench.rounds)
        yield line(f"scan, work: {said}", at_most(2.5, 1.8), ratios(found, "scan", HELLO, "raw"), _microseconds(found))


def growth(bench: Bench) -> Iterator[Line]:
    """The same scan in the smallest and in the largest collection."""
    rooms = {}
    for name, collection in (("small", bench.small), ("large", bench.large)):
        (bench.folder / name).mkdir()
        rooms[name] = Work(collection, bench.folder / name, "script", 12)

    def play() -> Round:
        played = {name: rooms[name].play() for name in shuffled(list(rooms))}
        return {**{name: each["scan p50"] for name, each in played.items()}, HELLO: played["large"][HELLO]}

    found = rounds_of(min(bench.rounds, 7), play)
    for room in rooms.values():
        room.same_rows()
        room.close()
    yield line("growth of a scan, p50", at_most(1.25, 1.1), ratios(found, "large", "small"), _sizes(bench))


def http(bench: Bench) -> Iterator[Line]:
    """Requests a second over the network, beside the hand-written endpoint."""
    with _served(bench) as (found, _):
        for clients in CLIENTS[1:]:
            played = rounds_of(bench.rounds, throughput(found, clients, bench.requests, ("raw", *SCANS)))
            for way in SCANS:
                note = f"{played[-1][way]:.0f} a second; by hand {played[-1]['raw']:.0f}, hello {played[-1][HELLO]:.0f}"
                yield line(
                    f"scan, HTTP, {clients} clients: {SAID[way]}", at_least(0.65, 0.9), ratios(played, way, "raw"), note
                )


def feel(bench: Bench) -> Iterator[Line]:
    """What a station feels when fifty scan once a second each, without and with people at the board."""
    with _served(bench) as (found, _):
        played = rounds_of(min(3, bench.rounds), feeling(found, bench.seconds, SCANS))
        for way in SCANS:
            note = f"{played[-1][way] * 1000:.1f} and {played[-1][way + ' p99'] * 1000:.1f} ms; 1 in 100 of {len(found.heard[way])}"
            yield line(f"what a station feels, p50: {SAID[way]}", at_most(2.8, 2.0), ratios(played, way, HELLO), note)
            yield line(
                f"what a station feels, p99: {SAID[way]}",
                at_most(3.5, 2.5),
                ratios(played, f"{way} p99", f"{HELLO} p99"),
            )
        with viewers(found.port, by_cookie(bench.large.keys.cookies[0]), 10):
            played = rounds_of(min(3, bench.rounds), feeling(found, bench.seconds, ("screen",)))
        note = f"{played[-1]['screen p99'] * 1000:.1f} ms"
        yield line("with 10 board viewers, p99", at_most(5, 3.5), ratios(played, "screen p99", f"{HELLO} p99"), note)


def few(bench: Bench) -> Iterator[Line]:
    """Eight stations, one scan in two seconds, nine times as long as the others are heard; and what pages do to fifty."""
    seconds = 9 * bench.seconds
    with _served(bench) as (found, _):
        slowest = {}
        # What only the first scan after a start costs is another line's matter.
        found.play("screen", 8, lambda lines, sources: flat_out(lines, sources, count=12))
        for way in (HELLO, "screen"):
            heard = found.play(way, 8, lambda lines, sources: paced(lines, sources, every=2.0, seconds=seconds))
            slowest[way] = max(heard.seconds)
        note = f"{slowest['screen'] * 1000:.1f} and {slowest[HELLO] * 1000:.1f} ms in {seconds:.0f} s"
        yield line("8 stations, one scan in 2 s: slowest", at_most(5), [slowest["screen"] / slowest[HELLO]], note)
        alone = rounds_of(min(3, bench.rounds), feeling(found, bench.seconds, ("screen",)))
        keys, week = bench.large.keys, f"{bench.now:/api/weeks/%G-W%V}"
        with (viewers(found.port, by_token(keys.tokens[0]), 1, 2.0, week),
              viewers(found.port, by_cookie(keys.cookies[0]), 1, 2.0, "/ahead")):  # fmt: skip
            beside = rounds_of(min(3, bench.rounds), feeling(found, bench.seconds, ("screen",)))
        together = [other["screen p99"] / one["screen p99"] for one, other in zip(alone, beside, strict=False)]
        note = f"{beside[-1]['screen p99'] * 1000:.1f} ms"
        yield line("while the week and the plan are drawn, p99 / without", at_most(3), together, note)


def press(bench: Bench) -> Iterator[Line]:
    """A press room of forty stacks of twenty."""
    path = bench.folder / "press.sqlite3"
    shutil.copy(bench.large.path, path)
    room = PressRoom(bench.large, path)
    found = rounds_of(bench.rounds, room.play)
    room.close()
    for name in ("whole", "changed", "unchanged"):
        note = f"{found[-1][name] * 1000:.1f} ms"
        yield line(f"press room of 40 stacks of 20, over a look-up: {name}", at_most(SEEN),
                   ratios(found, name, "look-up"), note)  # fmt: skip


def fair(bench: Bench) -> Iterator[Line]:
    """Fifty at once, and whether anything fails."""
    with _served(bench) as (found, _):
        played = [fairness(found, min(3.0, bench.seconds), "screen") for _ in range(bench.rounds)]
        yield line("fairness, 50 at once: fewest / most", at_least(0.6, 0.8), [each["fewest"] for each in played])
        yield line("fairness, 50 at once: slowest / middle", at_most(10, 5), [each["slowest"] for each in played])
        for clients in CLIENTS:
            for way in SCANS:
                found.play(way, clients, lambda lines, sources: flat_out(lines, sources, count=12))
        asked = sum(len(found.heard[way]) for way in SCANS)
        yield line("lock errors and 5xx at 1, 8, 50 clients", at_most(0), [float(found.failures)], f"{asked} scans")
        yield line("scans refused by the rules", at_most(0), [float(found.refused)], "none is meant to be")
        yield line("answers with 500 idle connections", at_least(1), [idle(found, 500)])


def board(bench: Bench) -> Iterator[Line]:
    """The board beside a query without indexes, and as the collection grows under the same queue."""
    path = bench.folder / "board.sqlite3"
    shutil.copy(bench.large.path, path)
    large = opened(path)
    found = rounds_of(bench.rounds, lambda: board_round(large, path))
    yield line("board / hand-written unindexed query", at_most(0.15, 0.1), ratios(found, "board", "by hand"),
               f"{found[-1]['board'] * 1000:.1f} ms, queue {min(50_000, bench.large.sheets // 2):,}")  # fmt: skip
    large.engine.dispose()
    few = bench.small.sheets // 2
    grown = build(bench.folder / "same-queue.sqlite3", bench.large.sheets, bench.now, few)
    rooms = opened(bench.small.path), opened(grown.path)
    found = rounds_of(bench.rounds, lambda: growth_round(*rooms))
    yield line(
        "growth of the board, same queue",
        at_most(1.3, 1.1),
        ratios(found, "large", "small"),
        f"{_sizes(bench)}, queue {few:,}",
    )
    found = rounds_of(bench.rounds, lambda: cabinet_round(*rooms))
    yield line("growth of a cabinet's page, same queue", at_most(1.3, 1.1), ratios(found, "large", "small"),
               f"{found[-1]['large'] * 1000:.1f} ms")  # fmt: skip
    for room in rooms:
        room.engine.dispose()


def pages(bench: Bench) -> Iterator[Line]:
    """What the manager's pages cost."""
    path = bench.folder / "pages.sqlite3"
    shutil.copy(bench.large.path, path)
    large = opened(path)
    found = rounds_of(min(bench.rounds, 3), lambda: usual_round(large, path))
    note = f"{found[-1]['usual'] * 1000:.0f} ms, by windows {found[-1]['windows']:.1f} s"
    yield line("time in stage, all stages and cabinets", at_most(0.004, 0.001), ratios(found, "usual", "windows"), note)
    found = rounds_of(min(bench.rounds, 3), lambda: week_round(large, path))
    note = f"{found[-1]['week'] * 1000:.0f} ms, full scan {found[-1]['full scan']:.1f} s"
    yield line("week / full scan of the entries", at_most(0.08, 0.005), ratios(found, "week", "full scan"), note)
    played = rounds_of(bench.rounds, lambda: page_round(large))
    for name in PAGES:
        if name != "look-up":
            note = f"{played[-1][name] * 1000:.1f} ms"
            yield line(f"page, over a look-up by number: {name}", at_most(SEEN), ratios(played, name, "look-up"), note)
    large.engine.dispose()


def search(bench: Bench) -> Iterator[Line]:
    """Finding while somebody types."""
    database = opened(bench.large.path)
    found = rounds_of(bench.rounds, lambda: search_round(database, bench.large))
    database.engine.dispose()
    note = f"{found[-1]['find'] * 1000:.2f} ms; over a look-up by number through the same session"
    yield line("search as you type", at_most(20, 5), ratios(found, "find", "look-up"), note)


def start(bench: Bench) -> Iterator[Line]:
    """From the command to the first answer."""
    found = rounds_of(bench.rounds, lambda: start_round(bench.small, bench.folder))
    yield line(
        "start-up",
        at_most(1.5, 1.2),
        ratios(found, "start", "imports"),
        f"{found[-1]['start']:.2f} s to the first answer",
    )


def memory(bench: Bench) -> Iterator[Line]:
    """What the server holds after a thousand requests, and after ten thousand."""
    first = bench.requests
    with _served(bench) as (found, pid):
        _many(found, first)
        early, bare = own_memory(pid), bare_memory()
        yield line(
            f"memory after {first:,} requests / bare imports",
            at_most(1.8),
            [early / bare],
            f"{early:.0f} MB of its own",
        )
        _many(found, 9 * first)
        late = own_memory(pid)
        yield line(
            f"memory after {10 * first:,} / after {first:,}", at_most(1.1), [late / early], f"{late:.0f} MB of its own"
        )


def imports(bench: Bench) -> Iterator[Line]:
    """A file of a hundred thousand sheets, as many as the collection has where that is less."""
    many = min(100_000, bench.large.sheets)
    data = list_of(many)
    found = rounds_of(min(bench.rounds, 3), lambda: import_round(bench.small.path, bench.folder, data))
    note = f"{many:,} rows in {found[-1]['taken in']:.1f} s, checked and in {found[-1]['whole']:.1f} s, by hand {found[-1]['raw']:.1f} s"
    yield line("import, checked rows / the same by hand", at_most(1.8, 1.2), ratios(found, "taken in", "raw"), note)
    yield line("import, checking included / the same by hand", at_most(SEEN), ratios(found, "whole", "raw"))
    few, grown = (memory_of(bench.small.path, bench.folder, each) for each in (many // 10, many))
    yield line(
        f"import memory, growth for {many:,} / for {many // 10:,}",
        at_most(1.2),
        [grown / few],
        f"{grown:.0f} and {few:.0f} MB",
    )
    with _served(bench, prepare) as (service, _):
        # Each station has to be heard at least once in it.
        play = feeling(service, max(bench.seconds / 2, 3.0), ("script",))
        alone = [play()["script p99"]]
        are_in, during = send_in(service.mine, data), []
        while are_in() < many and len(during) < MOST_DURING:
            during.append(play()["script p99"])
        # Before and after, so that what else the machine does is in both.
        done, alone = are_in(), [*alone, play()["script p99"]]
    # For some of the last time nothing came in any more.
    during, without = during[:-1] or during, sum(alone) / len(alone)
    note = f"{median(during) * 1000:.1f} and {without * 1000:.1f} ms; {done:,} of {many:,} in by the end"
    yield line("scans during an import, p99 / without", at_most(2.5, 1.5), [each / without for each in during], note)


def postgres(bench: Bench) -> Iterator[Line]:
    """The same room in PostgreSQL."""
    yield from beside(bench.large.sheets, bench.folder, bench.rounds, bench.requests, bench.now)


def _many(found: Service, requests: int) -> None:
    for turn in count():
        if turn * 192 >= requests:
            return
        found.play(SCANS[turn % 2], 8, lambda lines, sources: flat_out(lines, sources, count=24))


def _worked(room: Work, rounds: int) -> list[Round]:
    found = rounds_of(rounds, room.play)
    room.same_rows()
    room.close()
    return found


@contextmanager
def _served(bench: Bench, prepares: Callable[[Path], None] = lambda path: None) -> Iterator[tuple[Service, int]]:
    mine, floors = copies(bench.large, bench.folder)
    prepares(mine)
    with served(mine, floors) as (port, pid):
        found = service(bench.large, port, mine)
        yield found, pid
        for each in found.lines:
            each.close()


def _microseconds(found: list[Round]) -> str:
    last = found[-1]
    return ", ".join(f"{name} {last[name] * 1e6:.0f}" for name in (HELLO, "raw", "scan")) + " µs"


def _sizes(bench: Bench) -> str:
    return f"{bench.large.sheets:,} / {bench.small.sheets:,} sheets"


GROUPS: dict[str, Callable[[Bench], Iterator[Line]]] = {
    "pages": pages, "work": work, "growth": growth, "http": http, "feel": feel, "fair": fair, "board": board, "search": search,
    "few": few, "press": press, "start": start, "memory": memory, "import": imports,
    "postgres": postgres,
}  # fmt: skip
