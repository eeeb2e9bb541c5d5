"""The supplies of the room: what there is of each, how long it lasts, and what is to be ordered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Adhesive, Entry, Supply, SupplyEntry, table_of
from app.db.standing import SUPPLY_STANDS
from app.domain.calendar import MICROSECOND, local_day
from app.domain.house import House
from app.domain.supplies import (
    KINDS,
    NO_OUTLOOK,
    PACE,
    THOUSAND,
    Event,
    Lying,
    Outlook,
    Reckoned,
    Used,
    is_lent,
    outlook,
    packs_to_order,
    per_use,
    reckon,
)
from app.queries.house import house_now
from app.queries.supplies_used import lying_at, use_key, uses_between

SUPPLY, SUPPLY_ENTRY = table_of(Supply), table_of(SupplyEntry)
STANDING = select(SUPPLY_ENTRY).where(SUPPLY_STANDS)
_SUPPLIES = select(SUPPLY, Adhesive.name.label("adhesive")).outerjoin(Adhesive, Adhesive.id == SUPPLY.c.adhesive_id)
_FIRST = select(func.min(Entry.happened_at))


@dataclass(frozen=True, slots=True)
class SupplyLine:
    """One supply. `now` is None until somebody has counted it; amounts are in its unit. `packs` is how many packs an order
    asks for; `is_below` says that there is less than the line below which it is ordered.
    """

    supply_id: int
    kind: str
    kind_words: str
    name: str
    unit: str
    holds: int
    small: str
    adhesive: str
    pack: int
    order_below: int
    lead_weeks: int
    supplier: str
    closed_at: datetime | None
    is_lent: bool
    now: Reckoned | None
    outlook: Outlook
    is_below: bool
    packs: int


class Reading:
    """The log as the supplies ask it, each span read once; by the house rules as they are now."""

    def __init__(self, session: Session, now: datetime, zone: ZoneInfo) -> None:
        self.session, self.now, self.zone = session, now, zone
        self.house: House = house_now(session)
        self._uses: dict[tuple[datetime, datetime], Mapping[str, int]] = {}
        self._lying: dict[datetime, int] = {}

    def uses(self, row: Any, after: datetime, until: datetime) -> int:
        """How many sheets took this supply in a span."""
        span = (after, until)
        if span not in self._uses:
            self._uses[span] = uses_between(self.session, *span)
        return self._uses[span].get(use_key(row.kind, row.adhesive_id), 0)

    def used(self, row: Any) -> Used:
        """What the log used up of this supply, as a function of a span."""
        each = per_use(row.kind, self.house) / row.holds
        return lambda after, until: self.uses(row, after, until) * each if each else Fraction(0)

    def lying(self, row: Any) -> Lying:
        """How many of this supply lay in the stacks, as a function of a moment."""
        return self._lying_at if is_lent(row.kind, self.house) else lambda at: 0

    def _lying_at(self, at: datetime) -> int:
        if at not in self._lying:
            self._lying[at] = lying_at(self.session, at)
        return self._lying[at]


def supplies(session: Session, now: datetime, zone: ZoneInfo) -> tuple[SupplyLine, ...]:
    """The supplies in use, in the order of their kinds, then by name."""
    rows = session.execute(_SUPPLIES.where(SUPPLY.c.closed_at.is_(None))).all()
    asked, events = Reading(session, now, zone), events_of(session, [row.id for row in rows])
    order = list(KINDS)
    lines = [line_of(asked, row, events[row.id]) for row in rows]
    return tuple(sorted(lines, key=lambda line: (order.index(line.kind), line.name.lower())))


def supply_at(session: Session, supply_id: int) -> Any | None:
    """The row of a supply, closed ones too; None where there is none."""
    return session.execute(_SUPPLIES.where(SUPPLY.c.id == supply_id)).one_or_none()


def events_of(session: Session, supply_ids: Iterable[int]) -> dict[int, list[Event]]:
    """What happened to these supplies, by all that stands of it now."""
    found: dict[int, list[Event]] = {supply_id: [] for supply_id in supply_ids}
    for row in session.execute(STANDING.where(SUPPLY_ENTRY.c.supply_id.in_(found)).order_by(SUPPLY_ENTRY.c.id)):
        found[row.supply_id].append(Event(row.kind, row.happened_at, Fraction(row.thousandths, THOUSAND)))
    return found


def line_of(asked: Reading, row: Any, events: list[Event]) -> SupplyLine:
    """One supply as it stands at the moment of the reading."""
    kind = KINDS[row.kind]
    found = reckon(events, asked.now, asked.used(row), asked.lying(row))
    ahead = _ahead(asked, row, found)
    on_hand = found.on_hand if found is not None else Fraction(0)
    packs = packs_to_order(on_hand, row.order_below, ahead.per_week or Fraction(0), asked.house.order_weeks, row.pack)
    return SupplyLine(
        row.id, row.kind, kind.words, row.name, row.unit, row.holds, kind.small, row.adhesive or "", row.pack,
        row.order_below, row.lead_weeks, row.supplier or "", row.closed_at, is_lent(row.kind, asked.house), found, ahead,
        found is not None and on_hand < row.order_below, packs if found is not None else 0,
    )  # fmt: skip


def _ahead(asked: Reading, row: Any, found: Reckoned | None) -> Outlook:
    if found is None:
        return NO_OUTLOOK
    first = asked.session.execute(_FIRST).scalar()
    since = max(asked.now - PACE, first) if first is not None else asked.now
    if since >= asked.now:
        return NO_OUTLOOK
    # A span begins after its first moment, but what was used with the room's first entry is within it.
    spent = asked.used(row)(since - MICROSECOND if since == first else since, asked.now)
    return outlook(found.on_hand, spent, asked.now - since, row.lead_weeks, local_day(asked.now, asked.zone))
