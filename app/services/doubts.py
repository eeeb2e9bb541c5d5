"""Accepted moves that what became known later calls in question: the move stands, and somebody must look at it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import insert, or_, select, update

from app.db.models import Doubt, Entry, Layer, table_of
from app.domain.press import under_weight
from app.domain.sheet import LogEntry, Standing, after, replay
from app.domain.stages import Step
from app.services.desk import Desk
from app.services.facts import stays_and_spans
from app.services.log import standing_entries

DOUBT = table_of(Doubt)
ENTRY = table_of(Entry)
LAYER = table_of(Layer)


def call_in_question(desk: Desk, stack_id: int, by_entry_id: int, since: datetime) -> list[int]:
    """Look again at every take-out that rested on this stack's clock after `since`; return the entries now in doubt.

    One that is no longer short by what has become known is laid to rest.
    """
    touched = select(LAYER.c.sheet_id).where(
        LAYER.c.stack_id == stack_id, or_(LAYER.c.out_at.is_(None), LAYER.c.out_at > since)
    )
    doubted = []
    for sheet_id in sorted(set(desk.session.execute(touched).scalars())):
        doubted += look_again(desk, sheet_id, by_entry_id, since)
    return doubted


def look_again(desk: Desk, sheet_id: int, by_entry_id: int, since: datetime | None) -> list[int]:
    """Call every take-out of one sheet after `since` in question that is short of its minimum by what is known now."""
    doubted = []
    for entry in standing_entries(desk.session, sheet_id):
        if entry.step is not Step.TAKE_OUT or (since is not None and entry.happened_at <= since):
            continue
        row = desk.session.execute(select(ENTRY.c.early_by_s).where(ENTRY.c.id == entry.entry_id)).one()
        short = int(shortfall(desk, sheet_id, entry.entry_id).total_seconds())
        if short > (row.early_by_s or 0):
            _raise_doubt(desk, entry.entry_id, by_entry_id, short)
            doubted.append(entry.entry_id)
        else:
            _lay_doubt_to_rest(desk, entry.entry_id, by_entry_id)
    return doubted


def shortfall(desk: Desk, sheet_id: int, entry_id: int) -> timedelta:
    """How much less than its minimum a sheet had lain when this take-out was written, by what is known now."""
    entries = standing_entries(desk.session, sheet_id)
    before = replay(entry for entry in entries if entry.entry_id < entry_id)
    taken = next(entry for entry in entries if entry.entry_id == entry_id)
    minimum_s = _minimum_known(entries, before)
    if minimum_s is None:
        return timedelta(0)
    stays, spans = stays_and_spans(desk.session, sheet_id, before.glued_at)
    until = taken.happened_at
    lain = under_weight([stay for stay in stays if stay.laid_at < until], spans, until)
    return max(timedelta(seconds=minimum_s) - lain, timedelta(0))


def settle(desk: Desk, sheet_id: int, why: str) -> int:
    """Somebody has looked at a sheet: its open doubts are settled, with what was found; return how many."""
    mine = select(ENTRY.c.id).where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == sheet_id)
    values = {"settled_at": desk.now, "settled_by": desk.by[0].worker_id if desk.by else None, "why": why}
    done = update(DOUBT).where(DOUBT.c.entry_id.in_(mine), DOUBT.c.settled_at.is_(None)).values(**values)
    return len(desk.session.execute(done.returning(DOUBT.c.id)).all())


def _minimum_known(entries: Sequence[LogEntry], before: Standing) -> int | None:
    # Adhesive and bulk may have been put right after the sheet came out, for the gluing that it came out with.
    minimum_s, stands = before.minimum_s, Standing()
    for entry in entries:
        stands = after(stands, entry)
        if stands.glued_at == before.glued_at and stands.minimum_s is not None:
            minimum_s = stands.minimum_s
    return minimum_s


def _raise_doubt(desk: Desk, entry_id: int, by_entry_id: int, short_s: int) -> None:
    open_ = select(DOUBT.c.id).where(DOUBT.c.entry_id == entry_id, DOUBT.c.settled_at.is_(None))
    doubt_id = desk.session.execute(open_).scalar()
    if doubt_id is not None:
        desk.session.execute(update(DOUBT).where(DOUBT.c.id == doubt_id).values(short_s=short_s))
        return
    values = {
        "entry_id": entry_id,
        "by_entry_id": by_entry_id,
        "code": "too-early",
        "short_s": short_s,
        "raised_at": desk.now,
    }
    desk.session.execute(insert(DOUBT), values)


def _lay_doubt_to_rest(desk: Desk, entry_id: int, by_entry_id: int) -> None:
    mine = (DOUBT.c.entry_id == entry_id, DOUBT.c.settled_at.is_(None))
    why = f"by entry {by_entry_id} it had lain long enough"
    desk.session.execute(update(DOUBT).where(*mine).values(settled_at=desk.now, why=why))
