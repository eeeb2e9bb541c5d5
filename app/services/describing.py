"""What a person recognises a sheet by: number, plant, collector's number, and the cautions that travel with it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import bindparam, or_, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Collector, Consignment, Hazard, PlantName, Sheet, table_of
from app.db.prepared import Question, prepared
from app.domain.answer import Described
from app.domain.hazards import CAUTIONS
from app.domain.language import mark, say
from app.domain.numbers import Pattern, shown

SHEET = table_of(Sheet)
PLANT = table_of(PlantName)
COLLECTOR = table_of(Collector)
CONSIGNMENT = table_of(Consignment)
HAZARD = table_of(Hazard)
# Only what is out of the ordinary is said.
_BULKS = {"thin": mark("thin"), "bulky": mark("bulky")}
_NAMES = prepared(
    select(
        SHEET.c.number, SHEET.c.record_number, SHEET.c.locality, SHEET.c.pieces, SHEET.c.bulk, SHEET.c.notes, SHEET.c.part,
        SHEET.c.is_sensitive, SHEET.c.stage, SHEET.c.came_at,
        PLANT.c.name.label("plant"), PLANT.c.family, COLLECTOR.c.name.label("collector"),
        CONSIGNMENT.c.name.label("consignment"),
    )
    .outerjoin(PLANT, PLANT.c.id == SHEET.c.plant_name_id)
    .outerjoin(COLLECTOR, COLLECTOR.c.id == SHEET.c.collector_id)
    .outerjoin(CONSIGNMENT, CONSIGNMENT.c.id == SHEET.c.consignment_id)
    .where(SHEET.c.id == bindparam("sheet"))
)  # fmt: skip
_HAZARDS = prepared(
    select(HAZARD.c.kind)
    .where(
        HAZARD.c.cleared_at.is_(None),
        or_(HAZARD.c.sheet_id == bindparam("sheet"), HAZARD.c.consignment_id == bindparam("consignment")),
    )
    .order_by(HAZARD.c.id)
)


def describing_ahead(row: RowMapping) -> Iterator[Question]:
    """What is asked to describe a sheet."""
    yield _NAMES, {"sheet": row["id"]}
    yield _HAZARDS, {"sheet": row["id"], "consignment": row["consignment_id"]}


def describe(session: Session, row: RowMapping, patterns: Sequence[Pattern]) -> Described:
    """What a person recognises this sheet by. Exact places of sensitive plants are left out."""
    names = session.execute(_NAMES, {"sheet": row["id"]}).one()
    return Described(
        number=names.number,
        shown=shown(names.number, patterns),
        plant=names.plant or "",
        family=names.family or "",
        detail=_detail(names),
        cautions=cautions(session, row["id"], row["consignment_id"]),
        stage=names.stage or "",
        since=names.came_at.isoformat() if names.came_at else "",
    )


def cautions(session: Session, sheet_id: int, consignment_id: int | None) -> tuple[str, ...]:
    """The cautions to read before the folder is opened; each once."""
    return tuple(
        dict.fromkeys(say(CAUTIONS.get(kind, kind)) for kind in hazard_kinds(session, sheet_id, consignment_id))
    )


def hazard_kinds(session: Session, sheet_id: int, consignment_id: int | None) -> Sequence[str]:
    """The kinds of the dangers that stand of a sheet, its own and those of what it came with, in the order they were said."""
    return session.execute(_HAZARDS, {"sheet": sheet_id, "consignment": consignment_id}).scalars().all()


def _detail(names: Any) -> str:
    number = say("no. {number}", number=names.record_number) if names.record_number else ""
    collected = " ".join(filter(None, (names.collector, number)))
    bulk = say(_BULKS.get(names.bulk, ""))
    pieces = say("{count} parts", count=names.pieces) if names.pieces > 1 else ""
    return " · ".join(filter(None, (names.consignment, collected, bulk, pieces)))
