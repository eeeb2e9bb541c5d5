"""Which sheets wait for their label: how many by consignment and since when, and where each lies."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Consignment, Hold, Sheet, table_of
from app.domain.natural_order import natural_order
from app.domain.numbers import shown
from app.domain.words import age
from app.queries.house import patterns_now
from app.queries.lines import LINES, place_of

SHEET = table_of(Sheet)
HOLD = table_of(Hold)
CONSIGNMENT = table_of(Consignment)
MOST_LISTED = 1000
_WAIT = (HOLD.c.kind == "label-to-come", HOLD.c.lifted_at.is_(None), SHEET.c.closed_as.is_(None))
_GROUPS = (
    select(CONSIGNMENT.c.code, CONSIGNMENT.c.name, func.count().label("many"), func.min(HOLD.c.put_at).label("oldest"))
    .select_from(HOLD)
    .join(SHEET, SHEET.c.id == HOLD.c.sheet_id)
    .outerjoin(CONSIGNMENT, CONSIGNMENT.c.id == SHEET.c.consignment_id)
    .where(*_WAIT)
    .group_by(CONSIGNMENT.c.id, CONSIGNMENT.c.code, CONSIGNMENT.c.name)
    .order_by(func.min(HOLD.c.put_at))
)
_LINES = LINES.add_columns(HOLD.c.put_at, CONSIGNMENT.c.code).join(HOLD, HOLD.c.sheet_id == SHEET.c.id).where(*_WAIT)


@dataclass(frozen=True, slots=True)
class LabelGroup:
    """What waits for labels of one consignment (without a code: of none): how many, and since when the oldest."""

    code: str
    name: str
    count: int
    oldest: datetime
    oldest_age: str


@dataclass(frozen=True, slots=True)
class LabelLine:
    """One sheet that waits for its label, as it is looked for among printed labels, and where it lies."""

    number: str
    shown: str
    collector: str
    record_number: str
    plant: str
    family: str
    place: str
    since: datetime
    age: str


@dataclass(frozen=True, slots=True)
class LabelsToCome:
    """The consignments with labels to come, the longest waiting first; and the sheets asked for, by collector and field
    number, at most so many of `matching`.
    """

    groups: tuple[LabelGroup, ...]
    lines: tuple[LabelLine, ...]
    matching: int

    @property
    def count(self) -> int:
        """How many sheets of the room wait for a label."""
        return sum(group.count for group in self.groups)


def labels_to_come(session: Session, now: datetime, code: str | None = None, most: int = MOST_LISTED) -> LabelsToCome:
    """The sheets that wait for their label: of the whole room, of one consignment by its code, or with "" of none."""
    groups = tuple(
        LabelGroup(row.code or "", row.name or "", row.many, row.oldest, age(row.oldest, now))
        for row in session.execute(_GROUPS)
    )
    found = _LINES
    if code is not None:
        found = found.where(CONSIGNMENT.c.code == code if code else SHEET.c.consignment_id.is_(None))
    rows = sorted(session.execute(found).all(), key=_in_order)
    patterns = patterns_now(session)
    return LabelsToCome(groups, tuple(_line(row, patterns, now) for row in rows[:most]), len(rows))


def _in_order(row: Any) -> tuple[Any, ...]:
    return (row.code or "\uffff", row.collector or "\uffff", natural_order(row.record_number or ""), row.number)


def _line(row: Any, patterns: Any, now: datetime) -> LabelLine:
    return LabelLine(row.number, shown(row.number, patterns), row.collector or "", row.record_number or "", row.plant or "",
                     row.family or "", place_of(row), row.put_at, age(row.put_at, now))  # fmt: skip
