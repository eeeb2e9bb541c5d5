"""One scan at one desk: who is there, when it happened, and which house rules hold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Attendance, SignOff, Station, Worker, table_of
from app.db.prepared import Question, prepared
from app.db.rules import room_calendar
from app.domain.attempt import SignedOff, WorkerFacts
from app.domain.calendar import Calendar
from app.domain.errors import Refusal, Refused
from app.domain.house import House
from app.domain.language import mark, say
from app.domain.numbers import Pattern
from app.domain.stages import Step

STATION = table_of(Station)
WORKER = table_of(Worker)
ATTENDANCE = table_of(Attendance)
SIGN_OFF = table_of(SignOff)
# What an entry says of its time where a station knows it only between two moments.
UNCERTAIN = "station-uncertain"
# A question that somebody walked away from must not be answered by what the next one scans (no source).
QUESTION_STANDS = timedelta(minutes=30)
# What comes next where nobody is signed in, by what was scanned.
THEN_CARD, THEN_SHEET = mark("Scan your badge first, then the card."), mark("Scan your badge first, then the sheet.")

_STATION_BY_ID = prepared(select(STATION).where(STATION.c.id == bindparam("station")))
_KEEP_AT_STATION = prepared(update(STATION).where(STATION.c.id == bindparam("of_station")))
_WORKER_COLUMNS = (WORKER.c.id, WORKER.c.number, WORKER.c.name, WORKER.c.rights, WORKER.c.retired_at)
_WORKERS = prepared(select(*_WORKER_COLUMNS).where(WORKER.c.id.in_(bindparam("ids", expanding=True))))
_SIGNED_IN = prepared(
    select(*_WORKER_COLUMNS, ATTENDANCE.c.beside_id)
    .join(ATTENDANCE, ATTENDANCE.c.worker_id == WORKER.c.id)
    .where(ATTENDANCE.c.station_id == bindparam("station"), ATTENDANCE.c.signed_out_at.is_(None))
    .order_by(ATTENDANCE.c.id)
)
_SIGNED_OFF = prepared(
    select(SIGN_OFF.c.step, SIGN_OFF.c.difficulty, SIGN_OFF.c.signed_at, SIGN_OFF.c.ended_at).where(
        SIGN_OFF.c.worker_id == bindparam("worker")
    )
)


@dataclass(frozen=True, slots=True)
class Occasion:
    """When a request is handled: now, in which zone it is said, and whether the computer's clock is in doubt."""

    now: datetime
    zone: ZoneInfo
    clock_doubtful: bool = False


@dataclass(frozen=True, slots=True)
class ScanRequest:
    """What a station or a script sends. `worker_ids` is None for those signed in at the station.

    `manages` is set by the door, never by the sender: the request comes from a manager. `asked` is what a script sent,
    as it came: where it is given it alone tells one scan from another, since what its names stand for may change.
    With `not_before` the time is uncertain: it was at some moment from then until `happened_at`.
    """

    scan_id: str
    code: str
    station_id: int | None = None
    worker_ids: tuple[int, ...] | None = None
    beside_ids: tuple[int, ...] = ()
    written_by: int | None = None
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
    not_before: datetime | None = None
    token_id: int | None = None
    manages: bool = False
    asked: str = ""


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
    not_before: datetime | None = None
    keeps: dict[str, Any] = field(default_factory=dict)
    written: list[int] = field(default_factory=list)
    _calendar: Calendar | None = None

    @property
    def now(self) -> datetime:
        """The moment of recording."""
        return self.occasion.now

    @property
    def told_late(self) -> bool:
        """Whether the time is what a station says of a scan that it had kept."""
        return self.time_from.startswith("station")

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


def somebody_is_here(desk: Desk, next_: str = THEN_CARD) -> None:
    """Refused: not-signed-in, with what comes next, where nobody says whose hands these are."""
    if not desk.by:
        raise Refused(Refusal("not-signed-in", say("Nobody is signed in here."), say(next_)))


def behind(desk: Desk, last_at: datetime | None) -> Refusal | None:
    """Why nothing may be written of a sheet whose last entry is later than what is to be written; None when it may."""
    if last_at is None or desk.happened_at >= last_at:
        return None
    facts = {"last": last_at}
    if desk.time_from == "server":
        words = say("The computer's clock stands before the last entry of this sheet ({last}).")
        next_ = say("Put the sheet aside and tell the manager: the clock is wrong.")
        return Refusal("clock-behind", words, next_, facts=facts)
    words = say("Something else has happened to this sheet since then ({last}).")
    return Refusal("out-of-order", words, say("Put the sheet aside for the manager."), facts=facts)


def station_ahead(station_id: int) -> Iterator[Question]:
    """What is asked of a station at which something is scanned."""
    yield _STATION_BY_ID, {"station": station_id}
    yield _SIGNED_IN, {"station": station_id}


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
    """A worker's rights and, where the house asks for them, sign-offs, ended ones too: a late entry is of its own day."""
    signed = session.execute(_SIGNED_OFF, {"worker": row.id}) if house.sign_offs else ()
    return WorkerFacts(
        row.id, row.number, row.name, frozenset(row.rights.split()), tuple(SignedOff(*each) for each in signed)
    )


def keep_at_station(desk: Desk) -> None:
    """Write down what the station has in hand now, and that it was heard from."""
    if desk.station is None:
        return
    values: dict[str, Any] = {**desk.keeps, "seen_at": desk.now}
    if desk.request.held == 0:
        values["clear_at"] = desk.now
    desk.session.execute(_KEEP_AT_STATION, {"of_station": desk.station_id, **values})
