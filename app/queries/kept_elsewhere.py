"""In which other rows a worker is named, and in how many: what the page of what is kept counts without listing."""

from __future__ import annotations

from sqlalchemy import Table, or_
from sqlalchemy.orm import Session

from app.db.models import (
    Attendance,
    CabinetCheck,
    CheckSeen,
    ColumnMap,
    Doubt,
    Hazard,
    NamedFor,
    PestSeen,
    PutAside,
    SignOff,
    Station,
    TakenFile,
    TallyDay,
    Temperature,
    Token,
    table_of,
)
from app.db.models.base import Base
from app.queries.kept_rows import count

# How it is said, in which table, and by which columns.
NAMED: tuple[tuple[str, type[Base], tuple[str, ...]], ...] = (
    ("sums of sheets by day and step", TallyDay, ("worker_id",)),
    ("times at a station of somebody who learned beside them", Attendance, ("beside_id",)),
    ("sign-offs of others that they gave or ended", SignOff, ("signed_by", "ended_by")),
    ("hazards that they told or cleared", Hazard, ("said_by", "cleared_by")),
    ("times that they were named for work with suspected sheets", NamedFor, ("worker_id",)),
    ("times that they named somebody for that work, or ended it", NamedFor, ("named_by", "ended_by")),
    ("pests that they saw, or closed", PestSeen, ("seen_by", "closed_by")),
    ("cabinet checks that they began or closed", CabinetCheck, ("begun_by", "closed_by")),
    ("scans of cabinet checks", CheckSeen, ("worker_id",)),
    ("temperatures that they read", Temperature, ("read_by",)),
    ("files that they took in", TakenFile, ("sent_by",)),
    ("ways to read columns that they set", ColumnMap, ("kept_by",)),
    ("lines that they put aside or took back", PutAside, ("aside_by", "ended_by")),
    ("moves in question that they settled", Doubt, ("settled_by",)),
    ("keys for scripts that act for them", Token, ("worker_id",)),
    ("stations that they set up", Station, ("enrolled_by",)),
)


def elsewhere(session: Session, worker_id: int) -> tuple[tuple[str, int], ...]:
    """How often they are named in these tables: what it is, and how many rows; nothing for none."""
    found = ((words, _count(session, table_of(model), columns, worker_id)) for words, model, columns in NAMED)
    return tuple((words, many) for words, many in found if many)


def _count(session: Session, table: Table, columns: tuple[str, ...], worker_id: int) -> int:
    return count(session, or_(*(table.c[name] == worker_id for name in columns)))
