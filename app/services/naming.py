"""Names of plants and collectors, many at once: found where they are written already, made where they are new."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Table, insert, select
from sqlalchemy.orm import Session

from app.db.models import Collector, PlantName, table_of
from app.domain.folding import folded, folded_plant
from app.services.near_names import learn

PLANT = table_of(PlantName)
COLLECTOR = table_of(Collector)
Plant = tuple[str, str, str]


@dataclass(slots=True)
class Names:
    """The names met so far, with their rows; what has no name has no row."""

    plants: dict[Plant, int] = field(default_factory=dict)
    collectors: dict[str, int] = field(default_factory=dict)


def learn_plants(session: Session, names: Names, plants: Iterable[Plant]) -> None:
    """Find or make the rows of these plants' names: name, authorship and family as they are written."""
    new = sorted({plant for plant in plants if plant[0]} - names.plants.keys())
    if not new:
        return
    found = select(PLANT).where(PLANT.c.name.in_({plant[0] for plant in new})).order_by(PLANT.c.id.desc())
    here = {(row.name, row.authorship or "", row.family or ""): row.id for row in session.execute(found)}
    made = [plant for plant in new if plant not in here]
    rows = [_plant_row(*plant) for plant in made]
    names.plants.update({plant: here[plant] for plant in new if plant in here})
    row_ids = _made(session, PLANT, rows)
    learn(session, ((row_id, row["search_key"]) for row_id, row in zip(row_ids, rows, strict=True)))
    names.plants.update(zip(made, row_ids, strict=True))


def learn_collectors(session: Session, names: Names, collectors: Iterable[str]) -> None:
    """Find or make the rows of these collectors' names."""
    new = sorted({name for name in collectors if name} - names.collectors.keys())
    if not new:
        return
    found = select(COLLECTOR.c.name, COLLECTOR.c.id).where(COLLECTOR.c.name.in_(new))
    here = {row.name: row.id for row in session.execute(found)}
    made = [name for name in new if name not in here]
    names.collectors.update(here)
    rows = [{"name": name, "search_key": folded(name)} for name in made]
    names.collectors.update(zip(made, _made(session, COLLECTOR, rows), strict=True))


def _plant_row(name: str, authorship: str, family: str) -> dict[str, Any]:
    return {"name": name, "authorship": authorship or None, "family": family or None, "search_key": folded_plant(name)}


def _made(session: Session, table: Table, rows: list[dict[str, Any]]) -> list[int]:
    if not rows:
        return []
    return list(session.execute(insert(table).returning(table.c.id, sort_by_parameter_order=True), rows).scalars())
