"""How the columns of a source's files are read is remembered, by the source and the headings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import ColumnMap
from app.domain.mapping import Ways, key_of, source_of
from app.services.parcels import open_consignment


def remember_ways(
    session: Session, code: str, headings: Sequence[str], ways: Ways, now: datetime, by: int | None
) -> None:
    """Remember how a file with these headings is read that comes from where this consignment comes from.

    Refused: unknown-consignment.
    """
    consignment = open_consignment(session, code)
    key, names = source_of(consignment["source"], code), key_of(headings)
    mine = select(ColumnMap).where(ColumnMap.source_key == key, ColumnMap.headings == names)
    found = session.execute(mine).scalar_one_or_none()
    if found is None:
        session.add(ColumnMap(source_key=key, headings=names, mapping={"ways": list(ways)}, kept_at=now, kept_by=by))
    else:
        found.mapping, found.kept_at, found.kept_by = {"ways": list(ways)}, now, by
    session.flush()
