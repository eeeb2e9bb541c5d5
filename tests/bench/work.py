"""What a scan costs in the process itself: the program's own scan beside the floor, step by step in one loop."""

from __future__ import annotations

import itertools
import secrets
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from statistics import mean, median
from time import perf_counter
from typing import Any
from zoneinfo import ZoneInfo

from app import create_app
from app.config import Config
from app.db.engine import Database, open_database, sqlite_url, transaction
from app.services.desk import Occasion, ScanRequest
from app.services.scanning import scan
from tests.bench.asking import HELLO_REQUEST, Scanning, ask, by_screen, by_script
from tests.bench.data import Collection
from tests.bench.floor import Floor, empty_stacks, grown, hello_app
from tests.bench.rounds import HELLO, Round, shuffled

ZONE = ZoneInfo("Europe/London")
TIMES = 3
IN_A_RUN = 4
Deed = Callable[[str, int], None]


class Work:
    """Two copies of one collection: the program works in one, the floor in the other."""

    def __init__(self, collection: Collection, folder: Path, door: str = "services", sheets: int = 40) -> None:
        self._mine, self._floors, self._sheets = folder / "work.sqlite3", folder / "floor.sqlite3", sheets
        for path in (self._mine, self._floors):
            shutil.copy(collection.path, path)
        self.database: Database = open_database(sqlite_url(self._mine))
        self.floor = Floor(self._floors)
        self._numbers = iter(collection.ready)
        self._hello = hello_app().wsgi_app
        self._deeds: dict[str, Deed] = {HELLO: self._say_hello, "raw": self._by_hand, "scan": self._by_services}
        if door != "services":
            self._deeds["scan"] = self._through(door, collection, folder)

    def play(self) -> Round:
        """One round: some sheets are taken up, then mounted, then laid in; the mean seconds of each deed."""
        sheets = list(itertools.islice(self._numbers, self._sheets))
        spent: dict[str, list[float]] = {name: [] for name in self._deeds}
        # Four sheets one after the other at each table: the same one twice running would be a double read.
        for _, (place, number) in itertools.product(range(TIMES), enumerate(sheets)):
            for name in shuffled(list(self._deeds)):
                begin = perf_counter()
                self._deeds[name](number, 1 + place // IN_A_RUN)
                spent[name].append(perf_counter() - begin)
        self._empty()
        means = {name: mean(seconds) for name, seconds in spent.items()}
        return {**means, "scan p50": median(spent["scan"])}

    def same_rows(self) -> None:
        """Both wrote the same rows, or the comparison is worth nothing."""
        with self.database.engine.connect() as connection:
            driver: Any = connection.connection.driver_connection
            mine = grown(driver)
        theirs = grown(self.floor.connection)
        if mine != theirs:
            raise AssertionError(f"The floor wrote other rows than the program: {mine} and {theirs}.")

    def close(self) -> None:
        """Both are put away."""
        self.database.engine.dispose()
        self.floor.connection.close()

    def _say_hello(self, number: str, station: int) -> None:
        ask(self._hello, HELLO_REQUEST)

    def _by_hand(self, number: str, station: int) -> None:
        self.floor.scan(number, secrets.token_urlsafe(16), station)

    def _by_services(self, number: str, station: int) -> None:
        request = ScanRequest(secrets.token_urlsafe(16), number, station)
        with transaction(self.database) as session:
            answer = scan(session, request, Occasion(datetime.now(UTC), ZONE))
        if answer.kind != "done":
            raise AssertionError(answer)

    def _through(self, door: str, collection: Collection, folder: Path) -> Deed:
        config = Config(folder, sqlite_url(self._mine), ZONE, "a key for the bench")
        application = create_app(config, database=self.database).wsgi_app
        keys, scans = collection.keys, dict[int, Scanning]()

        def deed(number: str, station: int) -> None:
            if station not in scans:
                by = (
                    by_screen(keys.cookies[station - 1], lambda request: ask(application, request))
                    if door == "screen"
                    else None
                )
                scans[station] = by or by_script(keys.tokens[station - 1])
            status, _, body = ask(application, scans[station](number))
            if status != 200:
                raise AssertionError(body[:500])

        return deed

    def _empty(self) -> None:
        empty_stacks(self.floor.connection)
        with transaction(self.database) as session:
            driver: Any = session.connection().connection.driver_connection
            empty_stacks(driver)
