"""Lists of parcels for the tests: made row by row, imported, and held against every table of the room."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

from app.db.engine import Database, reading, transaction
from app.db.models.base import Base
from app.domain.numbers import mint
from app.services import room as setup
from app.services.intake import ImportDone, ImportPlan, plan_import, run_import
from tests.room import TQX, Room

EXAMPLE = (Path(__file__).resolve().parents[2] / "seed_demo" / "parcel.csv").read_bytes()
HEAD = ("catalogNumber", "scientificName", "scientificNameAuthorship", "family", "recordedBy", "recordNumber", "eventDate",
        "locality", "occurrenceRemarks", "habitat")  # fmt: skip


def number(place: int) -> str:
    """The number at this place of a long row of free ones."""
    return mint(TQX, 50_000 + 2 * place)[1]


def rows(many: int, first: int = 0) -> list[list[str]]:
    """That many rows of plants, with few names and many numbers, as a parcel has them."""
    return [
        [number(place), f"Carex species{place % 70}", "L.", "Cyperaceae", f"Collector {place % 9}", str(place), "2024-06-18",
         f"Quillmoor Fells, place {place % 40}", "", f"flush {place}"]
        for place in range(first, first + many)
    ]  # fmt: skip


def listed(written: list[list[str]], head: tuple[str, ...] = HEAD) -> bytes:
    """A list as a CSV file, in UTF-8 with CRLF."""
    text = io.StringIO(newline="")
    csv.writer(text).writerows([head, *written])
    return text.getvalue().encode()


def consign(room: Room, code: str = "GIFT-1", kind: str = "gift") -> None:
    """A consignment has arrived."""
    with transaction(room.database) as session:
        setup.add_consignment(session, code, f"Parcel {code}", kind=kind)


def plan(room: Room, data: bytes, code: str = "GIFT-1") -> ImportPlan:
    with reading(room.database) as session:
        return plan_import(session, data, code, room.occasion)


def run(room: Room, data: bytes, code: str = "GIFT-1", who: tuple[str, ...] = ("hedda",), **more: Any) -> ImportDone:
    with transaction(room.database) as session:
        return run_import(session, data, code, room.occasion, tuple(room.worker[each] for each in who), **more)


def counts(database: Database) -> dict[str, int]:
    """How many rows every table has."""
    with reading(database) as session:
        return {
            name: session.execute(select(func.count()).select_from(table)).scalar_one()
            for name, table in Base.metadata.tables.items()
        }


def content(database: Database, *tables: str, but: tuple[str, ...] = ()) -> dict[str, list[dict[str, Any]]]:
    """Every row of these tables, without the columns that may differ."""
    found = {}
    with reading(database) as session:
        for name in tables:
            kept = [column for column in Base.metadata.tables[name].columns if column.name not in but]
            found[name] = [dict(row) for row in session.execute(select(*kept)).mappings()]
            found[name].sort(key=lambda row: [str(value) for value in row.values() if not isinstance(value, datetime)])
    return found
