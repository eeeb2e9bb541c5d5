"""Fetch next: a run of sheets from one shelf that may be taken up now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Select, and_, bindparam, case, exists, not_, or_, select
from sqlalchemy.orm import Session

from app.db.models import Consignment, Hazard, Sheet, Station, table_of
from app.domain.calendar import local_day
from app.domain.hazards import CAUTIONS
from app.domain.holds import keeping
from app.domain.house import House
from app.domain.numbers import shown
from app.domain.stages import Stage, Step
from app.queries.house import patterns_now
from app.queries.in_freezer import not_in_freezer
from app.queries.kinds import IN_QUEUE
from app.queries.lines import line_rows, place_of
from app.queries.wanted import Wish, wishes_of

SHEET = table_of(Sheet)
# A sheet that may carry mercury or arsenic is never fetched by a list.
NEVER_FETCHED = "historic"
UNPLACED = 2**31
_HAZARDS = (
    select(Hazard.kind, Hazard.sheet_id, Hazard.consignment_id)
    .where(
        Hazard.cleared_at.is_(None),
        or_(
            Hazard.sheet_id.in_(bindparam("sheets", expanding=True)),
            Hazard.consignment_id.in_(bindparam("consignments", expanding=True)),
        ),
    )
    .order_by(Hazard.id)
)


@dataclass(frozen=True, slots=True)
class Run:
    """The sheets that a table was sent for on one day of the room."""

    day: date
    sheet_ids: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class FetchLine:
    """One sheet to fetch; `same_place` when it lies where the one before it does. Cautions come before the folder."""

    number: str
    shown: str
    place: str
    same_place: bool
    cautions: tuple[str, ...]
    wish: Wish | None


def fetch_next(session: Session, station_id: int, now: datetime, zone: ZoneInfo, house: House) -> tuple[FetchLine, ...]:
    """About a run of sheets from one shelf: what is wanted first, then by the room's order of consignments, then what
    has waited longest. Only sheets that may be taken up: no hold that stops it, here and not in the freezer, label and
    treatment as the house asks, on no table; and only for a station where sheets are taken up.

    A run is kept for its table for the day on the room's wall, until it is worked off; no other table is sent for the same
    sheets while there are others.
    """
    steps = session.execute(select(Station.steps).where(Station.id == station_id)).scalar() or []
    if Step.TAKE_UP not in steps:
        return ()
    runs: dict[int, Run] = session.info["database"].kept.setdefault("runs", {})
    mine, today = runs.get(station_id), local_day(now, zone)
    rest = _still_there(session, mine, house, now) if mine is not None and mine.day == today else []
    if not rest:
        others = {each for at, run in runs.items() if at != station_id and run.day == today for each in run.sheet_ids}
        rest = _new_run(session, house, now, others) or _new_run(session, house, now, set())
        runs[station_id] = Run(today, tuple(row.id for row in rest))
    return _lines(session, rest)


def _still_there(session: Session, run: Run, house: House, now: datetime) -> list[Any]:
    found = session.execute(_ready(house, now).where(SHEET.c.id.in_(run.sheet_ids)))
    return sorted(found, key=lambda row: run.sheet_ids.index(row.id))


def _new_run(session: Session, house: House, now: datetime, others: set[int]) -> list[Any]:
    ready = _ready(house, now).where(SHEET.c.id.not_in(others)) if others else _ready(house, now)
    first = session.execute(ready.limit(1)).one_or_none()
    if first is None:
        return []
    loose = and_(SHEET.c.shelf_id.is_(None), SHEET.c.cabinet_id.is_not_distinct_from(first.cabinet_id))
    shelf = SHEET.c.shelf_id == first.shelf_id if first.shelf_id is not None else loose
    return list(session.execute(ready.where(shelf).limit(house.run_sheets)))


def _ready(house: House, now: datetime) -> Select[Any]:
    place = Consignment.place_in_order
    asked = [IN_QUEUE, SHEET.c.stage == Stage.READY, SHEET.c.table_id.is_(None), _not_held(), not_in_freezer(),
             _not_suspected()]  # fmt: skip
    if house.label_before_glue:
        asked.append(SHEET.c.has_label.is_(True))
    if house.treat_before_mounting:
        asked.append(SHEET.c.treated_until > now)
    return (
        select(SHEET.c.id, SHEET.c.shelf_id, SHEET.c.cabinet_id, SHEET.c.consignment_id)
        .outerjoin(Consignment, Consignment.id == SHEET.c.consignment_id)
        .where(*asked)
        .order_by(SHEET.c.wanted_at.is_(None), SHEET.c.wanted_at, case((place > 0, place), else_=UNPLACED), SHEET.c.came_at,
                  SHEET.c.id)
    )  # fmt: skip


def _not_held() -> ColumnElement[bool]:
    among = [(" " + SHEET.c.holds + " ").contains(f" {kind} ", autoescape=True) for kind in keeping(Step.TAKE_UP)]
    return or_(SHEET.c.holds == "", not_(or_(*among)))


def _not_suspected() -> ColumnElement[bool]:
    suspected = and_(Hazard.kind == NEVER_FETCHED, Hazard.cleared_at.is_(None))
    return and_(
        not_(exists().where(suspected, Hazard.sheet_id == SHEET.c.id)),
        not_(exists().where(suspected, Hazard.consignment_id == SHEET.c.consignment_id)),
    )


def _lines(session: Session, run: Sequence[Any]) -> tuple[FetchLine, ...]:
    ids = [each.id for each in run]
    rows, patterns, wishes = line_rows(session, ids), patterns_now(session), wishes_of(session, ids)
    cautions = cautions_by_sheet(session, run)
    places = [place_of(row) for row in rows]
    return tuple(
        FetchLine(row.number, shown(row.number, patterns), place, bool(at and place) and places[at - 1] == place,
                  cautions.get(each.id, ()), wishes.get(each.id))
        for at, (each, row, place) in enumerate(zip(run, rows, places, strict=True))
    )  # fmt: skip


def cautions_by_sheet(session: Session, run: Sequence[Any]) -> dict[int, tuple[str, ...]]:
    """The cautions to read before the folder is opened, by the sheet's id; rows give `id` and `consignment_id`."""
    asked = {
        "sheets": [each.id for each in run],
        "consignments": [each.consignment_id for each in run if each.consignment_id],
    }
    found = session.execute(_HAZARDS, asked).all()
    return {each.id: _of_one(each, found) for each in run}


def _of_one(each: Any, found: Sequence[Any]) -> tuple[str, ...]:
    mine = (
        row.kind for row in found
        if row.sheet_id == each.id or (row.consignment_id is not None and row.consignment_id == each.consignment_id)
    )  # fmt: skip
    return tuple(dict.fromkeys(CAUTIONS.get(kind, kind) for kind in mine))
