"""The rows of a list as it is read: those that are right by themselves, some hundreds at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import islice

from app.domain.language import say
from app.domain.listing import Listing
from app.domain.parcel import ListedSheet, Parcel, listed_sheet
from app.domain.table import BadRow, BadTable, Row

# Rows that are looked up and written together: few enough that no statement has more values than a database takes.
CHUNK = 500
# More bad rows than anybody puts right one by one; they are all held until they are told.
MOST_BAD = 10_000


def right_rows(listing: Listing, parcel: Parcel, bad: list[BadRow]) -> Iterator[ListedSheet]:
    """The sheets of a list whose own rows are right; the others are put to the bad ones, and a list with MOST_BAD of them is
    not read on. BadTable for that, and where the list cannot be read any further.
    """
    for row in listing.rows():
        found = listed_sheet(row, parcel) if isinstance(row, Row) else row
        if len(bad) >= MOST_BAD:
            words = say(
                "{most:,} rows or more cannot be imported; from here on nobody looked: put those right first.",
                most=MOST_BAD,
            )
            raise BadTable(row.line, "", words, row.file)
        if isinstance(found, BadRow):
            bad.append(found)
        else:
            yield found


def in_chunks(sheets: Iterable[ListedSheet], many: Callable[[], int] = lambda: CHUNK) -> Iterator[list[ListedSheet]]:
    """The sheets of a list, some hundreds at a time, or as `many` as may be."""
    left = iter(sheets)
    while chunk := list(islice(left, many())):
        yield chunk
