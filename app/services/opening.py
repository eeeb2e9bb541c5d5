"""Opening a desk for one request: who is there, and whether the time that it names may be believed."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.rules import room_house
from app.domain.attempt import WorkerFacts
from app.domain.errors import Refusal
from app.domain.house import House
from app.domain.kept import bounds_of
from app.domain.language import say
from app.services.attendance import called_back, leave_if_idle
from app.services.desk import UNCERTAIN, Desk, Occasion, ScanRequest, station_row, workers_at, workers_named
from app.services.hands_then import here_then
from app.services.practice_slips import wrong_room
from app.services.signing import only_reads

Hands = tuple[WorkerFacts, ...]


def open_desk(session: Session, request: ScanRequest, occasion: Occasion) -> tuple[Desk, Refusal | None]:
    """The desk for this request, and the reason why nothing may be written at it, if there is one."""
    house, patterns = room_house(session)
    station = in_use(session, station_row(session, request.station_id), occasion, house)
    refusal = _station_refusal(request, station) or wrong_room(session, station)
    by, beside = _hands(session, request, station, house)
    if request.worker_ids is not None and len(by) != len(set(request.worker_ids)):
        refusal = Refusal(
            "retired-worker", say("A worker who is named has left."), say("Name somebody who works here.")
        )
    told = request.happened_at
    happened_at = told if told is not None and told.tzinfo is not None else occasion.now
    desk = Desk(session, occasion, request, house, patterns, station, by, beside, happened_at)
    refusal = refusal or _believe(desk)
    if refusal is None and desk.told_late and request.worker_ids is None:
        desk.by, desk.beside = _who_was_here(desk)
    return desk, refusal


def in_use(session: Session, station: RowMapping | None, occasion: Occasion, house: House) -> RowMapping | None:
    """The station as it is found: whoever was idle there has gone. A clock in doubt signs nobody out."""
    if station is None or occasion.clock_doubtful or not leave_if_idle(session, station, occasion.now, house):
        return station
    return station_row(session, station["id"])


def _who_was_here(desk: Desk) -> tuple[Hands, Hands]:
    assert desk.station_id is not None
    asked = (desk.session, desk.station_id, desk.happened_at)
    rows = here_then(*asked) or called_back(*asked, desk.now, desk.house)
    teachers = {row.beside_id for row in rows}
    named = [workers_named(desk.session, (row.worker_id,), desk.house) for row in rows]
    hands = [each for found in named for each in found]
    doing = tuple(each for each in hands if each.worker_id not in teachers)
    return doing, tuple(each for each in hands if each.worker_id in teachers)


def _hands(session: Session, request: ScanRequest, station: RowMapping | None, house: House) -> tuple[Hands, Hands]:
    if request.worker_ids is not None:
        named = tuple(dict.fromkeys(request.worker_ids))
        return workers_named(session, named, house), workers_named(session, request.beside_ids, house)
    return workers_at(session, station["id"], house) if station is not None else ((), ())


def _station_refusal(request: ScanRequest, station: RowMapping | None) -> Refusal | None:
    if request.station_id is None or (station is not None and station["closed_at"] is None):
        return None
    return Refusal("unknown-station", say("This station is not in use."), say("Ask the manager to set it up."))


def _believe(desk: Desk) -> Refusal | None:
    told = desk.request.happened_at
    if told is None:
        return None
    if told.tzinfo is None:
        return Refusal(
            "too-old", say("That time has no time zone."), say("Send it with its offset, as 2026-11-25T14:07:00+01:00.")
        )
    if told > desk.now:
        return Refusal(
            "too-old", say("That time has not come yet."), say("Send the scan with the time at which it happened.")
        )
    if desk.request.manages:
        desk.time_from, desk.is_late = "manager", True
        # What is told with its time was work: nobody did it who only looks things up.
        return next((only_reads(each.name) for each in desk.by if each.rights == {"reader"}), None)
    return _believe_station(desk, told)


def _believe_station(desk: Desk, told: datetime) -> Refusal | None:
    clear_at = desk.station["clear_at"] if desk.station else None
    bounds = bounds_of(told, desk.request.not_before, clear_at)
    if bounds is None:
        words = say("That is earlier than this station was last heard of with nothing to send ({clear}).")
        facts = {"clear": clear_at or desk.now}
        return Refusal("too-old", words, say("The manager can write it in as a late entry."), facts=facts)
    desk.time_from = "station"
    if desk.request.not_before is not None:
        desk.time_from, desk.not_before = UNCERTAIN, bounds[0]
    return None
