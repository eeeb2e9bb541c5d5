"""What the pages of closing and morning are made from, and the lines that they show."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import (
    Attendance,
    Bundle,
    Cabinet,
    Consignment,
    FreezerLoad,
    Sheet,
    Shelf,
    Station,
    table_of,
)
from app.domain.day import Contact, Drying, Item, Kind, Load, Ready, place_of_drying
from app.domain.day_words import Part, about
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.stages import Stage
from app.queries.house import patterns_now
from app.queries.in_freezer import not_in_freezer
from app.queries.kinds import IN_QUEUE
from app.queries.lines import LINES
from app.queries.press import StackView

SHEET = table_of(Sheet)
_SINCE = func.coalesce(SHEET.c.papers_at, SHEET.c.came_at, type_=SHEET.c.came_at.type)
_ALIKE = (Bundle.name, Cabinet.name, Shelf.name, SHEET.c.method, _SINCE, SHEET.c.pressed_at)
_DRYING = (
    select(func.count(), *_ALIKE)
    .select_from(SHEET)
    .where(IN_QUEUE, SHEET.c.stage == Stage.DRYING)
    .outerjoin(Bundle, Bundle.id == SHEET.c.bundle_id)
    .outerjoin(Cabinet, Cabinet.id == SHEET.c.cabinet_id)
    .outerjoin(Shelf, Shelf.id == SHEET.c.shelf_id)
    .group_by(*_ALIKE)
)
_LOADS = select(FreezerLoad).where(FreezerLoad.opened_at.is_(None)).order_by(FreezerLoad.id)
_STATIONS = select(Station).where(Station.closed_at.is_(None), Station.is_practice.is_(False)).order_by(Station.name)
_HERE = (
    select(Station.name, func.count(Attendance.worker_id.distinct()))
    .join(Attendance, Attendance.station_id == Station.id)
    .where(Attendance.signed_out_at.is_(None))
    .group_by(Station.name)
    .order_by(Station.name)
)
_READY = (
    select(SHEET.c.consignment_id, Consignment.name, Consignment.place_in_order, SHEET.c.holds, func.count())
    .join(Consignment, Consignment.id == SHEET.c.consignment_id)
    .where(IN_QUEUE, SHEET.c.stage == Stage.READY, SHEET.c.table_id.is_(None), not_in_freezer())
    .group_by(SHEET.c.consignment_id, Consignment.name, Consignment.place_in_order, SHEET.c.holds)
)


@dataclass(frozen=True, slots=True)
class DayLine:
    """One line of a closing or a morning: its name, what is said of it before and after a moment, and its link.

    `kind` is one of day.Kind; `href_kind` is sheet, stack, load or empty, `href_id` its number or name; `plant` and `where`
    are empty where nothing is known.
    """

    kind: str
    name: str
    before: str
    at: datetime | None
    after: str
    plant: str
    where: str
    href_kind: str
    href_id: str


@dataclass(frozen=True, slots=True)
class DayPart:
    """A head with its lines, what to do about them, how many more there are, and whether it must be seen to."""

    head: str
    do: str
    presses: bool
    lines: tuple[DayLine, ...]
    more: int


@dataclass(frozen=True, slots=True)
class SheetFacts:
    """What a line says beside its name: the sheet's number as it is kept, its plant, and where it is."""

    number: str
    plant: str
    where: str


Known = Mapping[tuple[Kind, str], SheetFacts]


def sheets_where(session: Session, *where: Any, order: Sequence[Any]) -> list[tuple[str, Any]]:
    """Joined rows of sheets in the queue, each with its number as people read it."""
    found = LINES.add_columns(SHEET.c.wanted_at).where(IN_QUEUE, *where).order_by(*order, SHEET.c.id)
    patterns = patterns_now(session)
    return [(shown(row.number, patterns), row) for row in session.execute(found)]


def glued(rows: Iterable[tuple[str, Any]]) -> list[Item]:
    """The items of what is glued and not under weight."""
    return [Item(Kind.GLUED, name, at=row.came_at) for name, row in rows]


def bare(stacks: Iterable[StackView]) -> list[Item]:
    """The stacks with sheets and without weights."""
    return [Item(Kind.BARE, view.name, view.sheets, view.bare_since) for view in stacks if view.bare_since is not None]


def drying(session: Session) -> list[Drying]:
    """What dries, where, and since when between the same papers."""
    return [
        Drying(place_of_drying(bundle, cabinet, shelf), count, method, since, pressed_at)
        for count, bundle, cabinet, shelf, method, since, pressed_at in session.execute(_DRYING)
    ]


def loads(session: Session) -> list[Load]:
    """The freezer loads that are not opened yet."""
    rows = session.execute(_LOADS).scalars()
    return [
        Load(row.name, row.put_in_at, row.cold_at, row.out_at, row.opened_at, row.rule_days, row.rule_days is not None)
        for row in rows
    ]


def contacts(session: Session) -> list[Contact]:
    """When each station was last heard from; a browser that was sent away is not waited for."""
    rows = session.execute(_STATIONS).scalars()
    return [Contact(row.name, row.seen_at, row.clear_at, row.enrolled_at if row.secret_hash else None) for row in rows]


def signed_in(session: Session) -> list[Item]:
    """How many are signed in at each station."""
    return [Item(Kind.SIGNED_IN, name, count) for name, count in session.execute(_HERE)]


def ready(session: Session) -> list[Ready]:
    """What is ready for mounting, on no table and in no freezer, by its consignment and its holds."""
    return [Ready(*row) for row in session.execute(_READY)]


def day_parts(found: Iterable[Part], now: datetime, known: Known, most: int | None = None) -> tuple[DayPart, ...]:
    """The heads with their lines, at most so many under each; `known` is what else is known of them."""
    return tuple(
        DayPart(say(part.section.head), say(part.section.do), part.section.presses,
                tuple(_line(item, now, known) for item in part.items[:most]), len(part.items[most:]) if most else 0)
        for part in found
    )  # fmt: skip


def _line(item: Item, now: datetime, known: Known) -> DayLine:
    before, moment, after = about(item, now, lambda _: MARK).partition(MARK)
    facts = known.get((item.kind, item.name))
    plant, where = (facts.plant, facts.where) if facts else ("", "")
    number = facts.number if facts else ""
    href = (
        ("sheet", number)
        if number
        else next(((end, item.name) for end, kinds in _ENDS if item.kind in kinds), ("", ""))
    )
    return DayLine(item.kind.value, item.name, before, item.at if moment else None, after, plant, where, *href)


# Stands for a moment where a line is split around it; no name or word holds it.
MARK = "\0"
_ENDS = (
    ("stack", frozenset({Kind.BARE, Kind.PRESS})),
    ("load", frozenset({Kind.LOAD_OUT, Kind.LOAD_OPEN, Kind.LOAD_BACK})),
)
