"""Lines about pests: where one was seen, until the manager has said what was done."""

from __future__ import annotations

from sqlalchemy import select

from app.db.models import Cabinet, Consignment, PestSeen, Sheet, table_of
from app.domain.language import say
from app.domain.numbers import shown
from app.queries.need import Asked, Need, NeedKind

PEST = table_of(PestSeen)
SHEET = table_of(Sheet)
_OPEN = (
    select(PEST, SHEET.c.number, SHEET.c.stage, Cabinet.name.label("cabinet"), Consignment.name.label("consignment"))
    .outerjoin(SHEET, SHEET.c.id == PEST.c.sheet_id)
    .outerjoin(Cabinet, Cabinet.id == PEST.c.cabinet_id)
    .outerjoin(Consignment, Consignment.id == PEST.c.consignment_id)
    .where(PEST.c.closed_at.is_(None))
    .order_by(PEST.c.seen_at, PEST.c.id)
)


def pest_seen(asked: Asked, kind: NeedKind) -> list[Need]:
    """The sightings that nobody has closed; what lives goes on, so none of them can be put aside."""
    found = []
    for row in asked.session.execute(_OPEN):
        subject = shown(row.number, asked.patterns) if row.number else row.consignment or row.cabinet or say("A pest")
        named = row.number or row.consignment or row.cabinet
        told = say(kind.words) if named else say("was seen {what}", what=row.what or "")
        found.append(
            Need(
                kind.name,
                subject,
                _told(told, row.quarantined),
                row.seen_at,
                say(kind.do),
                "pest",
                str(row.id),
                row.stage or "",
                is_grave=True,
            )
        )
    return found


def _told(seen: str, quarantined: int | None) -> str:
    if quarantined:
        return say("{seen}; {count} beside it in quarantine", seen=seen, count=quarantined)
    return say("{seen}; its neighbours are not in quarantine", seen=seen)
