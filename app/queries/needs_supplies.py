"""Lines about supplies: of which there is less than the line below which they are ordered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Change, Supply, SupplyEntry
from app.domain.language import say
from app.domain.supplies import with_unit
from app.queries.need import Asked, Need, NeedKind
from app.queries.supplies import SupplyLine, supplies

# The log is read from each last count on, which may be half a year ago: a few sheets more or less do not matter, so it is
# read anew only so often, and whenever something was written of a supply or a rule was changed.
READ_EVERY = timedelta(minutes=10)
_MARK = select(
    select(func.count()).select_from(Supply).where(Supply.closed_at.is_(None)).scalar_subquery(),
    select(func.coalesce(func.max(SupplyEntry.id), 0)).scalar_subquery(),
    select(func.coalesce(func.max(Change.id), 0)).scalar_subquery(),
)


@dataclass(frozen=True, slots=True)
class Low:
    """What was found below its line, at which moment, and by which state of the supplies."""

    mark: tuple[int, ...]
    at: datetime
    lines: tuple[SupplyLine, ...]


def supply_low(asked: Asked, kind: NeedKind) -> list[Need]:
    """Supplies of which there is less than their line: the manager orders them, or counts what there really is."""
    return [_need(kind, line) for line in _low(asked.session, asked)]


def _low(session: Session, asked: Asked) -> tuple[SupplyLine, ...]:
    mark, now = tuple(session.execute(_MARK).one()), asked.judged.now
    if not mark[0]:
        return ()
    kept = session.info["database"].kept
    known: Low | None = kept.get("supplies below their lines")
    if known is None or known.mark != mark or not timedelta(0) <= now - known.at < READ_EVERY:
        found = tuple(line for line in supplies(session, now, asked.judged.calendar.zone) if line.is_below)
        known = kept["supplies below their lines"] = Low(mark, now, found)
    return known.lines


def _need(kind: NeedKind, line: SupplyLine) -> Need:
    assert line.now is not None
    there = with_unit(max(line.now.on_hand, Fraction(0)), line.unit)
    what = say("{there} on hand, ordered below {below:,}", there=there, below=line.order_below)
    return Need(
        kind.name, line.name, what, None, kind.do, "supply", str(line.supply_id), "", about=f"supply {line.supply_id}"
    )
