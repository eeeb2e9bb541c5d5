"""What is said of a sheet that was away and is here again."""

from __future__ import annotations

from sqlalchemy import bindparam, select
from sqlalchemy.engine import RowMapping

from app.db.models import Hold, table_of
from app.db.prepared import prepared
from app.domain.holds import AWAY, OUT
from app.domain.language import say
from app.domain.sheet import Standing
from app.domain.words import said
from app.services.desk import Desk

HOLD = table_of(Hold)
_LAST_OUT = prepared(
    select(HOLD.c.with_whom, HOLD.c.put_at)
    .where(HOLD.c.sheet_id == bindparam("sheet"), HOLD.c.kind == OUT)
    .order_by(HOLD.c.id.desc())
    .limit(1)
)


def back_words(desk: Desk, row: RowMapping, now_stands: Standing) -> tuple[str, ...]:
    """That a sheet was found, or with whom it was and since when; nothing of one that was here, or is still away.

    `row` is the sheet as it stood before.
    """
    ended = (AWAY & set(row["holds"].split())) - now_stands.holds if now_stands.closed_as is None else frozenset()
    return tuple(_was_out(desk, row) if kind == OUT else _was_missing(desk, row) for kind in sorted(ended))


def _was_missing(desk: Desk, row: RowMapping) -> str:
    return say("Found. It was missing; last entry {when}.", when=said(row["last_at"], desk.occasion.zone, desk.now))


def _was_out(desk: Desk, row: RowMapping) -> str:
    out = desk.session.execute(_LAST_OUT, {"sheet": row["id"]}).one()
    since = said(out.put_at, desk.occasion.zone, desk.now)
    if out.with_whom:
        return say("Back. It was out with {whom} since {since}.", whom=out.with_whom, since=since)
    return say("Back. It was out since {since}.", since=since)
