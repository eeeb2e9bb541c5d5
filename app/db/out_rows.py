"""Sheets read off the room's tables as they are told to others, some hundreds at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import BindParameter, bindparam, select
from sqlalchemy.orm import Session

from app.db.models import (
    Bundle,
    Cabinet,
    Collector,
    Consignment,
    Entry,
    FormerNumber,
    PlantName,
    Sheet,
    Shelf,
    Stack,
    Station,
    table_of,
)
from app.domain.calendar import local_iso
from app.domain.out_told import CABINET, SHELF, SINCE, STAGE, WITHDRAWN, Told, disposition
from app.domain.own_columns import OWN, SENSITIVE, YES
from app.domain.stages import Step

SHEET, ENTRY, FORMER = table_of(Sheet), table_of(Entry), table_of(FormerNumber)
# Rows that are read together: few enough that no statement has more values than a database takes.
AT_ONCE = 500
_IDS: BindParameter[int] = bindparam("sheets", expanding=True)
_ROWS = (
    select(
        SHEET.c.id, SHEET.c.number, SHEET.c.record_number, SHEET.c.event_date, SHEET.c.locality, SHEET.c.is_sensitive,
        SHEET.c.pieces, SHEET.c.notes, SHEET.c.kept, SHEET.c.stage, SHEET.c.came_at, SHEET.c.last_at, SHEET.c.holds,
        SHEET.c.closed_as, SHEET.c.unmounted, SHEET.c.specimen_id, SHEET.c.mounted_by, SHEET.c.added_at,
        PlantName.name.label("plant"), PlantName.authorship, PlantName.family, Collector.name.label("collector"),
        Consignment.code.label("consignment"), Cabinet.name.label("cabinet"), Shelf.name.label("shelf"),
        Stack.name.label("stack"), Station.name.label("on_table"), Bundle.name.label("bundle"),
    )
    .select_from(SHEET)
    .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
    .outerjoin(Collector, Collector.id == SHEET.c.collector_id)
    .outerjoin(Consignment, Consignment.id == SHEET.c.consignment_id)
    .outerjoin(Cabinet, Cabinet.id == SHEET.c.cabinet_id)
    .outerjoin(Shelf, Shelf.id == SHEET.c.shelf_id)
    .outerjoin(Stack, Stack.id == SHEET.c.stack_id)
    .outerjoin(Station, Station.id == SHEET.c.table_id)
    .outerjoin(Bundle, Bundle.id == SHEET.c.bundle_id)
    .where(SHEET.c.id.in_(_IDS))
    .order_by(SHEET.c.id)
)  # fmt: skip
_FORMER = select(FORMER.c.sheet_id, FORMER.c.number).where(FORMER.c.sheet_id.in_(_IDS)).order_by(FORMER.c.until_at)
_RENUMBERED = (
    select(ENTRY.c.subject_id, ENTRY.c.facts)
    .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id.in_(_IDS), ENTRY.c.step == Step.RENUMBER)
    .order_by(ENTRY.c.id.desc())
)
_PARTS = (
    select(SHEET.c.specimen_id, SHEET.c.id, SHEET.c.number)
    .where(SHEET.c.specimen_id.in_(bindparam("specimens", expanding=True)))
    .order_by(SHEET.c.part, SHEET.c.id)
)
Parts = Mapping[int, list[tuple[int, str]]]


def told_sheets(session: Session, sheet_ids: Sequence[int], zone: ZoneInfo) -> list[tuple[int, str, Told]]:
    """These sheets by their ids, in their order: each with its key, which stays the same whatever number it is given, and
    what is told of it. Moments have the offset of the room's zone.
    """
    rows = session.execute(_ROWS, {"sheets": list(sheet_ids)}).all() if sheet_ids else []
    parts = _parts(session, rows)
    ids = sorted({row.id for row in rows} | {each for some in parts.values() for each, _ in some})
    former, keys = _former(session, ids), _first_numbers(session, ids)
    return [(row.id, keys.get(row.id, row.number), _told(row, former, keys, parts, zone)) for row in rows]


def _parts(session: Session, rows: Sequence[Any]) -> Parts:
    found: dict[int, list[tuple[int, str]]] = {}
    specimens = sorted({row.specimen_id for row in rows if row.specimen_id is not None})
    if specimens:
        for specimen, sheet_id, number in session.execute(_PARTS, {"specimens": specimens}):
            found.setdefault(specimen, []).append((sheet_id, number))
    return found


def _former(session: Session, ids: Sequence[int]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    for start in range(0, len(ids), AT_ONCE):
        for sheet_id, number in session.execute(_FORMER, {"sheets": ids[start : start + AT_ONCE]}):
            found.setdefault(sheet_id, []).append(number)
    return found


def _first_numbers(session: Session, ids: Sequence[int]) -> dict[int, str]:
    """The number that each sheet was first known by, of those that were given another; entries are never changed."""
    found: dict[int, str] = {}
    for start in range(0, len(ids), AT_ONCE):
        for sheet_id, facts in session.execute(_RENUMBERED, {"sheets": ids[start : start + AT_ONCE]}):
            found[sheet_id] = facts.get("old_number") or found.get(sheet_id, "")
    return {sheet_id: number for sheet_id, number in found.items() if number}


def _told(row: Any, former: Mapping[int, list[str]], keys: Mapping[int, str], parts: Parts, zone: ZoneInfo) -> Told:
    cells = {**_label(row), **_standing(row, zone), **_one_of(row, former.get(row.id, []), keys, parts)}
    kept = {name: str(text) for name, text in (row.kept or {}).items()}
    return Told(
        {name: text for name, text in cells.items() if text}, kept, row.is_sensitive, tuple(row.mounted_by or ())
    )


def _label(row: Any) -> dict[str, str]:
    return {
        "catalogNumber": row.number, "scientificName": row.plant or "", "scientificNameAuthorship": row.authorship or "",
        "family": row.family or "", "recordedBy": row.collector or "", "recordNumber": row.record_number or "",
        "eventDate": row.event_date or "", "locality": row.locality or "", "occurrenceRemarks": row.notes or "",
    }  # fmt: skip


def _standing(row: Any, zone: ZoneInfo) -> dict[str, str]:
    holds = row.holds.split()
    return {
        "basisOfRecord": "PreservedSpecimen", "preparations": row.unmounted or "herbarium sheet",
        "disposition": disposition(row.stage, row.closed_as, holds), "modified": local_iso(row.last_at or row.added_at, zone),
        STAGE: row.stage or "", SINCE: local_iso(row.came_at, zone), CABINET: row.cabinet or "", SHELF: row.shelf or "",
        f"{OWN}place": _place(row), f"{OWN}holds": " ".join(holds), WITHDRAWN: row.closed_as or "",
        f"{OWN}consignment": row.consignment or "", f"{OWN}pieces": str(row.pieces),
        SENSITIVE: YES if row.is_sensitive else "",
    }  # fmt: skip


def _one_of(row: Any, former: list[str], keys: Mapping[int, str], parts: Parts) -> dict[str, str]:
    """Which sheet it is among those of its specimen, and by which numbers it was known."""
    key = keys.get(row.id, row.number)
    mine = parts.get(row.specimen_id, [(row.id, row.number)]) if row.specimen_id is not None else [(row.id, row.number)]
    place = [sheet_id for sheet_id, _ in mine].index(row.id) + 1
    eldest = min(mine)
    others = [keys.get(sheet_id, number) for sheet_id, number in mine if sheet_id != row.id]
    return {
        "occurrenceID": key, "materialEntityID": keys.get(*eldest), "otherCatalogNumbers": " | ".join(former),
        "associatedOccurrences": " | ".join(f'"same specimen":"{each}"' for each in others),
        f"{OWN}part": f"{place} of {len(mine)}" if len(mine) > 1 else "",
    }  # fmt: skip


def _place(row: Any) -> str:
    return str(row.stack or row.on_table or (row.bundle if not row.cabinet else "") or "")
