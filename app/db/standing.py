"""Which lines stand, of the log and of what is written like it: every one that no later line corrects, which takes it back and
stays beside it.
"""

from __future__ import annotations

from sqlalchemy import ColumnElement, FromClause, Table, select

from app.db.models import Entry, LotOpening, SupplyEntry, table_of
from app.domain.supplies import VOID

ENTRY, OPENING, SUPPLY_ENTRY = table_of(Entry), table_of(LotOpening), table_of(SupplyEntry)


def stands(rows: FromClause, log: Table = ENTRY) -> ColumnElement[bool]:
    """A condition on rows of `log`, or of an alias of it: no later line of it corrects them."""
    later = log.alias()
    return ~select(later.c.id).where(later.c.corrects == rows.c.id).exists()


# Conditions on a row of the table, by itself, in whatever is asked of it. What was struck out by a line does not stand either.
STANDS = stands(ENTRY)
OPENING_STANDS = stands(OPENING, OPENING) & OPENING.c.is_void.is_(False)
SUPPLY_STANDS = stands(SUPPLY_ENTRY, SUPPLY_ENTRY) & (SUPPLY_ENTRY.c.kind != VOID)
