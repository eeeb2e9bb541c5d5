"""The gluings of sheets as the standing entries of their logs tell them, and when which pot was open where."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Entry, LotOpening, Sheet, Station, table_of
from app.db.standing import OPENING_STANDS, STANDS
from app.domain.lots import READ, Gluing, Line, Opening, Span, by_sheet, spans_of

ENTRY, OPENING = table_of(Entry), table_of(LotOpening)
AT_ONCE = 400
_LINES = select(ENTRY.c.id, ENTRY.c.subject_id, ENTRY.c.step, ENTRY.c.happened_at, ENTRY.c.station_id, ENTRY.c.facts).where(
    ENTRY.c.subject_kind == "sheet", ENTRY.c.step.in_([step.value for step in READ]), STANDS,
)  # fmt: skip
_OPENINGS = (
    select(OPENING.c.id, OPENING.c.station_id, OPENING.c.adhesive_id, OPENING.c.lot_id, OPENING.c.opened_at)
    .where(OPENING_STANDS)
    .order_by(OPENING.c.id)
)


def gluings_by_sheet(session: Session, sheet_ids: Sequence[int]) -> Mapping[int, tuple[Gluing, ...]]:
    """The gluings of these sheets, by the id of the sheet; one that was never glued here is not among them."""
    found: dict[int, tuple[Gluing, ...]] = {}
    for start in range(0, len(sheet_ids), AT_ONCE):
        rows = session.execute(_LINES.where(ENTRY.c.subject_id.in_(sheet_ids[start : start + AT_ONCE])))
        found |= by_sheet(
            [Line(row.id, row.subject_id, row.step, row.happened_at, row.station_id, row.facts) for row in rows]
        )
    return {sheet: mine for sheet, mine in found.items() if mine}


def spans_now(session: Session) -> tuple[Span, ...]:
    """When each lot was open where, by all that stands of it now."""
    return spans_of(Opening(row.id, row.station_id, row.adhesive_id, row.lot_id, row.opened_at)
                    for row in session.execute(_OPENINGS))  # fmt: skip


def station_names(session: Session) -> dict[int, str]:
    """The names of all stations, closed ones too, by their ids."""
    return {row.id: row.name for row in session.execute(select(Station.id, Station.name))}


def numbers_of(session: Session, sheet_ids: Sequence[int]) -> dict[int, str]:
    """The numbers of these sheets, as they are kept, by their ids."""
    ids, found = sorted(set(sheet_ids)), dict[int, str]()
    for start in range(0, len(ids), AT_ONCE):
        rows = session.execute(select(Sheet.id, Sheet.number).where(Sheet.id.in_(ids[start : start + AT_ONCE])))
        found |= {row.id: row.number for row in rows}
    return found
