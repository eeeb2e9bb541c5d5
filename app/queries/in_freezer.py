"""What lies in the freezer: the loads that were put in and not opened again yet."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import BindParameter, ColumnElement, or_, select, union_all
from sqlalchemy.orm import Session

from app.db.models import FreezerLoad, LoadBundle, Sheet, table_of

LOAD = table_of(FreezerLoad)
TIED = table_of(LoadBundle)
SHEET = table_of(Sheet)
INSIDE = SHEET.alias("inside")
_CLOSED = (LOAD.c.put_in_at.is_not(None), LOAD.c.opened_at.is_(None))
# What lies loose in a load lies in its own bundle; tied bundles are listed beside.
BUNDLES = union_all(
    select(LOAD.c.bundle_id).where(*_CLOSED, LOAD.c.bundle_id.is_not(None)),
    select(TIED.c.bundle_id).join(LOAD, LOAD.c.id == TIED.c.load_id).where(*_CLOSED),
)


def bundles_in_freezer(session: Session) -> frozenset[int]:
    """The bundles of the loads that were put in and not opened again: loads are few, their sheets may be many."""
    return frozenset(session.execute(BUNDLES).scalars())


def lies_in(sheet_id: ColumnElement[Any], bundles: Iterable[int] | BindParameter[Any]) -> ColumnElement[bool]:
    """The condition that a sheet lies in one of these bundles, asked by its id, which every index of sheets holds."""
    return sheet_id.in_(select(INSIDE.c.id).where(INSIDE.c.bundle_id.in_(bundles)))


def not_in_freezer() -> ColumnElement[bool]:
    """The condition that a sheet does not lie in the freezer, asked of its row."""
    return or_(SHEET.c.bundle_id.is_(None), SHEET.c.bundle_id.not_in(BUNDLES))
