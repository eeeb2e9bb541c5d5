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
    HandOver,
    HandOverWord,
    Hazard,
    LotOpening,
    NamedFor,
    PestSeen,
    PutAside,
    SignOff,
    Station,
    SupplyEntry,
    TakenFile,
    TallyDay,
    Temperature,
    Token,
    table_of,
)
from app.db.models.base import Base
from app.domain.language import mark, say
from app.queries.kept_rows import count

# How it is said, in which table, and by which columns.
NAMED: tuple[tuple[str, type[Base], tuple[str, ...]], ...] = (
    (mark("sums of sheets by day and step"), TallyDay, ("worker_id",)),
    (mark("times at a station of somebody who learned beside them"), Attendance, ("beside_id",)),
    (mark("sign-offs of others that they gave or ended"), SignOff, ("signed_by", "ended_by")),
    (mark("hazards that they told or cleared"), Hazard, ("said_by", "cleared_by")),
    (mark("times that they were named for work with suspected sheets"), NamedFor, ("worker_id",)),
    (mark("times that they named somebody for that work, or ended it"), NamedFor, ("named_by", "ended_by")),
    (mark("pests that they saw, or closed"), PestSeen, ("seen_by", "closed_by")),
    (mark("cabinet checks that they began or closed"), CabinetCheck, ("begun_by", "closed_by")),
    (mark("scans of cabinet checks"), CheckSeen, ("worker_id",)),
    (mark("temperatures that they read"), Temperature, ("read_by",)),
    (mark("files that they took in"), TakenFile, ("sent_by",)),
    (mark("ways to read columns that they set"), ColumnMap, ("kept_by",)),
    (mark("lines that they put aside or took back"), PutAside, ("aside_by", "ended_by")),
    (mark("moves in question that they settled"), Doubt, ("settled_by",)),
    (mark("counts and deliveries of supplies that they entered"), SupplyEntry, ("entered_by",)),
    (mark("pots of adhesive that they opened"), LotOpening, ("opened_by",)),
    (mark("keys for scripts that act for them"), Token, ("worker_id",)),
    (mark("hand-overs to the catalogue that they made"), HandOver, ("made_by",)),
    (mark("hand-overs of which they wrote who took them, or that they called back"), HandOverWord, ("said_by",)),
    (mark("stations that they set up"), Station, ("enrolled_by",)),
)


def elsewhere(session: Session, worker_id: int) -> tuple[tuple[str, int], ...]:
    """How often they are named in these tables: what it is, and how many rows; nothing for none."""
    found = ((words, _count(session, table_of(model), columns, worker_id)) for words, model, columns in NAMED)
    return tuple((say(words), many) for words, many in found if many)


def _count(session: Session, table: Table, columns: tuple[str, ...], worker_id: int) -> int:
    return count(session, or_(*(table.c[name] == worker_id for name in columns)))
