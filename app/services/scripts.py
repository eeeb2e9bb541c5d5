"""What scripts and scanners send: the same deeds as at a station, with people and places called by their names."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

from sqlalchemy import bindparam, func, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Adhesive, Attendance, Stack, Station, Worker, table_of
from app.db.prepared import Question, ask_ahead, prepared
from app.db.rules import room_house
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.numbers import Kind
from app.domain.reading import Exact, read
from app.domain.stages import Step
from app.services.ahead import desk_ahead
from app.services.deeds import give_number, lift_hold, put_hold
from app.services.desk import Desk, Occasion, ScanRequest, station_row
from app.services.opening import in_use
from app.services.people import Holder
from app.services.scanning import act_on_code, answered, once
from app.services.signing import only_reads

STATION = table_of(Station)
WORKER = table_of(Worker)
STACK = table_of(Stack)
_HERE = prepared(
    select(Attendance.worker_id, Attendance.beside_id)
    .where(Attendance.station_id == bindparam("station"), Attendance.signed_out_at.is_(None))
    .order_by(Attendance.id)
)
# What stands at a place whoever works there; what its people have in hand is theirs.
_OF_THE_PLACE = frozenset(
    {"id", "slug", "name", "code", "steps", "adhesive_id", "bulk", "method", "uses", "consignment_id"}
)


@dataclass(frozen=True, slots=True)
class Sent:
    """A request as a script sent it. Its names are looked up only once it is known that it was not answered before."""

    request: ScanRequest
    station: str = ""
    workers: tuple[str, ...] | None = None
    beside: str = ""


def answer_once(session: Session, sent: Sent, holder: Holder, occasion: Occasion,
                act: Callable[[Desk], Answer] | None = None) -> Answer:  # fmt: skip
    """Answer a script's request, and the same id again with the stored answer; a refusal is an answer too.

    A station's key names only workers who are signed in there, a manager's anybody. Refused: scan-id-reused.
    """
    ask_ahead(session, _ahead(session, sent, holder))
    if (kept := answered(session, sent.request)) is not None:
        return kept
    try:
        _rest(session, sent, holder, occasion)
        request = _named(session, sent, holder)
    except Refused as refused:
        # Whose time it was is not known, so nothing is said of that.
        return once(session, replace(sent.request, happened_at=None), occasion, _refusing(refused), is_new=True)
    return once(session, request, occasion, act or act_for_script, is_new=True)


def _ahead(session: Session, sent: Sent, holder: Holder) -> Iterator[Question]:
    yield from desk_ahead(session, sent.request, holder.station_id)
    yield _HERE, {"station": holder.station_id}


def act_for_script(desk: Desk) -> Answer:
    """Do what a script asks for, at the station that it names."""
    if desk.request.early and not desk.request.manages:
        words = say("Only a manager's key lets a sheet out before its time.")
        raise Refused(Refusal("manager-only", words, say("Leave it in its stack.")))
    if not desk.request.manages:
        return _deed(desk)
    _stand_there(desk)
    try:
        return _deed(desk)
    finally:
        # What the people of that station have in hand is not touched by a script of the manager.
        desk.station, desk.keeps = None, {}


def stack_card(session: Session, said: str, on: bool) -> str | None:
    """The code on this side of a stack's card, by the stack's name or by either code; None for no such stack."""
    reading = read(said, room_house(session)[1])
    code = reading.text if isinstance(reading, Exact) else said
    mine = (STACK.c.name == said) | (STACK.c.code_on == code) | (STACK.c.code_off == code)
    side = STACK.c.code_on if on else STACK.c.code_off
    found: str | None = session.execute(select(side).where(mine, STACK.c.closed_at.is_(None))).scalar()
    return found


def station_named(session: Session, said: str) -> int:
    """The station with this short name, name or code; refused with unknown-station."""
    mine = (STATION.c.slug == said) | (STATION.c.name == said) | (STATION.c.code == said)
    found: int | None = session.execute(select(STATION.c.id).where(mine)).scalar()
    if found is None:
        words = say("There is no station called {name}.", name=said)
        raise Refused(Refusal("unknown-station", words, say("Look its name up on the stations page.")))
    return found


def _refusing(refused: Refused) -> Callable[[Desk], Answer]:
    def act(_desk: Desk) -> Answer:
        raise refused

    return act


def _rest(session: Session, sent: Sent, holder: Holder, occasion: Occasion) -> None:
    """Whoever is idle at the station has gone before it is asked who is there."""
    if holder.scope != "manage" and sent.workers is not None:
        station = station_row(session, holder.station_id)
        in_use(session, station, occasion, room_house(session)[0])


def _named(session: Session, sent: Sent, holder: Holder) -> ScanRequest:
    manages = holder.scope == "manage"
    station_id = _station_id(session, sent.station, holder)
    here = {row[0]: row[1] for row in session.execute(_HERE, {"station": station_id})}
    allowed = None if manages else here
    beside = _workers(session, filter(None, [sent.beside]), allowed)
    by = _unnamed(holder, here, beside)
    if sent.workers is not None:
        by = _workers(session, sent.workers, allowed)
        beside = beside or _teachers(here, by)
    request = replace(sent.request, facts=_facts(session, sent.request.facts))
    return replace(request, station_id=station_id, worker_ids=by, beside_ids=beside, manages=manages)


def _teachers(here: Mapping[int, int | None], by: tuple[int, ...]) -> tuple[int, ...]:
    """Whom those who are named learn from at the station where they are signed in."""
    beside = (here.get(worker_id) for worker_id in by)
    return tuple(each for each in beside if each is not None and each not in by)


def _unnamed(holder: Holder, here: Mapping[int, int | None], beside: tuple[int, ...]) -> tuple[int, ...] | None:
    """Whose hands it was when nobody is named: the manager whose key it is, or those signed in at the station."""
    if holder.scope == "manage":
        return (holder.worker_id,) if holder.worker_id is not None else ()
    return tuple(each for each in here if each not in beside) if beside else None


def _station_id(session: Session, said: str, holder: Holder) -> int | None:
    if not said:
        return holder.station_id
    found = station_named(session, said)
    if holder.scope != "manage" and found != holder.station_id:
        raise Refused(
            Refusal(
                "unknown-station", say("This key is not for {name}.", name=said), say("Use the key of that station.")
            )
        )
    return found


def _workers(session: Session, numbers: Iterable[str], allowed: Mapping[int, int | None] | None) -> tuple[int, ...]:
    return tuple(dict.fromkeys(_worker(session, number, allowed) for number in numbers))


def _worker(session: Session, number: str, allowed: Mapping[int, int | None] | None) -> int:
    mine = func.upper(WORKER.c.number) == number.strip().upper()
    row = session.execute(select(WORKER.c.id, WORKER.c.name, WORKER.c.rights).where(mine)).one_or_none()
    if row is None:
        words = say("There is no worker with the number {number} here.", number=number)
        raise Refused(Refusal("unknown-worker", words, say("Look the number up on the people page.")))
    if allowed is not None and row.id not in allowed:
        words = say("{number} is not signed in at this station.", number=number)
        raise Refused(Refusal("not-signed-in", words, say("Scan the badge there first.")))
    if row.rights == "reader":
        raise Refused(only_reads(row.name))
    return int(row.id)


def _facts(session: Session, facts: Mapping[str, Any]) -> dict[str, Any]:
    """Facts with every name in them as the room keeps it; an adhesive or a number that is not here is refused."""
    named = dict(facts)
    if "adhesive" in facts:
        found = select(Adhesive.id).where(Adhesive.code == facts["adhesive"], Adhesive.ended_at.is_(None))
        if session.execute(found).scalar() is None:
            words = say("The room's list has no adhesive {adhesive}.", adhesive=facts["adhesive"])
            raise Refused(Refusal("unknown-adhesive", words, say("Send the code of one that is on the list.")))
    if "all_but" in facts:
        named["all_but"] = tuple(_number(session, text) for text in facts["all_but"])
    return named


def _number(session: Session, text: str) -> str:
    reading = read(text, room_house(session)[1])
    if isinstance(reading, Exact) and reading.kind is Kind.SHEET:
        return reading.text
    raise Refused(
        Refusal(
            "misread-number",
            say("{text} is not a whole number of a sheet.", text=text),
            say("Read it off the slip again."),
        )
    )


def _stand_there(desk: Desk) -> None:
    if desk.station is not None:
        there = {name: desk.station[name] if name in _OF_THE_PLACE else None for name in desk.station}
        desk.station = cast(RowMapping, there)


def _deed(desk: Desk) -> Answer:
    deed = DEEDS.get(desk.request.step) if desk.request.step else None
    if deed is None:
        return act_on_code(desk)
    if not desk.request.manages:
        raise Refused(Refusal("manager-only", say("This is done with a manager's key only."), say("Ask the manager.")))
    desk.request = replace(desk.request, code=_number(desk.session, desk.request.code))
    return deed(desk)


DEEDS: dict[Step, Callable[[Desk], Answer]] = {
    Step.RENUMBER: lambda desk: give_number(desk, str(desk.request.facts.get("new_number", ""))),
    Step.PUT_HOLD: lambda desk: put_hold(desk, str(desk.request.facts["hold"])),
    Step.LIFT_HOLD: lambda desk: lift_hold(desk, str(desk.request.facts["hold"])),
}
