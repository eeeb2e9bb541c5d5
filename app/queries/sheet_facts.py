"""What a sheet's page shows beside its log: holds, hazards, clock, other parts, and what may happen next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import bindparam, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import (
    Adhesive,
    Consignment,
    FormerNumber,
    Hazard,
    Hold,
    Layer,
    PlantName,
    Sheet,
    Sighting,
    Specimen,
    Station,
    Worker,
    table_of,
)
from app.domain.attempt import PressClock
from app.domain.hazards import CAUTIONS
from app.domain.holds import HOLDS
from app.domain.language import say
from app.domain.numbers import Pattern, shown
from app.domain.reading import Exact, read
from app.domain.stages import STEP_WORDS, Step
from app.domain.words import duration
from app.queries.clocks import Glued, clocks_of
from app.queries.house import patterns_now
from app.queries.lines import LINES, place_of, stage_words
from app.queries.press_words import whole_minutes
from app.queries.sheet_log import LogLine, Names

SHEET = table_of(Sheet)
LAYER = table_of(Layer)
_WHOLE = (
    LINES.add_columns(
        PlantName.authorship, Consignment.code.label("consignment_code"), Adhesive.name.label("adhesive"),
        Specimen.sheets.label("parts"), SHEET.c.specimen_id, SHEET.c.part, SHEET.c.consignment_id, SHEET.c.event_date,
        SHEET.c.locality, SHEET.c.is_sensitive, SHEET.c.notes, SHEET.c.without_weight,
        SHEET.c.has_label, SHEET.c.version, SHEET.c.table_id,
    )
    .outerjoin(Adhesive, Adhesive.id == SHEET.c.adhesive_id)
    .outerjoin(Specimen, Specimen.id == SHEET.c.specimen_id)
)  # fmt: skip
_BY_NUMBER = _WHOLE.where(SHEET.c.number == bindparam("number"))
_BY_ID = _WHOLE.where(SHEET.c.id == bindparam("sheet"))
_FORMER = select(FormerNumber.sheet_id).where(FormerNumber.number == bindparam("number"))
_OTHERS = LINES.add_columns(SHEET.c.part).where(
    SHEET.c.specimen_id == bindparam("specimen"), SHEET.c.id != bindparam("sheet")
)


@dataclass(frozen=True, slots=True)
class Part:
    """Another sheet of the same specimen."""

    part: int
    number: str
    shown: str
    stage_words: str
    place: str


@dataclass(frozen=True, slots=True)
class HoldView:
    """A hold on a sheet: since when, why, by whom, what to do about it, and which steps it stops, in words.

    Of a sheet that is out: with whom, and the day on which it is due back, if one was named.
    """

    kind: str
    words: str
    since: datetime
    why: str
    do: str
    stops: tuple[str, ...]
    by: tuple[str, ...]
    with_whom: str
    due_on: date | None


@dataclass(frozen=True, slots=True)
class Clock:
    """A glued sheet's time under weight; `share` of its minimum from 0 to 1, `ready_at` None while no weights press it."""

    under_weight: timedelta
    minimum: timedelta
    ready_at: datetime | None
    share: float
    is_ready: bool
    words: str


def sheet_row(session: Session, number: str) -> Any | None:
    """The joined row of the sheet with this number in any readable spelling, or that once had it; None for neither."""
    reading = read(number, patterns_now(session))
    kept = reading.text if isinstance(reading, Exact) else number
    row = session.execute(_BY_NUMBER, {"number": kept}).one_or_none()
    if row is None:
        former = session.execute(_FORMER, {"number": kept}).scalar()
        row = session.execute(_BY_ID, {"sheet": former}).one_or_none() if former is not None else None
    return row


def former_numbers(session: Session, sheet_id: int, patterns: Sequence[Pattern]) -> tuple[str, ...]:
    """The numbers that a sheet once had, the latest first."""
    mine = select(FormerNumber.number).where(FormerNumber.sheet_id == sheet_id).order_by(FormerNumber.until_at.desc())
    return tuple(shown(number, patterns) for number in session.execute(mine).scalars())


