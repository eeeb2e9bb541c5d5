"""Where one has to walk for a sheet, what it lies between, and where and in whose hands it was last: one sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Select, bindparam, func, or_, select
from sqlalchemy.orm import Session, aliased

from app.db.models import (
    Cabinet,
    Entry,
    FreezerLoad,
    LoadBundle,
    PlantName,
    Sheet,
    Shelf,
    Stack,
    Station,
    table_of,
)  # fmt: skip
from app.db.prepared import prepared
from app.db.standing import STANDS
from app.domain.language import say
from app.domain.numbers import Pattern, shown
from app.domain.stages import Stage, Step
from app.queries.sheet_facts import HoldView
from app.queries.sheet_log import LogLine

SHEET = table_of(Sheet)
ENTRY = table_of(Entry)
PLANT = table_of(PlantName)
LOAD = table_of(FreezerLoad)
IN_LOAD = table_of(LoadBundle)
LOOKED_BACK = 12
# Put together so that the few sheets of the shelf are sorted, and not all numbers walked through.
_NUMBER = SHEET.c.number.concat("")
_NAMED = func.coalesce(PLANT.c.search_key, "").concat(" ").concat(SHEET.c.number)
_FREEZER = aliased(Cabinet)
_STOOD = prepared(
    select(Cabinet.name.label("cabinet"), Shelf.name.label("shelf"), Stack.name.label("stack"), Station.name.label("on_table"))
    .select_from(ENTRY)
    .outerjoin(Cabinet, Cabinet.id == ENTRY.c.to_cabinet_id)
    .outerjoin(Shelf, Shelf.id == ENTRY.c.to_shelf_id)
    .outerjoin(Stack, Stack.id == ENTRY.c.to_stack_id)
    .outerjoin(Station, Station.id == ENTRY.c.to_table_id)
    .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == bindparam("sheet"), ENTRY.c.step != Step.CORRECT, STANDS)
    .order_by(ENTRY.c.happened_at.desc(), ENTRY.c.id.desc())
    .limit(LOOKED_BACK)
)  # fmt: skip
_LOADS = prepared(
    select(LOAD.c.name, LOAD.c.put_in_at, LOAD.c.out_at, _FREEZER.name.label("freezer"))
    .outerjoin(_FREEZER, _FREEZER.id == LOAD.c.freezer_id)
    .where(
        LOAD.c.opened_at.is_(None),
        or_(
            LOAD.c.bundle_id == bindparam("bundle"),
            LOAD.c.id.in_(select(IN_LOAD.c.load_id).where(IN_LOAD.c.bundle_id == bindparam("bundle"))),
        ),
    )
    .order_by(LOAD.c.id.desc())
    .limit(1)
)


def _beside(order: Any, joined: bool) -> tuple[Select[Any], Select[Any]]:
    """The sheets of a shelf that lie next before and next behind a place in its order."""
    mine = select(SHEET.c.number, order.label("place")).where(SHEET.c.shelf_id == bindparam("shelf"))
    if joined:
        mine = mine.outerjoin(PLANT, PLANT.c.id == SHEET.c.plant_name_id)
    before = mine.where(order < bindparam("place_of")).order_by(order.desc()).limit(1)
    return before, mine.where(order > bindparam("place_of")).order_by(order).limit(1)


_BY_NUMBER = _beside(_NUMBER, joined=False)
_BY_NAME = _beside(_NAMED, joined=True)
_SHELF_OF = select(SHEET.c.shelf_id, _NUMBER.label("number"), _NAMED.label("named")).outerjoin(
    PLANT, PLANT.c.id == SHEET.c.plant_name_id
)
_SHELF_OF_ONE = _SHELF_OF.where(SHEET.c.id == bindparam("sheet"))


@dataclass(frozen=True, slots=True)
class Walk:
    """Where a sheet is, as one sentence in parts: `to` is where to walk, `before` where it was before, empty for never.

    `last_at` is when somebody last had it, at which station and whose hands it were as far as names may be shown;
    `back_on` the day on which one that is out is due.
    """

    to: str
    before: str
    last_where: str
    last_at: datetime | None
    last_by: tuple[str, ...]
    back_on: date | None = None

    @property
    def begins(self) -> str:
        """The sentence up to what was before, without its moments."""
        return say("{place}; before that {before}", place=self.to, before=self.before) if self.before else self.to


def walk_of(session: Session, row: Any, place: str, holds: Sequence[HoldView], last: LogLine | None,
            patterns: Sequence[Pattern]) -> Walk:  # fmt: skip
    """Where to walk for the sheet of this joined row; `place` is how its place is said, `last` its last standing entry."""
    kinds = {hold.kind: hold for hold in holds}
    here = _here(session, row, place, patterns)
    away = kinds.get("out")
    if row.closed_as is not None:
        here = say("Out of the queue: {reason}", reason=say(row.closed_as))
    elif away is not None:
        here = say("Out with {name}", name=away.with_whom) if away.with_whom else say("Out")
    elif "not-found" in kinds:
        here = (
            say("Not found; by the log it is {place}", place=here[:1].lower() + here[1:]) if place else say("Not found")
        )
    is_gone = away is not None or row.closed_as is not None
    before = _in(place) if is_gone and place else _before(session, row.id, place)
    return Walk(here, before, last.station if last else "", last.happened_at if last else None, last.who if last else (),
                away.due_on if away else None)  # fmt: skip


def _here(session: Session, row: Any, place: str, patterns: Sequence[Pattern]) -> str:
    if row.stage is None:
        return say("Not taken in yet: it is only on a list")
    if not place:
        return say("Nobody has said where it lies")
    words = say("on {place}", place=place) if row.on_table and not row.stack else _in(place)
    if row.shelf and not row.stack and not row.on_table:
        words += _between(session, row, patterns)
    elif row.bundle_id is not None and not row.cabinet:
        words += _in_freezer(session, row.bundle_id)
    return words[:1].upper() + words[1:]


def _in(place: str) -> str:
    return say("in {place}", place=place)


def _between(session: Session, row: Any, patterns: Sequence[Pattern]) -> str:
    """What it lies between: by name in a cabinet of filed sheets, by number everywhere else."""
    mine = session.execute(_SHELF_OF_ONE, {"sheet": row.id}).one()
    by_name = row.stage == Stage.FILED
    values = {"shelf": mine.shelf_id, "place_of": mine.named if by_name else mine.number}
    found = [session.execute(each, values).first() for each in (_BY_NAME if by_name else _BY_NUMBER)]
    before, behind = (shown(each.number, patterns) if each else "" for each in found)
    if before and behind:
        return say(", between {before} and {behind}", before=before, behind=behind)
    return (
        say(", behind {before}", before=before)
        if before
        else say(", in front of {behind}", behind=behind)
        if behind
        else ""
    )


def _in_freezer(session: Session, bundle_id: int) -> str:
    load = session.execute(_LOADS, {"bundle": bundle_id}).one_or_none()
    if load is None:
        return ""
    if load.out_at is not None:
        return say(", load {name}, out of the freezer and still closed", name=load.name)
    if load.put_in_at is None:
        return say(", load {name}, not yet in the freezer", name=load.name)
    return say(", load {name}, in {freezer}", name=load.name, freezer=load.freezer or say("the freezer"))


def _before(session: Session, sheet_id: int, place: str) -> str:
    """The last place before this one that anybody named; empty when there is none."""
    for row in session.execute(_STOOD, {"sheet": sheet_id}):
        shelf = say("{cabinet}, shelf {shelf}", cabinet=row.cabinet, shelf=row.shelf) if row.shelf else row.cabinet
        words = say("stack {name}{layer}", name=row.stack, layer="") if row.stack else row.on_table or shelf
        is_here = words == place or (row.stack and place.startswith(f"{words},"))
        if words and not is_here:
            return _in(words) if not row.on_table else say("on {place}", place=words)
    return ""
