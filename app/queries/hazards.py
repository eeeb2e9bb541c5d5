"""Dangers that travel with sheets and consignments: which, since when, by whose word; and who may open suspected sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Select, and_, func, or_, select
from sqlalchemy.orm import Session, aliased

from app.db.models import Consignment, Hazard, NamedFor, Sheet, Station, Worker, table_of
from app.domain.hazards import CAUTIONS, HAZARD_WORDS
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.suspected import HISTORIC
from app.queries.house import patterns_now

SHEET = table_of(Sheet)
HAZARD = table_of(Hazard)
NAMED = table_of(NamedFor)
_CLEARER = aliased(Worker)
MOST_LISTED = 200
_DANGERS: Select[Any] = (
    select(HAZARD, SHEET.c.number, Consignment.name.label("consignment"), Consignment.code, Worker.name.label("said_name"),
           _CLEARER.name.label("cleared_name"))
    .outerjoin(SHEET, SHEET.c.id == HAZARD.c.sheet_id)
    .outerjoin(Consignment, Consignment.id == HAZARD.c.consignment_id)
    .outerjoin(Worker, Worker.id == HAZARD.c.said_by)
    .outerjoin(_CLEARER, _CLEARER.id == HAZARD.c.cleared_by)
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Danger:
    """One danger: of a sheet (`number`), or of all that came with a consignment. `why` is why it was said, or once it is
    cleared why it was. Names are empty for whoever may not see them.
    """

    hazard_id: int
    kind: str
    words: str
    caution: str
    number: str
    shown: str
    consignment: str
    said_at: datetime
    said_by: str
    cleared_at: datetime | None
    cleared_by: str
    why: str


@dataclass(frozen=True, slots=True)
class Suspects:
    """The suspected sheets that nobody has cleared: the first of them, how many there are, and how many of a consignment."""

    lines: tuple[Danger, ...]
    count: int


@dataclass(frozen=True, slots=True)
class NamedLine:
    """A worker or a station, and since when the manager has named it for suspected sheets; None: it is not named."""

    row_id: int
    words: str
    since: datetime | None


@dataclass(frozen=True, slots=True)
class SuspectedPlaces:
    """How many suspected sheets lie in which cabinets and on which shelves, by their rows' ids."""

    cabinets: dict[int, int]
    shelves: dict[int, int]


def dangers_of(session: Session, sheet_id: int, *, by_names: bool) -> tuple[Danger, ...]:
    """Every danger ever said of a sheet or its consignment: those that stand first, then the cleared ones."""
    consignment_id = session.execute(select(SHEET.c.consignment_id).where(SHEET.c.id == sheet_id)).scalar()
    came = HAZARD.c.consignment_id == consignment_id
    mine = HAZARD.c.sheet_id == sheet_id
    found = _DANGERS.where(mine if consignment_id is None else or_(mine, came))
    rows = session.execute(found.order_by(HAZARD.c.cleared_at.is_not(None), HAZARD.c.said_at, HAZARD.c.id))
    patterns = patterns_now(session)
    return tuple(_danger(row, patterns, by_names) for row in rows)


def dangers_of_consignments(session: Session, *, by_names: bool) -> tuple[Danger, ...]:
    """The dangers that stand and travel with all of a consignment."""
    found = _DANGERS.where(HAZARD.c.consignment_id.is_not(None), HAZARD.c.cleared_at.is_(None))
    rows = session.execute(found.order_by(Consignment.name, HAZARD.c.id))
    return tuple(_danger(row, (), by_names) for row in rows)


def dangers_with(session: Session, consignment_id: int, *, by_names: bool) -> tuple[Danger, ...]:
    """Every danger ever said of all of one consignment: those that stand first, then the cleared ones."""
    found = _DANGERS.where(HAZARD.c.consignment_id == consignment_id)
    rows = session.execute(found.order_by(HAZARD.c.cleared_at.is_not(None), HAZARD.c.said_at, HAZARD.c.id))
    return tuple(_danger(row, (), by_names) for row in rows)


def suspects(session: Session, *, by_names: bool, most: int = MOST_LISTED) -> Suspects:
    """The sheets that are suspected by themselves, the latest first, at most so many."""
    mine = (HAZARD.c.kind == HISTORIC, HAZARD.c.cleared_at.is_(None), HAZARD.c.sheet_id.is_not(None))
    rows = session.execute(
        _DANGERS.where(*mine).order_by(HAZARD.c.said_at.desc(), HAZARD.c.id.desc()).limit(most)
    ).all()
    count = session.execute(select(func.count()).select_from(HAZARD).where(*mine)).scalar_one()
    patterns = patterns_now(session)
    return Suspects(tuple(_danger(row, patterns, by_names) for row in rows), int(count))


def named_workers(session: Session) -> tuple[NamedLine, ...]:
    """Those who work here, by name, and since when each is named."""
    since = {row.worker_id: row.named_at for row in _named(session) if row.worker_id is not None}
    rows = session.execute(
        select(Worker.id, Worker.name).where(Worker.retired_at.is_(None)).order_by(Worker.name, Worker.id)
    )
    return tuple(NamedLine(row.id, row.name, since.get(row.id)) for row in rows)


def named_stations(session: Session) -> tuple[NamedLine, ...]:
    """The stations in use, and since when each is named."""
    since = {row.station_id: row.named_at for row in _named(session) if row.station_id is not None}
    rows = session.execute(select(Station.id, Station.name).where(Station.closed_at.is_(None)).order_by(Station.id))
    return tuple(NamedLine(row.id, row.name, since.get(row.id)) for row in rows)


def suspected_places(session: Session) -> SuspectedPlaces:
    """Where suspected sheets lie, to be said before a door is opened."""
    suspected = and_(HAZARD.c.kind == HISTORIC, HAZARD.c.cleared_at.is_(None))
    by_itself = select(SHEET.c.id, SHEET.c.cabinet_id, SHEET.c.shelf_id).join(HAZARD, HAZARD.c.sheet_id == SHEET.c.id)
    with_others = select(SHEET.c.id, SHEET.c.cabinet_id, SHEET.c.shelf_id).join(
        HAZARD, HAZARD.c.consignment_id == SHEET.c.consignment_id
    )
    here = (suspected, SHEET.c.cabinet_id.is_not(None), SHEET.c.closed_as.is_(None))
    both = by_itself.where(*here).union(with_others.where(*here)).subquery()
    cabinets, shelves = dict[int, int](), dict[int, int]()
    for row in session.execute(
        select(both.c.cabinet_id, both.c.shelf_id, func.count()).group_by(both.c.cabinet_id, both.c.shelf_id)
    ):
        cabinets[row[0]] = cabinets.get(row[0], 0) + row[2]
        if row[1] is not None:
            shelves[row[1]] = row[2]
    return SuspectedPlaces(cabinets, shelves)


def _named(session: Session) -> Sequence[Any]:
    in_force = (NAMED.c.hazard == HISTORIC, NAMED.c.ended_at.is_(None))
    return session.execute(select(NAMED.c.worker_id, NAMED.c.station_id, NAMED.c.named_at).where(*in_force)).all()


def _danger(row: Any, patterns: Sequence[Any], by_names: bool) -> Danger:
    said, cleared = (row.said_name or "", row.cleared_name or "") if by_names else ("", "")
    return Danger(row.id, row.kind, say(HAZARD_WORDS.get(row.kind, row.kind)), say(CAUTIONS.get(row.kind, row.kind)),
                  row.number or "",
                  shown(row.number, patterns) if row.number else "", row.consignment or "", row.said_at, said,
                  row.cleared_at, cleared, row.why or "")  # fmt: skip