def other_parts(session: Session, row: Any, patterns: Sequence[Pattern]) -> tuple[Part, ...]:
    """The other sheets of the specimen, in their order."""
    if row.specimen_id is None:
        return ()
    found = session.execute(_OTHERS, {"specimen": row.specimen_id, "sheet": row.id}).all()
    return tuple(
        Part(
            each.part,
            each.number,
            shown(each.number, patterns),
            stage_words(each.stage, each.closed_as),
            place_of(each),
        )
        for each in sorted(found, key=lambda each: (each.part, each.number))
    )


def hazards_of(session: Session, row: Any) -> tuple[str, ...]:
    """The kinds of danger that travel with a sheet or its consignment and were not cleared; each once."""
    mine = Hazard.sheet_id == row.id
    if row.consignment_id is not None:
        # Compared with nothing, it would be every danger that travels with no consignment: those of all other sheets.
        mine = or_(mine, Hazard.consignment_id == row.consignment_id)
    found = select(Hazard.kind).where(Hazard.cleared_at.is_(None), mine).order_by(Hazard.id)
    return tuple(dict.fromkeys(session.execute(found).scalars()))


def cautions_of(session: Session, row: Any) -> tuple[str, ...]:
    """The cautions to read before the folder is opened."""
    return tuple(CAUTIONS.get(kind, kind) for kind in hazards_of(session, row))


def holds_of(session: Session, sheet_id: int, log: Mapping[int, LogLine]) -> tuple[HoldView, ...]:
    """The holds on a sheet, the oldest first; who put them is read off the log."""
    found = select(Hold).where(Hold.sheet_id == sheet_id, Hold.lifted_at.is_(None)).order_by(Hold.put_at, Hold.id)
    return tuple(_hold(hold, log.get(hold.put_entry_id)) for hold in session.execute(found).scalars())


def sighting_of(session: Session, sheet_id: int, names: Names) -> tuple[datetime | None, str, tuple[str, ...]]:
    """When, where and by whom a sheet was last seen by a scan that wrote nothing; (None, "", ()) where it never was."""
    found = (
        select(Sighting.seen_at, Station.name.label("station"), Sighting.worker_id, Worker.name.label("worker"))
        .outerjoin(Station, Station.id == Sighting.station_id)
        .outerjoin(Worker, Worker.id == Sighting.worker_id)
        .where(Sighting.subject_kind == "sheet", Sighting.subject_id == sheet_id)
    )
    row = session.execute(found).one_or_none()
    if row is None:
        return None, "", ()
    return row.seen_at, row.station or "", (row.worker,) if row.worker and names.may_show(row.worker_id) else ()


def clock_of(session: Session, row: Any, now: datetime) -> tuple[Clock | None, PressClock | None]:
    """A glued sheet's press clock as it is shown, and as the limits ask for it; None before it was laid in."""
    found = clocks_of(session, [Glued(row.id, row.glued_at, row.minimum_s)], now).get(row.id)
    if found is None:
        return None, None
    lain, needs = found.under_weight, found.minimum
    share = min(lain / needs, 1.0) if needs else 1.0
    words = say(
        "{lain} of {needs} under weight",
        lain=whole_minutes(lain),
        needs=duration(needs.total_seconds()),
    )
    return Clock(lain, needs, found.ready_at, share, not found.remaining, words), found


def place_in_stack(session: Session, row: Any) -> tuple[int | None, str]:
    """Which layer a sheet is, counted from the bottom, and how that is said; (None, "") for one in no stack."""
    if row.stack_id is None:
        return None, ""
    lying = (LAYER.c.stack_id == row.stack_id, LAYER.c.out_at.is_(None))
    below = func.count().filter(LAYER.c.layer <= row.layer)
    place, count = session.execute(select(below, func.count()).select_from(LAYER).where(*lying)).one()
    return place, say(", layer {place} of {count} from the bottom", place=place, count=count)


def _hold(hold: Hold, line: LogLine | None) -> HoldView:
    row = HOLDS.get(hold.kind)
    words, do = (say(row.words), say(row.do)) if row else (hold.kind, "")
    stops = tuple(say(STEP_WORDS[step][0]) for step in Step if row and step in row.stops)
    return HoldView(hold.kind, words, hold.put_at, hold.why or "", do, stops, line.who if line else (),
                    hold.with_whom or "", hold.due_on)  # fmt: skip
