"""What the filing round is made from: the sheets that may be filed, those filed today, and the cabinets with their shelves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, func, literal, not_, or_, select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Entry, PlantName, Sheet, Shelf, table_of
from app.domain.calendar import day_bounds, local_day
from app.domain.holds import keeping
from app.domain.house import House
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.stages import STAGES, Stage, Step
from app.queries.house import patterns_now
from app.queries.in_freezer import not_in_freezer
from app.queries.kinds import IN_QUEUE, PASSED, among
from app.queries.lines import LINES

SHEET, ENTRY = table_of(Sheet), table_of(Entry)
OTHER = SHEET.alias("other")
AT_ONCE = 400
At = tuple[int, int | None]
_ROWS = LINES.add_columns(
    SHEET.c.cabinet_id, SHEET.c.shelf_id, SHEET.c.specimen_id, SHEET.c.consignment_id, PlantName.search_key
)


@dataclass(frozen=True, slots=True)
class Furniture:
    """The cabinets and the shelves in them by their ids, and how many sheets lie on those that hold only so many."""

    cabinets: Mapping[int, Any]
    shelves: Mapping[int, Any]
    lying: Mapping[int, int]

    def names(self, at: At | None) -> tuple[str, str]:
        """The names of a cabinet and its shelf; empty where there is none."""
        if at is None:
            return "", ""
        return self.cabinets[at[0]].name, self.shelves[at[1]].name if at[1] is not None else ""

    def said(self, at: At) -> str:
        """A place as one would walk there: "F2, shelf 3"."""
        cabinet, shelf = self.names(at)
        return say("{cabinet}, shelf {shelf}", cabinet=cabinet, shelf=shelf) if cabinet and shelf else cabinet or shelf

    def is_full(self, at: At) -> bool:
        """Whether a shelf holds by the log what it may hold."""
        room = self.shelves[at[1]].capacity if at[1] is not None else None
        return room is not None and at[1] is not None and self.lying.get(at[1], 0) >= room


def furniture(session: Session) -> Furniture:
    """Every cabinet and shelf, closed ones too: what was filed today may lie there."""
    cabinets = session.execute(select(Cabinet.id, Cabinet.name, Cabinet.walk, Cabinet.note, Cabinet.is_clean)).all()
    shelves = session.execute(select(Shelf.id, Shelf.name, Shelf.capacity)).all()
    limited = [each.id for each in shelves if each.capacity is not None]
    counted = select(SHEET.c.shelf_id, func.count()).group_by(SHEET.c.shelf_id)
    lying: dict[int, int] = {}
    for start in range(0, len(limited), AT_ONCE):
        some = counted.where(SHEET.c.shelf_id.in_(limited[start : start + AT_ONCE]))
        lying.update({shelf: many for shelf, many in session.execute(some)})
    return Furniture({each.id: each for each in cabinets}, {each.id: each for each in shelves}, lying)


def to_be_filed(session: Session, house: House, now: datetime, most: int) -> tuple[Sequence[Any], int]:
    """The rows of what may be filed, the longest waiting first, at most so many; and how many there are in all."""
    where = _may_be_filed(house, now)
    found = (
        _ROWS.add_columns(literal(None).label("filed_at"))
        .where(*where)
        .order_by(SHEET.c.came_at, SHEET.c.id)
        .limit(most)
    )
    rows = session.execute(found).all()
    matching = session.execute(select(func.count()).select_from(SHEET).where(*where)).scalar_one()
    return rows, int(matching)


def filed_today(session: Session, now: datetime, zone: ZoneInfo, most: int) -> Sequence[Any]:
    """The rows of what was filed on this local day and lies there still, the latest first, at most so many."""
    begins = day_bounds(local_day(now, zone), zone)[0]
    found = (
        _ROWS.add_columns(ENTRY.c.happened_at.label("filed_at"))
        .join(ENTRY, (ENTRY.c.subject_id == SHEET.c.id) & (ENTRY.c.happened_at == SHEET.c.came_at))
        .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.step == Step.FILE, ENTRY.c.happened_at >= begins,
               SHEET.c.stage == Stage.FILED, SHEET.c.closed_as.is_(None))
        .order_by(ENTRY.c.id.desc())
        .limit(most)
    )  # fmt: skip
    return list({row.id: row for row in session.execute(found)}.values())


def parts_missing(session: Session, rows: Sequence[Any]) -> dict[int, str]:
    """Of these rows, by id, those that wait for another sheet of their specimen: which, and where it stands."""
    whole: dict[int, list[Any]] = {}
    for row in rows:
        if row.specimen_id is not None:
            whole.setdefault(row.specimen_id, []).append(row)
    patterns, found, ids = patterns_now(session), dict[int, str](), list(whole)
    for start in range(0, len(ids), AT_ONCE):
        others = select(OTHER.c.specimen_id, OTHER.c.number, OTHER.c.stage).where(
            OTHER.c.specimen_id.in_(ids[start : start + AT_ONCE]), OTHER.c.closed_as.is_(None),
            or_(OTHER.c.stage.is_(None), OTHER.c.stage.not_in((Stage.DRY, Stage.FILED))),
        )  # fmt: skip
        for specimen_id, number, stage in session.execute(others.order_by(OTHER.c.number.desc())):
            stands = STAGES[Stage(stage)].stands if stage else say("has not been taken in")
            why = say(
                "Another sheet of its specimen, {number}, {stands}.", number=shown(number, patterns), stands=stands
            )
            found |= {row.id: why for row in whole[specimen_id]}
    return found


def _may_be_filed(house: House, now: datetime) -> list[ColumnElement[bool]]:
    passed = SHEET.c.outcome == PASSED
    looked_at = passed if house.inspect_before_filing else or_(passed, SHEET.c.outcome.is_(None))
    where = [
        IN_QUEUE,
        SHEET.c.stage == Stage.DRY,
        looked_at,
        not_(among(SHEET.c.holds, keeping(Step.FILE))),
        not_in_freezer(),
    ]
    return [*where, SHEET.c.treated_until > now] if house.treat_before_filing else where
