"""A list of sheets in whatever file it came: a CSV file, or a Darwin Core archive."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from app.domain.archive import is_archive
from app.domain.archive_rows import open_listed_archive
from app.domain.mapping import Ways
from app.domain.source import Data, as_source
from app.domain.table import Row, open_table, open_unmapped
from app.domain.table_faults import BadRow
from app.domain.table_letters import Letters


class Listing(Protocol):
    """A file whose headings were read: what they say, what each column is to the room, and its rows."""

    @property
    def headings(self) -> tuple[str, ...]:
        """The headings as they came."""

    @property
    def columns(self) -> tuple[str, ...]:
        """A term, or a name under which a column is kept, or empty for one that is left out."""

    @property
    def letters(self) -> Letters:
        """In which encoding it was found to be."""

    @property
    def title(self) -> str:
        """What an archive calls itself; empty for other files."""

    def rows(self) -> Iterator[Row | BadRow]:
        """Every row, or what is wrong with it; BadTable where nothing after it can be trusted."""

    def samples(self) -> tuple[tuple[str, ...], ...]:
        """The first few rows that can be read."""


def open_listing(data: Data, ways: Ways | None = None) -> Listing:
    """Read the headings of a file; with `ways`, its columns are what somebody said they are. BadTable in one sentence."""
    source = as_source(data)
    return open_listed_archive(source, ways) if is_archive(source) else open_table(source, ways)


def open_headings(data: Data) -> Listing:
    """A file of which nobody has said yet what its columns are: every heading stands for itself. BadTable as above."""
    source = as_source(data)
    return open_listed_archive(source, unmapped=True) if is_archive(source) else open_unmapped(source)
