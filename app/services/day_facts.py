"""What a closing and a morning are made from, read at the desk where their card was scanned."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Select, func, or_, select, text, union_all

from app.db.models import (
    Attendance,
    Bundle,
    Cabinet,
    Consignment,
    FreezerLoad,
    Layer,
    LoadBundle,
    Sheet,
    Shelf,
    Stack,
    Station,
    table_of,
)
from app.domain.day import Contact, Day, Drying, Item, Kind, Load, Ready, place_of_drying, press_due
from app.domain.numbers import shown
from app.domain.press import ready_at
from app.domain.stages import Stage
from app.services.desk import Desk
from app.services.facts import stays_and_spans

SHEET = table_of(Sheet)
STACK = table_of(Stack)
LAYER = table_of(Layer)
LOAD = table_of(FreezerLoad)
STATION = table_of(Station)
# Word for word the condition of the queue's index: a card that is scanned must not go through the collection.
IN_QUEUE = text("sheet.in_queue")
LYING = (LAYER.c.out_at.is_(None), STACK.c.closed_at.is_(None))
# P2 before P10.
BY_NAME = (func.length(STACK.c.name), STACK.c.name)


def glued(desk: Desk) -> list[Item]:
    """What is glued and not under weight, the longest first."""
    found = _waiting(Stage.MOUNTED, SHEET.c.number, SHEET.c.came_at).order_by(SHEET.c.came_at, SHEET.c.id)
    return [Item(Kind.GLUED, shown(number, desk.patterns), at=at) for number, at in desk.session.execute(found)]


def bare(desk: Desk) -> list[Item]:
    """The stacks with sheets and without weights, since when sheets have lain there like that."""
    found = (
        select(STACK.c.name, func.count(), func.min(LAYER.c.laid_at), STACK.c.turned_at)
        .join(LAYER, LAYER.c.stack_id == STACK.c.id)
        .where(*LYING, STACK.c.weights_on.is_(False))
        .group_by(STACK.c.id)
        .order_by(*BY_NAME)
    )
    rows = desk.session.execute(found)
    return [Item(Kind.BARE, name, count, max(laid_at, off_at or laid_at)) for name, count, laid_at, off_at in rows]


def on_tables(desk: Desk) -> list[Item]:
    """The tables with sheets that were taken up and neither glued nor put back."""
    taken_up = _waiting(Stage.READY, STATION.c.name, func.count()).join(STATION, STATION.c.id == SHEET.c.table_id)
    found = taken_up.group_by(STATION.c.name).order_by(STATION.c.name)
    return [Item(Kind.TABLE, name, count) for name, count in desk.session.execute(found)]


def drying(desk: Desk) -> list[Drying]:
    """What dries, where, and since when between the same papers."""
    since = func.coalesce(SHEET.c.papers_at, SHEET.c.came_at, type_=SHEET.c.came_at.type)
    place = (Bundle.name, Cabinet.name, Shelf.name)
    alike = (*place, SHEET.c.method, since, SHEET.c.pressed_at)
    found = _waiting(Stage.DRYING, func.count(), *alike).outerjoin(Bundle, Bundle.id == SHEET.c.bundle_id)
    found = found.outerjoin(Cabinet, Cabinet.id == SHEET.c.cabinet_id).outerjoin(Shelf, Shelf.id == SHEET.c.shelf_id)
    rows = desk.session.execute(found.group_by(*alike))
    return [Drying(place_of_drying(*row[1:4]), row[0], *row[4:]) for row in rows]


def loads(desk: Desk) -> list[Load]:
    """The freezer loads that are not opened yet."""
    columns = (LOAD.c.name, LOAD.c.put_in_at, LOAD.c.cold_at, LOAD.c.out_at, LOAD.c.opened_at, LOAD.c.rule_days)
    rows = desk.session.execute(select(*columns).where(LOAD.c.opened_at.is_(None)))
    return [Load(*row, is_told=row.rule_days is not None) for row in rows]


def contacts(desk: Desk) -> list[Contact]:
    """When each station was last heard from; the one at this desk is heard now, and says itself what it still keeps."""
    found = select(STATION).where(STATION.c.closed_at.is_(None), STATION.c.is_practice.is_(False))
    return [_contact(desk, row) for row in desk.session.execute(found)]


def signed_in(desk: Desk) -> list[Item]:
    """How many are signed in at each station."""
    found = select(Station.name, func.count(Attendance.worker_id.distinct())).join(Attendance)
    rows = desk.session.execute(
        found.where(Attendance.signed_out_at.is_(None)).group_by(Station.name).order_by(Station.name)
    )
    return [Item(Kind.SIGNED_IN, name, count) for name, count in rows]


def pressing(desk: Desk, day: Day) -> list[Item]:
    """What may come out of each stack now, and by the end of the day."""
    found = select(STACK.c.name, SHEET.c.id, SHEET.c.glued_at, SHEET.c.minimum_s).select_from(LAYER)
    found = found.join(STACK, STACK.c.id == LAYER.c.stack_id).join(SHEET, SHEET.c.id == LAYER.c.sheet_id)
    ready: dict[str, list[datetime | None]] = {}
    for stack, sheet_id, glued_at, minimum_s in desk.session.execute(found.where(*LYING).order_by(*BY_NAME)).all():
        lain = stays_and_spans(desk.session, sheet_id, glued_at)
        at = ready_at(timedelta(seconds=minimum_s), *lain, day.now) if minimum_s is not None else None
        ready.setdefault(stack, []).append(at)
    return [item for stack, moments in ready.items() if (item := press_due(stack, moments, day)) is not None]


def wanted(desk: Desk) -> list[Item]:
    """The sheets that somebody wants and that are not done, the longest wanted first."""
    found = select(SHEET.c.number, SHEET.c.wanted_at).where(IN_QUEUE, SHEET.c.wanted_at.is_not(None))
    rows = desk.session.execute(found.order_by(SHEET.c.wanted_at, SHEET.c.id))
    return [Item(Kind.WANTED, shown(number, desk.patterns), at=at) for number, at in rows]


def ready(desk: Desk) -> list[Ready]:
    """What is ready for mounting, on no table and in no freezer, by its consignment and its holds."""
    alike = (Consignment.id, Consignment.name, Consignment.place_in_order, SHEET.c.holds)
    found = _waiting(Stage.READY, *alike, func.count()).join(Consignment, Consignment.id == SHEET.c.consignment_id)
    inside = (LOAD.c.put_in_at.is_not(None), LOAD.c.opened_at.is_(None), LOAD.c.bundle_id.is_not(None))
    tied = select(LoadBundle.bundle_id).join(LOAD, LOAD.c.id == LoadBundle.load_id).where(*inside)
    bundles = union_all(select(LOAD.c.bundle_id).where(*inside), tied)
    outside = or_(SHEET.c.bundle_id.is_(None), SHEET.c.bundle_id.not_in(bundles))
    return [
        Ready(*row) for row in desk.session.execute(found.where(SHEET.c.table_id.is_(None), outside).group_by(*alike))
    ]


def _waiting(stage: Stage, *columns: Any) -> Select[Any]:
    return select(*columns).select_from(SHEET).where(IN_QUEUE, SHEET.c.stage == stage)


def _contact(desk: Desk, row: Any) -> Contact:
    enrolled_at = row.enrolled_at if row.secret_hash is not None else None
    if row.id != desk.station_id:
        return Contact(row.name, row.seen_at, row.clear_at, enrolled_at)
    return Contact(row.name, desk.now, desk.now if desk.request.held == 0 else row.clear_at, enrolled_at)
