"""One lot of adhesive: opened when and where, every sheet glued from it in walking order, and how those fared beside others.

And from the other end: with which lot a sheet was glued.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Adhesive, Entry, Lot, LotOpening, Supply, Worker, table_of
from app.domain.findings import LOOK_WORDS, PASSED
from app.domain.language import say
from app.domain.lots import DEED_WORDS, GLUES, NOT_KNOWN, READ, Gluing, Span, lot_of
from app.domain.stages import Step
from app.queries.first_looks import Share, share
from app.queries.gluings import gluings_by_sheet, numbers_of, spans_now, station_names
from app.queries.house import house_now
from app.queries.picks import PickList, picks_of

ENTRY, LOT, OPENING, SUPPLY = table_of(Entry), table_of(Lot), table_of(LotOpening), table_of(Supply)
GLUED = [step.value for step in READ if step in (Step.MOUNT, Step.RE_GLUE, Step.INSPECT)]
# A lot is set beside those in use within a year of it: what was glued long before was glued by others, of other plants.
BESIDE = timedelta(days=365)
_LOTS = (
    select(LOT, SUPPLY.c.name.label("supply"), SUPPLY.c.adhesive_id, Adhesive.name.label("adhesive"))
    .join(SUPPLY, SUPPLY.c.id == LOT.c.supply_id)
    .join(Adhesive, Adhesive.id == SUPPLY.c.adhesive_id)
)


@dataclass(frozen=True, slots=True)
class Opened:
    """A pot of a lot was opened at a station; `until` is None while it is open there. `why` is of what was written up later.

    `stands` is False where another line took its place; such a line has no end of its own.
    """

    opening_id: int
    station: str
    at: datetime
    until: datetime | None
    by: str
    why: str
    stands: bool


@dataclass(frozen=True, slots=True)
class GluedSheet:
    """A sheet glued from a lot: by which deed, when and where, and how the first look at it ended ("" before one)."""

    sheet_id: int
    words: str
    at: datetime
    station: str
    looked: str
    glued_again: bool


@dataclass(frozen=True, slots=True)
class Fared:
    """How gluings fared: passed at the first look, of those that were looked at; and glued again since, of all."""

    glued: int
    passed: Share
    again: Share


@dataclass(frozen=True, slots=True)
class LotPage:
    """One lot. `glued` are its gluings by sheet; `own` how they fared, `others` those of other known lots of the adhesive
    in use within a year of it.
    """

    lot_id: int
    code: str
    number: str
    supply_id: int
    supply: str
    adhesive: str
    label_on: date | None
    added_at: datetime
    ended_at: datetime | None
    opened: tuple[Opened, ...]
    picks: PickList
    glued: dict[str, tuple[GluedSheet, ...]]
    sheets: int
    own: Fared
    others: Fared
    least: int


@dataclass(frozen=True, slots=True)
class GluedWith:
    """One gluing of a sheet for its page: the deed in words, when and where, and its lot; `lot` says so where it is not known."""

    words: str
    at: datetime
    station: str
    adhesive: str
    lot: str
    lot_id: int | None


def lot_page(session: Session, lot_id: int, now: datetime, zone: ZoneInfo) -> LotPage | None:
    """One lot with the sheets that were glued from it; None where there is none."""
    row = session.execute(_LOTS.where(LOT.c.id == lot_id)).one_or_none()
    if row is None:
        return None
    spans, names, least = spans_now(session), station_names(session), house_now(session).first_pass_least
    own = _glued_from(session, {lot_id}, spans)
    sheets = sorted({each.sheet_id for each in own})
    picks = picks_of(session, sheets, now, zone)
    return LotPage(
        row.id, row.code, row.number, row.supply_id, row.supply, row.adhesive, row.label_on, row.added_at, row.ended_at,
        _opened(session, lot_id, spans, names), picks, _by_number(session, own, names), len(sheets), _fared(own, least),
        _fared(_glued_from(session, _beside(spans, lot_id, row.adhesive_id, now), spans), least), least,
    )  # fmt: skip


def lot_rows(found: LotPage) -> Iterator[tuple[str, ...]]:
    """The sheets of a lot as rows of a table for other programs, in walking order; moments in ISO 8601, UTC."""
    yield ("number", "plant", "family", "where", "deed", "at", "station", "first look", "glued again")
    for group in found.picks.groups:
        for line in group.lines:
            for each in found.glued[line.number]:
                yield (line.number, line.plant, line.family, group.where, each.words, each.at.isoformat(), each.station,
                       each.looked, "yes" if each.glued_again else "")  # fmt: skip


def lots_beside(session: Session, lot_id: int) -> tuple[tuple[int, str], ...]:
    """The other lots of the same adhesive, the newest first: id and number."""
    mine = (
        select(SUPPLY.c.adhesive_id)
        .join(LOT, LOT.c.supply_id == SUPPLY.c.id)
        .where(LOT.c.id == lot_id)
        .scalar_subquery()
    )
    found = _LOTS.where(SUPPLY.c.adhesive_id == mine, LOT.c.id != lot_id).order_by(LOT.c.id.desc())
    return tuple((row.id, row.number) for row in session.execute(found))


def lots_of_sheet(session: Session, sheet_id: int) -> tuple[GluedWith, ...]:
    """With which lots a sheet was glued, the first gluing first; nothing for one that was never glued here."""
    mine = gluings_by_sheet(session, [sheet_id]).get(sheet_id, ())
    if not mine:
        return ()
    spans, names = spans_now(session), station_names(session)
    lots = {row.id: row.number for row in session.execute(select(LOT.c.id, LOT.c.number))}
    adhesives = {row.id: row.name for row in session.execute(select(Adhesive.id, Adhesive.name))}
    return tuple(_glued_with(each, lot_of(each, spans), names, adhesives, lots) for each in mine)


def _glued_with(each: Gluing, lot_id: int | None, names: Any, adhesives: Any, lots: Any) -> GluedWith:
    lot = say("lot {number}", number=lots[lot_id]) if lot_id is not None else str(NOT_KNOWN)
    return GluedWith(str(DEED_WORDS[each.deed]), each.at, names.get(each.station_id, ""), adhesives.get(each.adhesive_id, ""),
                     lot, lot_id)  # fmt: skip


def _glued_from(session: Session, lots: Collection[int], spans: Sequence[Span]) -> list[Gluing]:
    """The gluings from these lots: of all that was glued where and while they were open, those whose lot it is."""
    sheets = set[int]()
    for span in spans:
        if span.lot_id in lots:
            within = (
                ENTRY.c.happened_at >= span.begins,
                ENTRY.c.station_id == span.station_id,
                ENTRY.c.step.in_(GLUED),
            )
            asked = select(ENTRY.c.subject_id).where(*within).distinct()
            asked = asked.where(ENTRY.c.happened_at < span.ends) if span.ends is not None else asked
            sheets.update(session.execute(asked).scalars())
    found = gluings_by_sheet(session, sorted(sheets)).values()
    return [gluing for mine in found for gluing in mine if lot_of(gluing, spans) in lots]


def _beside(spans: Iterable[Span], lot_id: int, adhesive_id: int, now: datetime) -> set[int]:
    of_it = [span for span in spans if span.adhesive_id == adhesive_id]
    own = [span for span in of_it if span.lot_id == lot_id]
    if not own:
        return set()
    first = min(span.begins for span in own) - BESIDE
    last = max(span.ends or now for span in own) + BESIDE
    near = {span.lot_id for span in of_it if span.begins <= last and (span.ends or now) >= first}
    return near - {lot_id}


def _fared(gluings: Sequence[Gluing], least: int) -> Fared:
    glued = [each for each in gluings if each.deed in GLUES]
    looked = [each for each in glued if each.looked]
    passed = share(sum(each.looked == PASSED for each in looked), len(looked), least)
    return Fared(len(glued), passed, share(sum(each.glued_again for each in glued), len(glued), least))


def _by_number(session: Session, gluings: Sequence[Gluing], names: Any) -> dict[str, tuple[GluedSheet, ...]]:
    numbers, found = numbers_of(session, [each.sheet_id for each in gluings]), dict[str, list[GluedSheet]]()
    for each in sorted(gluings, key=lambda gluing: (gluing.at, gluing.entry_id)):
        looked = str(LOOK_WORDS.get(each.looked, each.looked))
        told = GluedSheet(
            each.sheet_id, str(DEED_WORDS[each.deed]), each.at, names.get(each.station_id, ""), looked, each.glued_again
        )
        found.setdefault(numbers[each.sheet_id], []).append(told)
    return {number: tuple(mine) for number, mine in found.items()}


def _opened(session: Session, lot_id: int, spans: Sequence[Span], names: Any) -> tuple[Opened, ...]:
    rows = session.execute(
        select(OPENING, Worker.name.label("by")).outerjoin(Worker, Worker.id == OPENING.c.opened_by)
        .where(OPENING.c.lot_id == lot_id, OPENING.c.is_void.is_(False)).order_by(OPENING.c.opened_at.desc(), OPENING.c.id.desc())
    ).all()  # fmt: skip
    replaced = set(session.execute(select(OPENING.c.corrects).where(OPENING.c.corrects.is_not(None))).scalars())
    ends = {(span.station_id, span.begins): span.ends for span in spans if span.lot_id == lot_id}
    return tuple(
        Opened(row.id, names.get(row.station_id, ""), row.opened_at, ends.get((row.station_id, row.opened_at)), row.by or "",
               row.why or "", row.id not in replaced)
        for row in rows
    )  # fmt: skip
