"""The numbers of a list, on which line each stands and whether it is here already: kept aside, so that no memory grows with
a list however long.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, field

_MADE = "CREATE TABLE met (number TEXT PRIMARY KEY, line INTEGER, is_here INTEGER DEFAULT 0) WITHOUT ROWID"
_KEEPS_NO_LOG = ("PRAGMA journal_mode = OFF", "PRAGMA synchronous = OFF", "BEGIN")


def _laid_open() -> sqlite3.Connection:
    # No name: a file of the system's own for what is passing, which nobody else sees and which goes with it.
    database = sqlite3.connect("", isolation_level=None, check_same_thread=False)
    for words in (*_KEEPS_NO_LOG, _MADE):
        database.execute(words)
    return database


@dataclass(slots=True)
class MetNumbers:
    """The numbers met so far. `met` is how many there are, `here` how many of them are here already."""

    met: int = 0
    here: int = 0
    _database: sqlite3.Connection = field(default_factory=_laid_open)

    def meets(self, number: str, line: int) -> int | None:
        """A number stands on this line; the line on which it stood before, if it did."""
        if self._database.execute("INSERT OR IGNORE INTO met (number, line) VALUES (?, ?)", (number, line)).rowcount:
            self.met += 1
            return None
        (before,) = self._database.execute("SELECT line FROM met WHERE number = ?", (number,)).fetchone()
        return int(before)

    def are_here(self, numbers: Iterable[str]) -> None:
        """These, which were met, are here already."""
        for number in numbers:
            self.here += self._database.execute("UPDATE met SET is_here = 1 WHERE number = ?", (number,)).rowcount

    def is_here(self, number: str) -> bool:
        """Whether a number is here already."""
        words = "SELECT 1 FROM met WHERE number = ? AND is_here = 1"
        return bool(self.here) and self._database.execute(words, (number,)).fetchone() is not None

    def close(self) -> None:
        """Nothing is asked any more."""
        self._database.close()
