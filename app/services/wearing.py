"""A treatment wears off in the open: with every entry of a treated sheet it is told whether its open time runs on."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, select

from app.db.models import Cabinet, table_of
from app.db.prepared import prepared
from app.domain.sheet import Place, Standing
from app.domain.treatment import Treatment, in_the_open, kept_clean
from app.services.desk import Desk

CABINET = table_of(Cabinet)
_IS_CLEAN = prepared(select(CABINET.c.is_clean).where(CABINET.c.id == bindparam("cabinet")))


def worn(desk: Desk, was: Standing, writing: Any, happened_at: datetime) -> Any:
    """What is about to be written of a sheet, with how its treatment stands where it goes; unchanged for an untreated one."""
    if was.treated_until is None or "treated_until" in writing.sets:
        return writing
    before = Treatment(was.treated_until, was.treated_left_s)
    told = kept_clean if is_clean(desk, writing.to_place) else in_the_open
    after = told(before, desk.calendar, happened_at)
    return writing if after == before else replace(writing, sets={**writing.sets, **after.sets()})


def is_clean(desk: Desk, place: Place) -> bool:
    """Whether this place is a cabinet where only treated sheets lie."""
    if place.cabinet_id is None:
        return False
    return bool(desk.session.execute(_IS_CLEAN, {"cabinet": place.cabinet_id}).scalar())
