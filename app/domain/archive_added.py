"""What extensions add to the rows of an archive's core, laid down beside them until their rows come by.

It lies in a database of its own that goes when it is closed: on the disk where it is large, so that no memory grows with it.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from types import TracebackType

Pairs = tuple[tuple[str, str], ...]
# Of which row of the core, in which of the extensions (counted from 1), where it stands, and what it says.
_ADDED = "CREATE TABLE added (place INTEGER PRIMARY KEY, id TEXT, part INTEGER, kind TEXT, file TEXT, line INTEGER, told TEXT)"
_MET = "CREATE TABLE met (id TEXT PRIMARY KEY) WITHOUT ROWID"
_KEEPS_NO_LOG = ("PRAGMA journal_mode = OFF", "PRAGMA synchronous = OFF", "BEGIN")
_ADD = "INSERT INTO added (id, part, kind, file, line, told) VALUES (?, ?, ?, ?, ?, ?)"
_OF = "SELECT part, kind, told FROM added WHERE id = ? ORDER BY place"
_ORPHANS = "SELECT file, line FROM added WHERE id NOT IN (SELECT id FROM met) ORDER BY place"
_TOO_MANY = """SELECT file, line FROM (SELECT place, file, line, row_number() OVER (PARTITION BY id, part ORDER BY place) AS nth
    FROM added) WHERE nth = ? ORDER BY place LIMIT 1"""


def _laid_open() -> sqlite3.Connection:
    # No name: a file of the system's own for what is passing, which nobody else sees.
    database = sqlite3.connect("", isolation_level=None, check_same_thread=False)
    for words in (*_KEEPS_NO_LOG, _ADDED, _MET):
        database.execute(words)
    return database


@dataclass(slots=True)
class Added:
    """The rows of extensions, found by the id of the core's row; and which of those ids were met."""

    database: sqlite3.Connection = field(default_factory=_laid_open)

    def __enter__(self) -> Added:
        """It is there until the block ends."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing is left of it."""
        self.database.close()

    def lay(self, part: int, kind: str, file: str, line: int, row_id: str, told: Sequence[tuple[str, str]]) -> None:
        """Lay a row of an extension down: which of the extensions and its kind, where it stands, whose it is, what it says."""
        self.database.execute(_ADD, (row_id, part, kind, file, line, json.dumps(told)))

    def all_are_laid(self, most_of_one: int) -> tuple[str, int] | None:
        """From now on they are asked for. The file and line of a row that is one too many for its row of the core, if any."""
        self.database.execute("CREATE INDEX by_id ON added (id)")
        found: tuple[str, int] | None = self.database.execute(_TOO_MANY, (most_of_one + 1,)).fetchone()
        return found

    def of(self, row_id: str) -> Pairs:
        """What is added to the row with this id: each under its kind, its place among those of its kind, and its term."""
        found, places = list[tuple[str, str]](), dict[int, int]()
        for part, kind, told in self.database.execute(_OF, (row_id,)):
            place = places[part] = places.get(part, 0) + 1
            found += [(f"{kind} {place}: {term}", text) for term, text in json.loads(told)]
        return tuple(found)

    def meet(self, row_id: str) -> bool:
        """A row of the core comes by; whether it is the first with this id."""
        return self.database.execute("INSERT OR IGNORE INTO met VALUES (?)", (row_id,)).rowcount == 1

    def orphans(self) -> Iterator[tuple[str, int]]:
        """Where the rows stand that belong to none that was met."""
        yield from self.database.execute(_ORPHANS)
