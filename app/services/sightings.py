"""What a scan leaves behind even where it writes no entry: that a thing was seen, and what was refused where."""

from __future__ import annotations

from typing import Any

from sqlalchemy import insert

from app.db.models import RefusedScan, Sighting, table_of
from app.db.upsert import replacing
from app.domain.answer import Answer
from app.domain.reading import Reading, Unreadable, read
from app.services.desk import Desk
from app.services.facts import sheet_by_number
from app.services.treating import doubt_clean


def keep_refusal(desk: Desk, answer: Answer) -> None:
    """Keep a refused scan without the person; its text only where it is a code and cannot well be a password."""
    sheet_id = seen(desk, answer.sheet.number) if answer.sheet is not None else None
    reading: Reading = read(desk.request.code, desk.patterns)
    values: dict[str, Any] = {
        "refused_at": desk.now, "station_id": desk.station_id, "step": answer.step or None,
        "codes": " ".join(str(refusal["code"]) for refusal in answer.refusals), "sheet_id": sheet_id,
        "kept": reading.kept if isinstance(reading, Unreadable) else None, "length": len(desk.request.code),
    }  # fmt: skip
    desk.session.execute(insert(table_of(RefusedScan)), values)
    doubt_clean(desk, answer)


def seen(desk: Desk, number: str) -> int | None:
    """Write down that a sheet was seen here; its row, if there is such a sheet."""
    row = sheet_by_number(desk.session, number)
    if row is None:
        return None
    statement = replacing(
        desk.session.get_bind().dialect.name, table_of(Sighting), ("seen_at", "station_id", "worker_id")
    )
    worker = desk.by[0].worker_id if desk.by else None
    values = {"subject_kind": "sheet", "subject_id": row["id"], "seen_at": desk.happened_at, "station_id": desk.station_id,
              "worker_id": worker}  # fmt: skip
    desk.session.execute(statement, values)
    return int(row["id"])
