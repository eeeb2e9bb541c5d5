"""Which entries of the log stand: every one that no later entry corrects, which takes it back and stays beside it."""

from __future__ import annotations

from sqlalchemy import select

from app.db.models import Entry, table_of

ENTRY = table_of(Entry)
_LATER = ENTRY.alias("later")
# A condition on a row of ENTRY, by itself, in whatever is asked of it.
STANDS = ~select(_LATER.c.id).where(_LATER.c.corrects == ENTRY.c.id).exists()
