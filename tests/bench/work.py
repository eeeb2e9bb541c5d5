"""What a scan costs in the process itself: the program's own scan beside the floor, step by step in one loop."""

from __future__ import annotations

import itertools
import secrets
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter
from typing import Any
from zoneinfo import ZoneInfo

from app.db.engine import Database, open_database, sqlite_url, transaction
from app.services.desk import Occasion, ScanRequest
from app.services.scanning import scan
from tests.bench.data import Collection
from tests.bench.floor import Floor, empty_stacks, grown, hello_app
from tests.bench.rounds import HELLO, Round, shuffled

ZONE = ZoneInfo("Europe/London")
SHEETS_IN_A_ROUND = 40
TIMES = 3
IN_A_RUN = 4
Deed = Callable[[str, int], None]


class Work:
    """Two copies of one collection: the program works in one, the floor in the other."""

    def __init__(self, collection: Collection, folder: Path) -> None:
        self._mine, self._floors = folder / "work.sqlite3", folder / "floor.sqlite3"
        for path in (self._mine, self._floors):
            shutil.copy(collection.path, path)
        self.database: Database = open_database(sqlite_url(self._mine))
        self.floor = Floor(self._floors)
        self._numbers = iter(collection.ready)
        self._hello = hello_app().wsgi_app

    def play(self) -> Round:
        """One round: forty sheets are taken up, then mounted, then laid in; the mean seconds of each deed for one scan."""
        sheets = list(itertools.islice(self._numbers, SHEETS_IN_A_ROUND))
        deeds: dict[str, Deed] = {HELLO: self._say_hello, "raw": self._by_hand, "scan": self._scan}
        # Four sheets one after the other at each table: the same one twice running would be a double read.
        spent = dict.fromkeys(deeds, 0.0)
        for _, (place, number) in itertools.product(range(TIMES), enumerate(sheets)):
            for name in shuffled(list(deeds)):
                begin = perf_counter()
                deeds[name](number, 1 + place // IN_A_RUN)
                spent[name] += perf_counter() - begin
        self._empty()
        return {name: total / (TIMES * len(sheets)) for name, total in spent.items()}

    def same_rows(self) -> None:
        """Both wrote the same rows, or the comparison is worth nothing."""
        with self.database.engine.connect() as connection:
            mine = grown(connection.connection.driver_connection)  # type: ignore[arg-type]
        theirs = grown(self.floor.connection)
        if mine != theirs:
            raise AssertionError(f"The floor wrote other rows than the program: {mine} and {theirs}.")

    def close(self) -> None:
        """Both are put away."""
        self.database.engine.dispose()
        self.floor.connection.close()

    def _say_hello(self, number: str, station: int) -> None:
        ask(self._hello, environ("GET", "/hello"))

    def _by_hand(self, number: str, station: int) -> None:
        self.floor.scan(number, secrets.token_urlsafe(16), station)

    def _scan(self, number: str, station: int) -> None:
        request = ScanRequest(secrets.token_urlsafe(16), number, station)
        with transaction(self.database) as session:
            answer = scan(session, request, Occasion(datetime.now(UTC), ZONE))
        if answer.kind != "done":
            raise AssertionError(answer)

    def _empty(self) -> None:
        empty_stacks(self.floor.connection)
        with transaction(self.database) as session:
            empty_stacks(session.connection().connection.driver_connection)  # type: ignore[arg-type]


def environ(method: str, path: str, **more: Any) -> dict[str, Any]:
    """A request as the server hands it to the application."""
    return {
        "REQUEST_METHOD": method, "PATH_INFO": path, "SCRIPT_NAME": "", "QUERY_STRING": "", "SERVER_NAME": "127.0.0.1",
        "SERVER_PORT": "8170", "HTTP_HOST": "127.0.0.1:8170", "SERVER_PROTOCOL": "HTTP/1.1", "wsgi.url_scheme": "http",
        "wsgi.input": None, "wsgi.errors": None, "wsgi.version": (1, 0), "wsgi.multithread": True, **more,
    }  # fmt: skip


def ask(application: Callable[..., Any], asked: dict[str, Any]) -> bytes:
    """What the application answers to one request."""
    heard: list[str] = []
    found: Iterator[bytes] = application(asked, lambda status, headers, exc_info=None: heard.append(status))
    body = b"".join(found)
    if not heard[0].startswith("200"):
        raise AssertionError(f"{heard[0]}: {body[:300]!r}")
    return body
