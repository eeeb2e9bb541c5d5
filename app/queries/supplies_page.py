"""One supply with its history: every line that was written of it, its counts beside what was reckoned, and its lots."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Change, Lot, SupplyEntry, Worker, table_of
from app.domain.language import mark, say
from app.domain.lots import Span
from app.domain.supplies import CAME, COUNT, KINDS, PACE, TAKEN, THOUSAND, VOID, Compared, amount_said, compare, per_use
from app.queries.gluings import spans_now, station_names
from app.queries.supplies import Reading, SupplyLine, events_of, line_of, supply_at

SUPPLY_ENTRY, CHANGE, LOT = table_of(SupplyEntry), table_of(Change), table_of(Lot)
KIND_WORDS = {COUNT: mark("counted"), CAME: mark("came in"), TAKEN: mark("taken"), VOID: mark("struck out")}
COLUMN_WORDS = {"added": mark("added"), "closed": mark("closed"), "name": mark("name"), "pack": mark("pack"),
                "order_below": mark("order below"), "lead_weeks": mark("weeks to come"), "supplier": mark("supplier")}  # fmt: skip
# So few gluings between two counts say nothing of what one takes (common practice, no source).
LEAST_USES = 20


@dataclass(frozen=True, slots=True)
class SupplyEvent:
    """One line of a supply's history. `stands` is False where another line took its place; `corrects` names the one that
    this line took the place of.
    """

    entry_id: int
    kind: str
    words: str
    amount: Fraction
    at: datetime
    recorded_at: datetime
    by: str
    lot: str
    lot_id: int | None
    supplier: str
    why: str
    stands: bool
    corrects: int | None


@dataclass(frozen=True, slots=True)
class CountLine:
    """A count beside what was reckoned; `a_hundred` is what a hundred gluings took by it, in words, where it can be told."""

    found: Compared
    uses: int
    a_hundred: str


@dataclass(frozen=True, slots=True)
class LotLine:
    """A lot of an adhesive, and at which stations it is open now."""

    lot_id: int
    code: str
    number: str
    label_on: date | None
    added_at: datetime
    ended_at: datetime | None
    open_at: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Changed:
    """A change of what a supply is, or how it is bought."""

    at: datetime
    by: str
    words: str
    old: str
    new: str
    why: str


@dataclass(frozen=True, slots=True)
class SupplyPage:
    """One supply. `takes` says what takes it; `recent` is how many sheets took it in the last eight weeks."""

    line: SupplyLine
    takes: str
    counted_by: str
    uses: int
    recent: int
    history: tuple[SupplyEvent, ...]
    counts: tuple[CountLine, ...]
    lots: tuple[LotLine, ...]
    changes: tuple[Changed, ...]


def supply_page(session: Session, supply_id: int, now: datetime, zone: ZoneInfo) -> SupplyPage | None:
    """One supply with all that is known of it, the newest first; None where there is none."""
    row = supply_at(session, supply_id)
    if row is None:
        return None
    asked, events = Reading(session, now, zone), events_of(session, [supply_id])[supply_id]
    line, history = line_of(asked, row, events), _history(session, supply_id)
    counted = line.now.counted.at if line.now else None
    by = next((each.by for each in history if each.stands and each.kind == COUNT and each.at == counted), "")
    uses = asked.uses(row, counted, now) if counted is not None else 0
    return SupplyPage(line, KINDS[row.kind].takes, by, uses, _recent(asked, row), history, _counts(asked, row, events),
                      lots_of(session, supply_id), _changes(session, supply_id))  # fmt: skip


def lots_of(session: Session, supply_id: int) -> tuple[LotLine, ...]:
    """The lots of a supply, the newest first."""
    spans, names = spans_now(session), station_names(session)
    rows = session.execute(select(LOT).where(LOT.c.supply_id == supply_id).order_by(LOT.c.id.desc()))
    return tuple(LotLine(row.id, row.code, row.number, row.label_on, row.added_at, row.ended_at, _open_at(spans, row.id, names))
                 for row in rows)  # fmt: skip


def _open_at(spans: tuple[Span, ...], lot_id: int, names: dict[int, str]) -> tuple[str, ...]:
    return tuple(names[span.station_id] for span in spans if span.lot_id == lot_id and span.ends is None)


def _recent(asked: Reading, row: Any) -> int:
    return asked.uses(row, asked.now - PACE, asked.now)


def _counts(asked: Reading, row: Any, events: Any) -> tuple[CountLine, ...]:
    found = compare(events, asked.used(row), asked.lying(row))
    return tuple(_count(asked, row, each) for each in reversed(found))


def _count(asked: Reading, row: Any, each: Compared) -> CountLine:
    uses, small = asked.uses(row, each.since, each.at), KINDS[row.kind].small
    if not small or uses < LEAST_USES or each.gone <= 0 or not per_use(row.kind, asked.house):
        return CountLine(each, uses, "")
    a_hundred = Fraction(round(each.gone * row.holds * 100 / uses))
    return CountLine(each, uses, say("{amount} {small}", amount=amount_said(a_hundred), small=small))


def _history(session: Session, supply_id: int) -> tuple[SupplyEvent, ...]:
    rows = session.execute(
        select(SUPPLY_ENTRY, Worker.name.label("by"), LOT.c.number.label("lot"))
        .outerjoin(Worker, Worker.id == SUPPLY_ENTRY.c.entered_by)
        .outerjoin(LOT, LOT.c.id == SUPPLY_ENTRY.c.lot_id)
        .where(SUPPLY_ENTRY.c.supply_id == supply_id)
        .order_by(SUPPLY_ENTRY.c.happened_at.desc(), SUPPLY_ENTRY.c.id.desc())
    ).all()
    replaced = {row.corrects for row in rows}
    return tuple(
        SupplyEvent(row.id, row.kind, KIND_WORDS[row.kind], Fraction(row.thousandths, THOUSAND), row.happened_at,
                    row.recorded_at, row.by or "", row.lot or "", row.lot_id, row.supplier or "", row.why or "",
                    row.id not in replaced and row.kind != VOID, row.corrects)
        for row in rows
    )  # fmt: skip


def _changes(session: Session, supply_id: int) -> tuple[Changed, ...]:
    rows = session.execute(
        select(CHANGE, Worker.name.label("by"))
        .outerjoin(Worker, Worker.id == CHANGE.c.changed_by)
        .where(CHANGE.c.subject == "supply", CHANGE.c.subject_id == supply_id, CHANGE.c.what.in_(COLUMN_WORDS))
        .order_by(CHANGE.c.id.desc())
    )
    return tuple(
        Changed(row.changed_at, row.by or "", COLUMN_WORDS[row.what], row.old or "", row.new or "", row.why or "")
        for row in rows
    )
