"""A press room of forty stacks of twenty sheets: its page whole, after a scan, and unchanged."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import perf_counter

from app import create_app
from app.config import Config
from app.db.engine import Database, open_database, sqlite_url, transaction
from app.services import room
from app.services.room import set_house_rule
from tests.bench.asking import Request, ask
from tests.bench.data import Collection
from tests.bench.rounds import Round
from tests.bench.work import ZONE

STACKS = 40
EACH = 20
_LAID = """INSERT INTO layer (sheet_id, stack_id, layer, laid_at, laid_entry_id)
           VALUES (?, ?, ?, ?, (SELECT max(id) FROM entry WHERE subject_kind = 'sheet' AND subject_id = ?))"""
_UNDER_PRESS = """UPDATE sheet SET stage = 'under-press', stack_id = ?, layer = ?, came_at = ?, glued_at = ?, minimum_s = 86400,
                  cabinet_id = NULL, shelf_id = NULL, table_id = NULL WHERE id = ?"""


class PressRoom:
    """A copy of a collection in whose press room forty stacks of twenty lie, and its pages as a browser of a station asks."""

    def __init__(self, collection: Collection, path: Path) -> None:
        self._path, self._cookie = path, collection.keys.cookies[0]
        self._database = open_database(sqlite_url(path))
        _fill(self._database, path)
        config = Config(path.parent, sqlite_url(path), ZONE, "a key for the bench")
        self._app = create_app(config, database=self._database).wsgi_app

    def play(self) -> Round:
        """The whole page; what changed after something was written; and what did not change: seconds, by a look-up's."""
        self._something_happens()
        whole, page = self._asked("/press")
        mark = page.partition("/press?shown=")[2].partition('"')[0]
        self._something_happens()
        changed, _ = self._asked("/press?shown=older")
        unchanged, _ = self._asked(f"/press?shown={mark}")
        return {"whole": whole, "changed": changed, "unchanged": unchanged, "look-up": self._look_up()}

    def close(self) -> None:
        """It is put away."""
        self._database.engine.dispose()

    def _something_happens(self) -> None:
        with transaction(self._database) as session:
            set_house_rule(session, "idle_sign_out_min", 0, "everybody stays", datetime.now(UTC))

    def _asked(self, path: str) -> tuple[float, str]:
        path, _, query = path.partition("?")
        request = Request("GET", path, (("Cookie", f"blotter-station={self._cookie}"),))
        begin = perf_counter()
        status, _, body = ask(lambda environ, start: self._app({**environ, "QUERY_STRING": query}, start), request)
        took = perf_counter() - begin
        if status not in (200, 204):
            raise AssertionError(f"{path} was answered with {status}.")
        return took, body

    def _look_up(self) -> float:
        with closing(sqlite3.connect(self._path)) as connection:
            connection.execute("SELECT 1").fetchone()
            begin = perf_counter()
            connection.execute("SELECT * FROM sheet WHERE number = 'TQX0000017'").fetchone()
            return perf_counter() - begin


def _fill(database: Database, path: Path) -> None:
    now = datetime.now(UTC)
    with transaction(database) as session:
        have = {f"P{number}" for number in range(1, 25)}
        for number in range(len(have) + 1, STACKS + 1):
            room.add_stack(session, f"P{number}", now, capacity=40, mass_kg=12)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        for sheet_id, stack_id, layer, laid in _laid(connection, now):
            connection.execute(_LAID, (sheet_id, stack_id, layer, laid, sheet_id))
            connection.execute(_UNDER_PRESS, (stack_id, layer, laid, laid, sheet_id))
        connection.execute("UPDATE stack SET weights_on = 1, turned_at = ?, next_layer = 2000000", (_kept(now),))
        connection.execute("INSERT INTO weight_span (stack_id, on_at) SELECT id, ? FROM stack",
                           (_kept(now - timedelta(hours=20)),))  # fmt: skip
        connection.execute("COMMIT")


def _laid(connection: sqlite3.Connection, now: datetime) -> Iterator[tuple[int, int, int, str]]:
    """Twenty sheets for each stack: one half laid in so long ago that it may come out."""
    connection.execute("UPDATE layer SET out_at = laid_at WHERE out_at IS NULL")
    stacks = [row[0] for row in connection.execute("SELECT id FROM stack ORDER BY id LIMIT ?", (STACKS,))]
    asked = "SELECT id FROM sheet WHERE in_queue AND stage = 'ready-for-mounting' ORDER BY id LIMIT ?"
    sheets = [row[0] for row in connection.execute(asked, (STACKS * EACH,))]
    if len(sheets) < STACKS * EACH:
        raise AssertionError("There are too few sheets for so many stacks.")
    for place, sheet_id in enumerate(sheets):
        at = now - timedelta(hours=30 if place % EACH < EACH // 2 else 6)
        yield sheet_id, stacks[place // EACH], 1_000_000 + place % EACH, _kept(at)


def _kept(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M:%S.%f}"
