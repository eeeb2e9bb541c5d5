"""Which sheet it may be that has lost its number: by what its label says, the missing and the longest unseen first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import ColumnElement, and_, case, or_, select
from sqlalchemy.engine import RowMapping

from app.db.models import Collector, Hold, PlantName, Sheet, table_of
from app.db.near import AFTER_ALL, near_plants
from app.domain.folding import folded, folded_plant
from app.domain.stages import Stage
from app.services.desk import Desk

SHEET = table_of(Sheet)
HOLD = table_of(Hold)
MISSING = "not-found"
ENOUGH = 6
MOST_NAMES = 12
# A field number, a plant's name or a collector's says which sheet it is; a word shorter than this says nothing.
LEAST = 3


def likely_sheets(desk: Desk, label: str, consignment_id: int | None = None) -> Sequence[RowMapping]:
    """The sheets that may be the one with this label: missing ones first, then of this consignment, then the longest unseen.

    A label on which nothing can be read finds what is missing. At most six; closed sheets are none.
    """
    said = _meant(desk, label)
    if said is None:
        if folded(label):
            return ()
        said = SHEET.c.id.in_(select(HOLD.c.sheet_id).where(HOLD.c.kind == MISSING, HOLD.c.lifted_at.is_(None)))
    is_missing = (" " + SHEET.c.holds + " ").contains(f" {MISSING} ", autoescape=True)
    order = (
        case((is_missing, 0), else_=1), case((SHEET.c.consignment_id == consignment_id, 0), else_=1),
        case((SHEET.c.stage == Stage.FILED, 1), else_=0), SHEET.c.last_at, SHEET.c.id,
    )  # fmt: skip
    found = select(SHEET).where(said, SHEET.c.closed_as.is_(None), SHEET.c.stage.is_not(None)).order_by(*order)
    return list(desk.session.execute(found.limit(ENOUGH)).mappings())


def plant_meant(desk: Desk, label: str) -> int | None:
    """The plant whose name the label begins with, where the room knows exactly one."""
    found = _plants(desk, _without_number(label)[0], exactly=True)
    return found[0] if len(found) == 1 else None


def record_meant(label: str) -> str | None:
    """The field number at the end of what the label says, if there is one."""
    return _without_number(label)[1] or None


def _meant(desk: Desk, label: str) -> ColumnElement[bool] | None:
    names, record = _without_number(label)
    asked: list[ColumnElement[bool]] = []
    if plants := _plants(desk, names):
        asked.append(SHEET.c.plant_name_id.in_(plants))
    if collectors := _collectors(desk, names):
        asked.append(SHEET.c.collector_id.in_(collectors))
    if record:
        numbered = SHEET.c.record_number == record
        return and_(numbered, or_(*asked)) if asked and _has(desk, and_(numbered, or_(*asked))) else numbered
    return or_(*asked) if asked else None


def _has(desk: Desk, condition: ColumnElement[bool]) -> bool:
    return desk.session.execute(select(SHEET.c.id).where(condition).limit(1)).first() is not None


def _without_number(label: str) -> tuple[str, str]:
    """What a label says, parted into its words and the field number behind them."""
    words = label.replace(" no. ", " ").split()
    is_numbered = bool(words) and any(map(str.isdigit, words[-1]))
    return " ".join(words[:-1] if is_numbered else words), words[-1] if is_numbered else ""


def _plants(desk: Desk, text: str, *, exactly: bool = False) -> list[int]:
    key = folded_plant(text)
    if len(key) < LEAST:
        return []
    if exactly:
        return list(desk.session.execute(select(PlantName.id).where(PlantName.search_key == key)).scalars())
    return list(_beginning(desk, PlantName, key)) or near_plants(desk.session, key, MOST_NAMES)


def _collectors(desk: Desk, text: str) -> list[int]:
    key = folded(text)
    if len(key) < LEAST:
        return []
    inside = select(Collector.id).where(Collector.search_key.contains(f" {key}", autoescape=True)).limit(MOST_NAMES)
    return [*_beginning(desk, Collector, key), *desk.session.execute(inside).scalars()]


def _beginning(desk: Desk, names: Any, key: str) -> Iterable[int]:
    begun = (names.search_key >= key, names.search_key < key + AFTER_ALL)
    return desk.session.execute(select(names.id).where(*begun).order_by(names.search_key).limit(MOST_NAMES)).scalars()
