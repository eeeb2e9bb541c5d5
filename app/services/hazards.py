"""Dangers that are said together with a scan: they travel with the sheet from then on."""

from __future__ import annotations

from sqlalchemy import or_, select
from sqlalchemy.engine import RowMapping

from app.db.models import Hazard, table_of
from app.domain.hazards import CAUTIONS
from app.services.desk import Desk
from app.services.room import add_hazard

HAZARD = table_of(Hazard)


def say_hazards(desk: Desk, row: RowMapping) -> None:
    """Write down the hazards that came with this scan, each once; those that nobody knows here are left aside."""
    said = desk.request.facts.get("hazards", ())
    kinds = [kind for kind in dict.fromkeys([said] if isinstance(said, str) else said) if kind in CAUTIONS]
    if not kinds:
        return
    known = _known(desk, row)
    by = desk.by[0].worker_id if desk.by else None
    for kind in kinds:
        if kind not in known:
            add_hazard(desk.session, kind, desk.now, sheet_id=row["id"], by=by)


def _known(desk: Desk, row: RowMapping) -> set[str]:
    its_own = HAZARD.c.sheet_id == row["id"]
    came_with = HAZARD.c.consignment_id == row["consignment_id"]
    whose = its_own if row["consignment_id"] is None else or_(its_own, came_with)
    return set(desk.session.execute(select(HAZARD.c.kind).where(whose, HAZARD.c.cleared_at.is_(None))).scalars())
