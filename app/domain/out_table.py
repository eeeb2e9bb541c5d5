"""Tables of sheets that are read in again as they were: how columns are headed, and which a file of the room's own has."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from app.domain.cells import kept_line
from app.domain.out_told import ROOMS_OWN, Told
from app.domain.own_columns import AS_KEPT, LEFT_OUT, OWN
from app.domain.parcel import USED
from app.domain.terms import nearest, term_for

LONGEST_PLAIN = 200
# Both names of remarks are read into one; the table has the first.
FIRST = tuple(term for term in USED if term != "materialEntityRemarks")


def heading_of(name: str) -> str:
    """The heading under which what was kept by this name is found again by the same name."""
    if name in LEFT_OUT or name in USED or name.startswith(OWN) or len(name) > LONGEST_PLAIN or name != name.strip():
        return AS_KEPT + name
    term = term_for(name)
    if term == name or (term is None and nearest(name) is None and name):
        return name
    return AS_KEPT + name


def columns_of_table(kept: Iterable[str], more: Sequence[str] = ()) -> tuple[str, ...]:
    """The columns of a table: what the room reads, what it adds, and what was kept under these names."""
    return (*FIRST, *more, *ROOMS_OWN, *map(heading_of, kept))


def table_line(columns: Sequence[str], told: Told) -> str:
    """One sheet as a line of a CSV file, each cell guarded so that it is read in again as it was."""
    return kept_line([told.cell(column) for column in columns])
