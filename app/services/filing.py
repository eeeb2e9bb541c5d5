"""Filing: what is said at the scan of a sheet that is put in its cabinet, and the room's own order of families."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import bindparam, delete, insert, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.filed_places import Filed, Lies, Likeness, Shelf
from app.db.models import FamilyOrder, PlantName, table_of
from app.db.prepared import prepared
from app.domain.filing_order import begins_folder, key_of, plant_of
from app.domain.language import say, say_n
from app.domain.sheet import Place, Standing
from app.services.changes import changed, reason_given
from app.services.desk import Desk
from app.services.facts import place_words

ORDER, PLANT = table_of(FamilyOrder), table_of(PlantName)
MOST_FAMILIES = 1000
LONGEST_NAME = 80
_PLANT = prepared(select(PLANT.c.name, PLANT.c.family, PLANT.c.search_key).where(PLANT.c.id == bindparam("plant")))


def filed_words(desk: Desk, row: RowMapping, stands: Standing) -> tuple[str, ...]:
    """What to know of a sheet that was just filed: that its like lies elsewhere, that its folder is full, that it is bulky."""
    at: Shelf = (stands.place.cabinet_id or 0, stands.place.shelf_id)
    lines = [say("It is bulky: lay it on top in its folder.")] if stands.bulk == "bulky" else []
    if row["plant_name_id"] is None:
        return tuple(lines)
    plant = desk.session.execute(_PLANT, {"plant": row["plant_name_id"]}).one()
    filed, genus = Filed(desk.session), plant_of(plant.name, plant.family or "").genus
    likeness = Likeness(plant.search_key, genus, plant.family or "")
    lies = filed.like(likeness, but=at)
    if lies is not None and at not in dict(lies.places):
        lines.append(_elsewhere(desk, lies, plant.name, likeness))
    # The sheet itself is among them by now.
    before = filed.of_name(plant.search_key).get(at, 0) - 1
    if begins_folder(before, desk.house.folder_sheets):
        lines.append(
            say_n(
                "Start a new folder: by the log {n} sheet of {plant} lies there already.",
                "Start a new folder: by the log {n} sheets of {plant} lie there already.",
                before,
                plant=plant.name,
            )  # fmt: skip
        )
    return tuple(lines)


def set_families(session: Session, text: str, now: datetime, by: int | None, why: str) -> int:
    """Write the room's own order of families, one a line; an empty list goes by the alphabet again. Gives how many there are.

    ValueError, in a sentence, for a family that stands there twice, a name that is too long, too many, or no reason.
    """
    names = [name for name in (" ".join(line.split()) for line in text.splitlines()) if name]
    why = reason_given(why)
    _may_be_listed(names)
    old = session.execute(select(ORDER.c.family).order_by(ORDER.c.place)).scalars().all()
    session.execute(delete(FamilyOrder))
    rows = [{"family_key": key_of(name), "family": name, "place": place} for place, name in enumerate(names, 1)]
    if rows:
        session.execute(insert(ORDER), rows)
    changed(session, now, by, "filing", None, "order of families", old=_said(old), new=_said(names), why=why)
    return len(names)


def _may_be_listed(names: Sequence[str]) -> None:
    if len(names) > MOST_FAMILIES:
        raise ValueError(say("Name {most:,} families at most.", most=MOST_FAMILIES))
    seen = set[str]()
    for name in names:
        key = key_of(name)
        if not key or len(name) > LONGEST_NAME:
            raise ValueError(say("“{name}” is no name of a family.", name=name[:LONGEST_NAME]))
        if key in seen:
            raise ValueError(say("{name} stands in the list twice.", name=name))
        seen.add(key)


def _said(names: Sequence[str]) -> str:
    if not names:
        return "by the alphabet"
    more = f" and {len(names) - 6:,} more" if len(names) > 6 else ""
    return ", ".join(names[:6]) + more


def _elsewhere(desk: Desk, lies: Lies, name: str, likeness: Likeness) -> str:
    what = {"name": name, "genus": likeness.genus.capitalize(), "family": likeness.family}[lies.by]
    first = place_words(desk.session, Place(*lies.places[0][0]))
    return say(
        "By the log, {plant} lies in {place}. If this is where it belongs, leave it here.", plant=what, place=first
    )
