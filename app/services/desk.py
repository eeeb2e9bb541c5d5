"""One scan at one desk: who is there, when it happened, and which house rules hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, func, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Attendance, CalendarDay, Change, HouseRule, NumberPattern, SignOff, Station, Worker, table_of
from app.domain.attempt import WorkerFacts
from app.domain.calendar import Calendar
from app.domain.house import House, with_values
from app.domain.numbers import Pattern
from app.domain.stages import Step

STATION = table_of(Station)
WORKER = table_of(Worker)

_STATION_BY_ID = select(STATION).where(STATION.c.id == bindparam("station"))
_VERSIONS = select(
    select(func.coalesce(func.max(HouseRule.version), 0)).scalar_subquery(),
    select(func.coalesce(func.max(Change.id), 0)).scalar_subquery(),
)
_WORKER_COLUMNS = (WORKER.c.id, WORKER.c.number, WORKER.c.name, WORKER.c.rights, WORKER.c.retired_at)
_WORKERS = select(*_WORKER_COLUMNS).where(WORKER.c.id.in_(bindparam("ids", expanding=True)))
_SIGNED_IN = (
    select(*_WORKER_COLUMNS, Attendance.beside_id)
    .join(Attendance, Attendance.worker_id == WORKER.c.id)
    .where(Attendance.station_id == bindparam("station"), Attendance.signed_out_at.is_(None))
    .order_by(Attendance.id)
)
_SIGNED_OFF = select(SignOff.step).where(SignOff.worker_id == bindparam("worker"), SignOff.ended_at.is_(None))


@dataclass(frozen=True, slots=True)
class Occasion:
    """When a request is handled: now, in which zone it is said, and whether the computer's clock is in doubt."""

    now: datetime
    zone: ZoneInfo
    clock_doubtful: bool = False


@dataclass(frozen=True, slots=True)
class ScanRequest:
    """What a station or a script sends. `worker_ids` is None for those signed in at the station.

    `manages` is set by the door, never by the sender: the request comes from a manager.
    """

    scan_id: str
    code: str
    station_id: int | None = None
    worker_ids: tuple[int, ...] | None = None
    step: Step | None = None
    stack: str = ""
    cabinet: str = ""
    shelf: str = ""
    facts: Mapping[str, Any] = field(default_factory=dict)
    early: bool = False
    already_done: bool = False
    reason: str = ""
    held: int = 0
    happened_at: datetime | None = None
    token_id: int | None = None
    manages: bool = False


@dataclass(slots=True)
class Desk:
    """One request as the services handle it. `keeps` gathers what the station has in hand afterwards."""

    session: Session
    occasion: Occasion
    request: ScanRequest
    house: House
    patterns: tuple[Pattern, ...]
    station: RowMapping | None
    by: tuple[WorkerFacts, ...]
    beside: tuple[WorkerFacts, ...]
    happened_at: datetime
    time_from: str = "server"
    is_late: bool = False
    keeps: dict[str, Any] = field(default_factory=dict)
    written: list[int] = field(default_factory=list)
    _calendar: Calendar | None = None

    @property
    def now(self) -> datetime:
        """The moment of recording."""
        return self.occasion.now

    @property
    def calendar(self) -> Calendar:
        """The room's calendar, read when it is first needed."""
        if self._calendar is None:
            self._calendar = room_calendar(self.session, self.house, self.occasion.zone)
        return self._calendar

    @property
    def station_id(self) -> int | None:
        """The station's row, if the request comes from one."""
        return self.station["id"] if self.station else None

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps that are done at this station."""
        return tuple(Step(step) for step in self.station["steps"]) if self.station else ()

    def in_hand(self, name: str) -> Any:
        """What the station has in hand: a stack, a shelf, a pending question."""
        if name in self.keeps:
            return self.keeps[name]
        return self.station[name] if self.station else None

    def keep(self, **values: Any) -> None:
        """Remember something at this station until the next scan."""
        self.keeps.update(values)


def room_house(session: Session) -> tuple[House, tuple[Pattern, ...]]:
    """The house rules in force and the room's number patterns, read again only when either has changed."""
    kept = session.info["database"].kept
    version, changed = session.execute(_VERSIONS).one()
    if kept.get("house_key") != (version, changed):
        kept["house"] = with_values(_values(session), version)
        kept["patterns"] = _patterns(session)
        kept["house_key"] = (version, changed)
    return kept["house"], kept["patterns"]


def room_calendar(session: Session, house: House, zone: ZoneInfo) -> Calendar:
    """The room's open days: its weekdays, and the dates set against them."""
    days = session.execute(select(CalendarDay.day, CalendarDay.is_open)).all()
    return Calendar(
        zone,
        house.open_weekdays,
        closed=frozenset(day for day, is_open in days if not is_open),
        opened=frozenset(day for day, is_open in days if is_open),
    )


def station_row(session: Session, station_id: int | None) -> RowMapping | None:
    """The station's row, as it stands."""
    if station_id is None:
        return None
    return session.execute(_STATION_BY_ID, {"station": station_id}).mappings().one_or_none()


def workers_named(session: Session, ids: tuple[int, ...], house: House) -> tuple[WorkerFacts, ...]:
    """The workers with these ids, in the order given; a retired one is left out."""
    rows = {row.id: row for row in session.execute(_WORKERS, {"ids": list(ids)})}
    present = (rows[each] for each in ids if each in rows and rows[each].retired_at is None)
    return tuple(worker_facts(session, row, house) for row in present)


def workers_at(
    session: Session, station_id: int, house: House
) -> tuple[tuple[WorkerFacts, ...], tuple[WorkerFacts, ...]]:
    """Those signed in at a station: who does the work, and who teaches beside them."""
    rows = session.execute(_SIGNED_IN, {"station": station_id}).all()
    teachers = {row.beside_id for row in rows if row.beside_id}
    facts = [worker_facts(session, row, house) for row in rows]
    doing = tuple(each for each in facts if each.worker_id not in teachers)
    return doing, tuple(each for each in facts if each.worker_id in teachers)


def worker_facts(session: Session, row: Any, house: House) -> WorkerFacts:
    """A worker's rights and, where the house asks for them, sign-offs."""
    signed = session.execute(_SIGNED_OFF, {"worker": row.id}).scalars() if house.sign_offs else ()
    return WorkerFacts(row.id, row.number, row.name, frozenset(row.rights.split()), frozenset(signed))


def keep_at_station(desk: Desk) -> None:
    """Write down what the station has in hand now, and that it was heard from."""
    if desk.station is None:
        return
    values: dict[str, Any] = {**desk.keeps, "seen_at": desk.now}
    if desk.request.held == 0:
        values["clear_at"] = desk.now
    desk.session.execute(update(STATION).where(STATION.c.id == desk.station_id).values(**values))


def _values(session: Session) -> dict[str, int]:
    rows = session.execute(select(HouseRule.name, HouseRule.value).order_by(HouseRule.version))
    return {row.name: row.value for row in rows}


def _patterns(session: Session) -> tuple[Pattern, ...]:
    rows = session.execute(select(NumberPattern.prefix, NumberPattern.width, NumberPattern.has_check))
    return tuple(Pattern(row.prefix, row.width, row.has_check) for row in rows)
