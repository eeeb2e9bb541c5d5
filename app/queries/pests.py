"""Where pests were seen, and the sheets that were beside them: what the manager looks at before quarantine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from app.db.models import (
    Bundle,
    Cabinet,
    Consignment,
    FreezerLoad,
    PestSeen,
    Sheet,
    Shelf,
    Stack,
    Station,
    Worker,
    table_of,
)
from app.db.neighbours import neighbours
from app.domain.language import mark, say
from app.domain.neighbours import Shared, Site
from app.domain.numbers import shown
from app.queries.house import patterns_now
from app.queries.lines import LINES, hold_words, place_of, stage_words
from app.queries.picks import on_the_way

SHEET = table_of(Sheet)
PEST = table_of(PestSeen)
MOST_LISTED = 200
AT_ONCE = 500
_SIGHTINGS: Select[Any] = (
    select(
        PEST, SHEET.c.number, Cabinet.name.label("cabinet"), Consignment.name.label("consignment"), Station.name.label("station"),
        Worker.name.label("worker"),
    )
    .outerjoin(SHEET, SHEET.c.id == PEST.c.sheet_id)
    .outerjoin(Cabinet, Cabinet.id == PEST.c.cabinet_id)
    .outerjoin(Consignment, Consignment.id == PEST.c.consignment_id)
    .outerjoin(Station, Station.id == PEST.c.station_id)
    .outerjoin(Worker, Worker.id == PEST.c.seen_by)
)  # fmt: skip
_ROWS = LINES.add_columns(Cabinet.walk)


@dataclass(frozen=True, slots=True)
class Sighting:
    """A pest was seen: `on` says on or in what; `number` is the sheet's, if it was on one. `quarantined` counts the
    neighbours that were put in quarantine for it. `by` is empty for whoever may not see names.
    """

    pest_id: int
    on: str
    number: str
    cabinet: str
    seen_at: datetime
    where: str
    by: str
    since: datetime
    quarantined: int | None
    closed_at: datetime | None
    why: str


@dataclass(frozen=True, slots=True)
class Beside:
    """One place that a sheet shared with it, from when until when; None: it does still."""

    place: str
    begins: datetime
    ends: datetime | None


@dataclass(frozen=True, slots=True)
class NeighbourLine:
    """One sheet beside which a pest was; nothing is `beside` for one on which it was seen itself."""

    number: str
    shown: str
    plant: str
    family: str
    stage_words: str
    holds: tuple[str, ...]
    in_quarantine: bool
    closed_as: str
    is_treated: bool
    beside: tuple[Beside, ...]


@dataclass(frozen=True, slots=True)
class NeighbourGroup:
    """The sheets that are in one place now."""

    where: str
    lines: tuple[NeighbourLine, ...]


def sightings(session: Session, *, by_names: bool, most: int = MOST_LISTED) -> tuple[Sighting, ...]:
    """The sightings: those that are open first, each part with the latest first; at most so many."""
    rows = session.execute(
        _SIGHTINGS.order_by(PEST.c.closed_at.is_not(None), PEST.c.seen_at.desc(), PEST.c.id.desc()).limit(most)
    )
    patterns = patterns_now(session)
    return tuple(_sighting(row, patterns, by_names) for row in rows)


def sighting(session: Session, pest_id: int, *, by_names: bool) -> Sighting | None:
    """One sighting; None when there is none."""
    row = session.execute(_SIGHTINGS.where(PEST.c.id == pest_id)).one_or_none()
    return _sighting(row, patterns_now(session), by_names) if row is not None else None


def neighbour_groups(session: Session, pest_id: int, since: datetime, now: datetime) -> tuple[NeighbourGroup, ...]:
    """What was beside it since a moment, in walking order: by cabinet and shelf, then what is in stacks, bundles, on tables."""
    pest = session.execute(select(PEST).where(PEST.c.id == pest_id)).one()
    met = {each.sheet_id: each.shared for each in neighbours(session, pest, since)}
    names = _site_names(session, {how.site for shared in met.values() for how in shared})
    ids, rows = sorted(met), list[Any]()
    for at in range(0, len(ids), AT_ONCE):
        rows += session.execute(_ROWS.where(SHEET.c.id.in_(ids[at : at + AT_ONCE])))
    patterns = patterns_now(session)
    walked = groupby(sorted(rows, key=on_the_way), _where)
    return tuple(
        NeighbourGroup(where, tuple(_line(row, met[row.id], names, patterns, now) for row in mine))
        for where, mine in walked
    )


def _sighting(row: Any, patterns: Sequence[Any], by_names: bool) -> Sighting:
    on = row.what or say("something")
    if row.number is not None:
        on = say("on {number}", number=shown(row.number, patterns))
    elif row.consignment is not None:
        on = say("in what came with {consignment}", consignment=row.consignment)
    where = row.station or ""
    return Sighting(row.id, on, row.number or "", row.cabinet or "", row.seen_at, where, (row.worker or "") if by_names else "",
                    row.since_at or row.seen_at, row.quarantined, row.closed_at, row.why or "")  # fmt: skip


def _line(
    row: Any, shared: Sequence[Shared], names: dict[Site, str], patterns: Sequence[Any], now: datetime
) -> NeighbourLine:
    beside = tuple(Beside(names.get(how.site, say("a place that is gone")), how.begins, how.ends) for how in shared)
    return NeighbourLine(
        row.number, shown(row.number, patterns), row.plant or "", row.family or "", stage_words(row.stage, row.closed_as),
        hold_words(row.holds), "quarantine" in row.holds.split(), row.closed_as or "",
        row.treated_until is not None and row.treated_until > now, beside,
    )  # fmt: skip


def _where(row: Any) -> str:
    words = place_of(row)
    return words[0].upper() + words[1:] if words else say("No place known")


def _site_names(session: Session, sites: set[Site]) -> dict[Site, str]:
    """How each shared place is said."""
    found: dict[Site, str] = {}
    for kind, (query, column, words) in _SITES.items():
        ids = [site.id for site in sites if site.kind == kind]
        if ids:
            found |= {
                Site(kind, row.id): say(words, name=row.name, cabinet=row.name, shelf=row._mapping.get("shelf"))
                for row in session.execute(query.where(column.in_(ids)))
            }
    return found


_CABINETS = select(Cabinet.id, Cabinet.name)
_SHELVES = select(Shelf.id, Cabinet.name.label("name"), Shelf.name.label("shelf")).join(
    Cabinet, Cabinet.id == Shelf.cabinet_id
)
_SITES: dict[str, tuple[Any, Any, str]] = {
    "shelf": (_SHELVES, Shelf.id, mark("{cabinet}, shelf {shelf}")),
    "loose": (_CABINETS, Cabinet.id, mark("{name}, on no shelf")),
    "inside": (_CABINETS, Cabinet.id, "{name}"),
    "stack": (select(Stack.id, Stack.name), Stack.id, mark("stack {name}")),
    "bundle": (select(Bundle.id, Bundle.name), Bundle.id, "{name}"),
    "load": (select(FreezerLoad.id, FreezerLoad.name), FreezerLoad.id, mark("the bag of {name}")),
}
