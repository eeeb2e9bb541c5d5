"""What reading costs: the board and searching while somebody types, each beside a query written by hand."""

from __future__ import annotations

import itertools
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter

from sqlalchemy import select

from app.db.engine import Database, open_database, reading, sqlite_url
from app.db.models import Sheet, table_of
from app.queries.board import board
from app.queries.house import patterns_now
from app.queries.search import find
from tests.bench.data import Collection
from tests.bench.rounds import Round, shuffled
from tests.bench.work import ZONE

# What is typed, letter by letter: a plant, one with a slip, a number, a collector and field number, a consignment, a cabinet.
TYPED = ("Quer", "Quercus ni", "Quercsu ni", "TQX 0000", "4217", "A. Brackwater 2", "A. Brackwater 26 31", "QM-1", "Quillmoor",
         "Ready 3")  # fmt: skip
BY_HAND = """SELECT stage, cabinet_id, count(*), min(came_at), sum(holds != ''), sum(outcome = 'passed')
    FROM sheet NOT INDEXED WHERE in_queue = 1 GROUP BY stage, cabinet_id"""
SHEET = table_of(Sheet)


def board_round(database: Database, path: Path) -> Round:
    """The board and the hand-written query that asks for the same figures without any index: seconds."""
    return {name: each for name, each in (("board", board_seconds(database)), ("by hand", _by_hand(path)))}


def board_seconds(database: Database, times: int = 3) -> float:
    """The seconds that the board's queries take, the middle of a few."""
    found = []
    for _ in range(times):
        begin = perf_counter()
        with reading(database) as session:
            board(session, datetime.now(UTC), ZONE)
        found.append(perf_counter() - begin)
    return sorted(found)[times // 2]


def growth_round(small: Database, large: Database) -> Round:
    """The board of a small and of a large collection with the same queue."""
    rooms = shuffled([("small", small), ("large", large)])
    return {name: board_seconds(database) for name, database in rooms}


def search_round(database: Database, collection: Collection) -> Round:
    """A look-up of one sheet by its number, and what is found while somebody types: the mean seconds of each."""
    numbers = list(itertools.islice(collection.ready, len(TYPED)))
    spent = {"find": 0.0, "look-up": 0.0}
    for text, number in zip(TYPED, numbers, strict=False):
        for name in shuffled(list(spent)):
            begin = perf_counter()
            with reading(database) as session:
                if name == "find":
                    find(session, text, patterns_now(session), 8)
                else:
                    session.execute(select(SHEET).where(SHEET.c.number == number)).mappings().one()
            spent[name] += perf_counter() - begin
    return {name: total / len(TYPED) for name, total in spent.items()}


def opened(path: Path) -> Database:
    """A database to read from."""
    return open_database(sqlite_url(path))


def _by_hand(path: Path) -> float:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA mmap_size = 268435456")
        connection.execute("PRAGMA cache_size = -65536")
        connection.execute(BY_HAND).fetchall()
        begin = perf_counter()
        connection.execute(BY_HAND).fetchall()
        return perf_counter() - begin
