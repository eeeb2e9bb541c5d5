"""What is held: by kind with how many and how old, against the days that the house allows; and the sheets themselves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, and_, case, func, literal, or_, select
from sqlalchemy.orm import Session

from app.db.models import Consignment, Entry, EntryWorker, Hold, Sheet, Worker, table_of
from app.domain.calendar import local_day
from app.domain.holds import HOLDS
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.stages import STEP_WORDS, Step
from app.domain.stalls import Limit, cutoff
from app.domain.words import age
from app.queries.house import patterns_now
from app.queries.lines import LINES, place_of, stage_words
from app.queries.waiting import Judge, judge

SHEET = table_of(Sheet)
HOLD = table_of(Hold)
MOST_LISTED = 300
AT_ONCE = 500
# The first is a term of Darwin Core (TDWG); the others are the room's own.
COLUMNS = (
    "catalogNumber",
    "scientificName",
    "hold",
    "since",
    "openDaysAllowed",
    "isLate",
    "why",
    "withWhom",
    "dueOn",
    "stage",
    "place",
)
_WHO = (
    select(func.min(Worker.name))
    .select_from(Entry)
    .join(EntryWorker, EntryWorker.entry_id == Entry.id)
    .join(Worker, Worker.id == EntryWorker.worker_id)
    .where(Entry.id == HOLD.c.put_entry_id, EntryWorker.role == "did")
    .correlate(HOLD)
    .scalar_subquery()
)
_ROWS = (
    LINES.add_columns(
        HOLD.c.id.label("hold_id"), HOLD.c.kind, HOLD.c.put_at, HOLD.c.why, HOLD.c.with_whom, HOLD.c.due_on
    )
    .add_columns(_WHO.label("by"))
    .join(HOLD, HOLD.c.sheet_id == SHEET.c.id)
    .where(HOLD.c.lifted_at.is_(None), SHEET.c.closed_as.is_(None))
)


@dataclass(frozen=True, slots=True)
class HoldsAsked:
    """Which holds are asked for: of one kind, late ones only, of one stage, of one consignment by its code."""

    kind: str = ""
    late: bool = False
    stage: str = ""
    consignment: str = ""


@dataclass(frozen=True, slots=True)
class KindLine:
    """One kind of hold: what it stops, how many stand, since when the oldest, the open days it may, and how many are late."""

    kind: str
    words: str
    stops: tuple[str, ...]
    do: str
    count: int
    oldest: datetime | None
    oldest_age: str
    days: int
    late: int


@dataclass(frozen=True, slots=True)
class HeldLine:
    """One hold that stands on one sheet; `by` is empty for whoever may not see names."""

    number: str
    shown: str
    plant: str
    family: str
    stage_words: str
    place: str
    kind: str
    words: str
    since: datetime
    age: str
    is_late: bool
    why: str
    by: str
    with_whom: str
    due_on: date | None


@dataclass(frozen=True, slots=True)
class Held:
    """The holds asked for, oldest first, at most so many; `matching` counts all of them."""

    lines: tuple[HeldLine, ...]
    matching: int


def hold_kinds(session: Session, now: datetime, zone: ZoneInfo) -> tuple[KindLine, ...]:
    """Every kind of hold, in the order of the table, with what stands of it."""
    judged = judge(session, now, zone)
    asked = select(HOLD.c.kind, func.count(), func.min(HOLD.c.put_at), func.sum(case((_late(judged), 1), else_=0)))
    standing = asked.join(SHEET, SHEET.c.id == HOLD.c.sheet_id).where(
        HOLD.c.lifted_at.is_(None), SHEET.c.closed_as.is_(None)
    )
    found = {row[0]: row for row in session.execute(standing.group_by(HOLD.c.kind))}
    return tuple(_kind(kind, found.get(kind), judged) for kind in HOLDS)


def held(
    session: Session, asked: HoldsAsked, now: datetime, zone: ZoneInfo, *, by_names: bool, most: int = MOST_LISTED
) -> Held:
    """The holds asked for, the oldest first. ValueError, in a sentence, for a kind or consignment that is not there."""
    judged = judge(session, now, zone)
    where = _asked_for(session, asked, judged)
    rows = session.execute(_ROWS.where(*where).order_by(HOLD.c.put_at, HOLD.c.id).limit(most)).all()
    matching = select(func.count()).select_from(HOLD).join(SHEET, SHEET.c.id == HOLD.c.sheet_id)
    count = session.execute(
        matching.where(HOLD.c.lifted_at.is_(None), SHEET.c.closed_as.is_(None), *where)
    ).scalar_one()
    patterns, late = patterns_now(session), _late_ids(session, [row.hold_id for row in rows], judged)
    return Held(tuple(_line(row, patterns, row.hold_id in late, judged, by_names) for row in rows), int(count))


def hold_rows(session: Session, asked: HoldsAsked, now: datetime, zone: ZoneInfo) -> Iterator[tuple[str, ...]]:
    """The headings, then a row for each hold asked for; names are left out. ValueError comes before the headings."""
    found = held(session, asked, now, zone, by_names=False, most=100_000)
    house = judge(session, now, zone).house
    yield COLUMNS
    for line in found.lines:
        yield (line.number, line.plant, line.kind, line.since.astimezone(zone).isoformat(timespec="seconds"),
               str(getattr(house, HOLDS[line.kind].ages_by)), "yes" if line.is_late else "no", line.why, line.with_whom,
               line.due_on.isoformat() if line.due_on else "", line.stage_words, line.place)  # fmt: skip


def _asked_for(session: Session, asked: HoldsAsked, judged: Judge) -> list[Any]:
    if asked.kind and asked.kind not in HOLDS:
        raise ValueError(say("There is no kind of hold called {kind}.", kind=asked.kind[:40]))
    where: list[Any] = [HOLD.c.kind == asked.kind] if asked.kind else []
    where += [_late(judged)] if asked.late else []
    where += [SHEET.c.stage == asked.stage] if asked.stage else []
    if asked.consignment:
        consignment_id = session.execute(select(Consignment.id).where(Consignment.code == asked.consignment)).scalar()
        if consignment_id is None:
            raise ValueError(say("There is no consignment called {consignment}.", consignment=asked.consignment[:40]))
        where.append(SHEET.c.consignment_id == consignment_id)
    return where


def _late(judged: Judge) -> Any:
    """The condition that a hold has stood too long; what has a day of its own is late after that day."""
    today = local_day(judged.now, judged.calendar.zone)
    return or_(*(_late_of(kind, judged, today) for kind in HOLDS))


def _late_of(kind: str, judged: Judge, today: date) -> Any:
    limit = Limit(open_days=getattr(judged.house, HOLDS[kind].ages_by))
    since = literal(cutoff(limit, judged.now, judged.calendar), HOLD.c.put_at.type)
    by_rule = and_(HOLD.c.due_on.is_(None), HOLD.c.put_at < since)
    return and_(HOLD.c.kind == kind, or_(by_rule, and_(HOLD.c.due_on.is_not(None), HOLD.c.due_on < today)))


def _late_ids(session: Session, ids: Sequence[int], judged: Judge) -> set[int]:
    found: Select[Any] = select(HOLD.c.id).where(_late(judged))
    return {each for at in range(0, len(ids), AT_ONCE)
            for each in session.execute(found.where(HOLD.c.id.in_(ids[at : at + AT_ONCE]))).scalars()}  # fmt: skip


def _kind(kind: str, found: Any, judged: Judge) -> KindLine:
    row = HOLDS[kind]
    stops = tuple(STEP_WORDS[step][0] for step in Step if step in row.stops)
    count, oldest, late = (found[1], found[2], found[3]) if found is not None else (0, None, 0)
    days = getattr(judged.house, row.ages_by)
    return KindLine(
        kind, row.words, stops, row.do, count, oldest, age(oldest, judged.now) if oldest else "", days, int(late or 0)
    )


def _line(row: Any, patterns: Sequence[Any], is_late: bool, judged: Judge, by_names: bool) -> HeldLine:
    return HeldLine(
        row.number, shown(row.number, patterns), row.plant or "", row.family or "", stage_words(row.stage, row.closed_as),
        place_of(row), row.kind, HOLDS[row.kind].words if row.kind in HOLDS else row.kind, row.put_at, age(row.put_at, judged.now),
        is_late, row.why or "", (row.by or "") if by_names else "", row.with_whom or "", row.due_on,
    )  # fmt: skip
