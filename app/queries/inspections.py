"""What an inspector needs to know of the sheet in the hands, and how the looks at it ended before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Finding, Inspection, table_of
from app.domain.findings import LOOK_WORDS, Mark
from app.domain.numbers import shown
from app.domain.sheet_drawing import Size, size_of
from app.domain.stages import Stage
from app.queries.house import house_now, patterns_now
from app.queries.lines import stage_words
from app.queries.sheet_facts import cautions_of, sheet_row

FINDING = table_of(Finding)
INSPECTION = table_of(Inspection)


@dataclass(frozen=True, slots=True)
class Look:
    """One look at a sheet: when, how it ended in words, and what was found."""

    at: datetime
    words: str
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class ToInspect:
    """A sheet in an inspector's hands; `earlier` are the looks at it, the newest first. `size` is that of the room's sheets."""

    number: str
    shown: str
    plant: str
    stage_words: str
    is_dry: bool
    is_passed: bool
    without_weight: bool
    cautions: tuple[str, ...]
    notes: str
    earlier: tuple[Look, ...]
    size: Size
    asks_for_seal: bool


def to_inspect(session: Session, number: str) -> ToInspect | None:
    """The sheet with this number, or that once had it, for an inspector; None when there is none."""
    row = sheet_row(session, number)
    if row is None:
        return None
    house = house_now(session)
    is_dry = row.stage == Stage.DRY.value and row.closed_as is None
    return ToInspect(
        row.number, shown(row.number, patterns_now(session)), row.plant or "", stage_words(row.stage, row.closed_as), is_dry,
        row.outcome == "passed", bool(row.without_weight), cautions_of(session, row), row.notes or "",
        looks_at(session, row.id), size_of(house), house.seal_after_passing,
    )  # fmt: skip


def looks_at(session: Session, sheet_id: int) -> tuple[Look, ...]:
    """The looks at a sheet, the newest first; one that was taken back is not among them."""
    found: dict[int, list[Mark]] = {}
    mine = (
        select(FINDING)
        .join(INSPECTION, INSPECTION.c.id == FINDING.c.inspection_id)
        .where(INSPECTION.c.sheet_id == sheet_id)
    )
    for row in session.execute(mine.order_by(FINDING.c.id)):
        found.setdefault(row.inspection_id, []).append(_mark(row))
    looks = (
        select(INSPECTION)
        .where(INSPECTION.c.sheet_id == sheet_id)
        .order_by(INSPECTION.c.inspected_at.desc(), INSPECTION.c.id.desc())
    )
    return tuple(Look(row.inspected_at, LOOK_WORDS.get(row.outcome, row.outcome.replace("-", " ")), tuple(found.get(row.id, ())))
                 for row in session.execute(looks))  # fmt: skip


def _mark(row: Any) -> Mark:
    return Mark(row.kind, row.at_x, row.at_y, row.note or "")
