"""PostgreSQL beside SQLite: the same room in both, each behind a server of its own, asked in turn."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from sqlalchemy import create_engine

from app.db.engine import open_database, reading, sqlite_url
from app.db.moving import move
from app.db.postgres import with_driver
from tests.bench.data import Collection, build
from tests.bench.floor import EMPTY_STACKS
from tests.bench.furniture import STATIONS
from tests.bench.load import Heard, flat_out
from tests.bench.rounds import HELLO, Line, Round, at_least, line, ratios, rounds_of, shuffled
from tests.bench.server import served
from tests.bench.serving import Play, Service, service

SERVER = "BLOTTER_TEST_DATABASE_URL"
NO_SERVER = f"PostgreSQL is not measured: {SERVER} names no server (python -m tests.postgres --keeping -- python -m tests.bench)."
# What a scan costs follows neither the collection nor its age, and a larger one takes minutes to be carried over.
SHEETS, REQUESTS = 20_000, 300
# Of so many sheets at least one is ready for mounting, and it is scanned three times.
OF_THEM, SCANS = 4, 3
GOALS = {1: 0.5, 8: 0.8, STATIONS: 0.75}


class OnServer(Service):
    """A room that lies on a server of PostgreSQL."""

    url = ""

    def empty_stacks(self) -> None:
        """Make room for the next load."""
        engine = create_engine(self.url)
        with engine.begin() as connection:
            connection.exec_driver_sql(EMPTY_STACKS)
        engine.dispose()


def beside(most: int, folder: Path, rounds: int, requests: int, now: datetime) -> Iterator[Line]:
    """Requests a second on PostgreSQL, over SQLite's; nothing but a sentence where there is no server to be asked."""
    server = os.environ.get(SERVER, "")
    if not server:
        print(NO_SERVER, flush=True)
        return
    requests = min(requests, REQUESTS)
    collection = build(folder / "both.sqlite3", max(min(SHEETS, most), _used(rounds, requests)), now)
    with _moved(collection.path, server) as url, _both(collection, folder, url) as (here, there):
        for clients, goal in GOALS.items():
            played = rounds_of(rounds, lambda clients=clients: _round(here, there, clients, requests))  # type: ignore[misc]
            note = f"{played[-1]['there']:.0f} and {played[-1]['here']:.0f} a second, hello {played[-1][HELLO]:.0f}"
            yield line(f"PostgreSQL / SQLite, {clients} clients", at_least(goal), ratios(played, "there", "here"), note)


def _used(rounds: int, requests: int) -> int:
    """The sheets of a collection of which none is scanned in two rounds, even if most rounds are thrown away."""
    at_most = (3 * rounds + 1) * sum(clients * _each(requests, clients) for clients in GOALS)
    return at_most // SCANS * OF_THEM


def _each(requests: int, clients: int) -> int:
    return max(12, requests // clients // 12 * 12)


def _round(here: Service, there: Service, clients: int, requests: int) -> Round:
    each, found = _each(requests, clients), {}
    asked = {HELLO: (here, HELLO), "here": (here, "script"), "there": (there, "script")}
    for name in shuffled(list(asked)):
        one, way = asked[name]
        heard = one.play(way, clients, _flat_out(each))
        found[name] = len(heard.seconds) / heard.took
    assert not here.failures and not there.failures
    return found


def _flat_out(each: int) -> Play:
    def play(lines: list, sources: list) -> Heard:  # type: ignore[type-arg]
        return flat_out(lines, sources, count=each)

    return play


@contextmanager
def _both(collection: Collection, folder: Path, url: str) -> Iterator[tuple[Service, OnServer]]:
    mine, floors, other = (folder / f"{name}.sqlite3" for name in ("here", "here-floor", "there-floor"))
    for path in (mine, floors, other):
        shutil.copy(collection.path, path)
    with served(mine, floors) as (port, _), served(folder / "there.sqlite3", other, url) as (other_port, _):
        here, found = service(collection, port, mine), service(collection, other_port, mine)
        there = OnServer(collection, other_port, mine, found.lines, found.ways, found.sheets)
        there.url = url
        yield here, there
        for each in (*here.lines, *there.lines):
            each.close()


@contextmanager
def _moved(path: Path, server: str) -> Iterator[str]:
    """The collection in a database of its own on the server, for as long as it is needed."""
    address, name = with_driver(server), f"blotter_bench_{secrets.token_hex(4)}"
    line = create_engine(address, isolation_level="AUTOCOMMIT")
    with line.connect() as connection:
        connection.exec_driver_sql(f'CREATE DATABASE "{name}"')
    url = address.set(database=name).render_as_string(hide_password=False)
    try:
        here, there = open_database(sqlite_url(path)), open_database(url)
        with reading(here) as source:
            move(source, there, lambda copy: ())
        here.engine.dispose()
        there.engine.dispose()
        yield url
    finally:
        with line.connect() as connection:
            connection.exec_driver_sql(f'DROP DATABASE "{name}" WITH (FORCE)')
        line.dispose()
