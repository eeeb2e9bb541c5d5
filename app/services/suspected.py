"""Sheets suspected of old poisons: they start as such when they are taken in, and only who is named opens them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, insert, or_, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Consignment, Hazard, NamedFor, Sheet, Station, Worker, table_of
from app.db.prepared import Question, prepared
from app.domain.attempt import Unnamed
from app.domain.language import ENGLISH, say, speaking
from app.domain.stages import Step
from app.domain.suspected import ASKED, HISTORIC, why_suspected
from app.services.changes import changed
from app.services.desk import Desk

HAZARD = table_of(Hazard)
NAMED = table_of(NamedFor)
SHEET = table_of(Sheet)
CONSIGNMENT = table_of(Consignment)
_IS_SUSPECTED = prepared(
    select(HAZARD.c.id).where(
        HAZARD.c.kind == HISTORIC, HAZARD.c.cleared_at.is_(None),
        or_(HAZARD.c.sheet_id == bindparam("sheet"), HAZARD.c.consignment_id == bindparam("consignment")),
    )
)  # fmt: skip
_NAMED_AT = select(NAMED.c.worker_id, NAMED.c.station_id).where(
    NAMED.c.hazard == HISTORIC, NAMED.c.named_at <= bindparam("at"),
    or_(NAMED.c.ended_at.is_(None), NAMED.c.ended_at > bindparam("at")),
)  # fmt: skip
_CAME_SUSPECTED = select(HAZARD.c.id).where(
    HAZARD.c.kind == HISTORIC, HAZARD.c.cleared_at.is_(None), HAZARD.c.consignment_id == SHEET.c.consignment_id
)
_HOW_THEY_CAME = (
    select(SHEET.c.id, SHEET.c.event_date, CONSIGNMENT.c.kind)
    .outerjoin(CONSIGNMENT, CONSIGNMENT.c.id == SHEET.c.consignment_id)
    .where(SHEET.c.id.in_(bindparam("sheets", expanding=True)), ~_CAME_SUSPECTED.exists())
)
_KNOWN = select(HAZARD.c.sheet_id).where(
    HAZARD.c.kind == HISTORIC, HAZARD.c.sheet_id.in_(bindparam("sheets", expanding=True))
)


def suspected_ahead(row: RowMapping) -> Question:
    """What is asked of a sheet that may be opened."""
    return _IS_SUSPECTED, {"sheet": row["id"], "consignment": row["consignment_id"]}


def unnamed_for(desk: Desk, row: RowMapping, step: Step, by: Sequence[Any]) -> Unnamed | None:
    """Whom the manager has not named, of those who would open a suspected sheet; None for a sheet or step that asks nobody."""
    if step not in ASKED or not is_suspected(desk, row):
        return None
    named = desk.session.execute(_NAMED_AT, {"at": desk.happened_at}).all()
    workers, stations = {each.worker_id for each in named}, {each.station_id for each in named} - {None}
    missing = tuple(dict.fromkeys(each.name for each in (*by, *desk.beside) if each.worker_id not in workers))
    here = desk.station["name"] if desk.station else ""
    return Unnamed(missing, None if desk.station_id in stations else here)


def is_suspected(desk: Desk, row: RowMapping) -> bool:
    """Whether a sheet may carry mercury or arsenic, by itself, its consignment, or what this very scan says."""
    told = desk.request.facts.get("hazards", ())
    found = desk.session.execute(_IS_SUSPECTED, {"sheet": row["id"], "consignment": row["consignment_id"]}).first()
    return found is not None or HISTORIC in ([told] if isinstance(told, str) else told)


def begin_suspected(desk: Desk, sheet_ids: Sequence[int], facts: Mapping[str, Any]) -> None:
    """Sheets that have just been taken in are suspected from now on, where how they came or how old they are says so.

    One of which it was said before, or cleared, stays as it is; so does one whose whole consignment is suspected.
    """
    asked = {"sheets": list(sheet_ids)}
    rows = desk.session.execute(_HOW_THEY_CAME, asked).all()
    before, found = desk.house.suspected_before_year, bool(facts.get("no_number"))
    with speaking(ENGLISH):
        why = {row.id: words for row in rows if (words := why_suspected(row.kind, row.event_date, before, found=found))}
    if not why:
        return
    known = set(desk.session.execute(_KNOWN, asked).scalars())
    by = desk.by[0].worker_id if desk.by else None
    new = [{"sheet_id": each, "kind": HISTORIC, "said_at": desk.now, "said_by": by, "why": words}
           for each, words in why.items() if each not in known]  # fmt: skip
    if new:
        desk.session.execute(insert(HAZARD), new)


def name_for(session: Session, now: datetime, by: int | None, *, worker_id: int | None = None,
             station_id: int | None = None) -> bool:  # fmt: skip
    """Name a worker, or a station, for work with suspected sheets; False when they are already. No reason is asked for.

    ValueError, in a sentence, for one that is not here.
    """
    table, row_id, what = _who(worker_id, station_id)
    if session.execute(select(table.c.id).where(table.c.id == row_id)).scalar() is None:
        raise ValueError(say("That is no longer here. Load the page again."))
    if session.execute(select(NAMED.c.id).where(*_in_force(worker_id, station_id))).first() is not None:
        return False
    values = {"hazard": HISTORIC, "worker_id": worker_id, "station_id": station_id, "named_at": now, "named_by": by}
    session.execute(insert(NAMED).values(values))
    changed(session, now, by, what, row_id, "named for suspected sheets")
    return True


def leave_off(session: Session, now: datetime, by: int | None, *, worker_id: int | None = None,
              station_id: int | None = None) -> bool:  # fmt: skip
    """Leave a worker, or a station, off the list; False when they were not on it. No reason is asked for, or kept."""
    _, row_id, what = _who(worker_id, station_id)
    ended = (
        update(NAMED).where(*_in_force(worker_id, station_id)).values(ended_at=now, ended_by=by).returning(NAMED.c.id)
    )
    if not session.execute(ended).scalars().all():
        return False
    changed(session, now, by, what, row_id, "no longer named for suspected sheets")
    return True


def _who(worker_id: int | None, station_id: int | None) -> tuple[Any, int, str]:
    if worker_id is not None:
        return table_of(Worker), worker_id, "worker"
    assert station_id is not None
    return table_of(Station), station_id, "station"


def _in_force(worker_id: int | None, station_id: int | None) -> tuple[Any, ...]:
    return (NAMED.c.hazard == HISTORIC, NAMED.c.ended_at.is_(None), NAMED.c.worker_id.is_not_distinct_from(worker_id),
            NAMED.c.station_id.is_not_distinct_from(station_id))  # fmt: skip
