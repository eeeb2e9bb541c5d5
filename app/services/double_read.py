"""A scanner that reads one code twice: the same code again, soon, at one station, is answered as before and writes nothing."""

from __future__ import annotations

from datetime import timedelta

from sqlalchemy import bindparam, select

from app.db.models import Scan, table_of
from app.db.prepared import prepared
from app.domain.answer import Answer, answer_from
from app.services.desk import Desk

SCAN = table_of(Scan)
_LAST_ANSWER = prepared(
    select(SCAN.c.answer).where(SCAN.c.station_id == bindparam("station")).order_by(SCAN.c.id.desc()).limit(1)
)


def double_read(desk: Desk) -> Answer | None:
    """The answer given before, where this is the scanner's double read; None for a scan of its own."""
    station, request = desk.station, desk.request
    if station is None or request.step is not None or request.facts or request.already_done:
        desk.keep(last_code=None)
        return None
    desk.keep(last_code=request.code, last_code_at=desk.happened_at)
    if desk.not_before is not None:
        # Made at an uncertain time: how far apart two of them were, only the station knew.
        return None
    last_at, limit = station["last_code_at"], timedelta(seconds=desk.house.double_read_s)
    if (
        station["last_code"] != request.code
        or last_at is None
        or not timedelta(0) <= desk.happened_at - last_at < limit
    ):
        return None
    kept = desk.session.execute(_LAST_ANSWER, {"station": station["id"]}).scalar()
    return answer_from(kept) if kept else None
