"""Verbs of a cabinet check for the tests, and what became of its sheets."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select

from app.db.checked import reckoned
from app.db.engine import reading, transaction
from app.db.models import Cabinet, CabinetCheck, CheckSeen, Entry, Sheet, Shelf, table_of
from app.domain.answer import Answer
from app.domain.checking import Fate, Reckoned
from app.domain.numbers import COMMANDS
from app.domain.sheet import Place
from app.domain.stages import Step
from app.services.checks import begin_check, check_by_id, end_check
from app.services.closed_checks import break_off, close_check, write_there
from app.services.desk import ScanRequest
from app.services.scanning import once
from tests.room import Room

CHECK, SEEN, SHEET = table_of(CabinetCheck), table_of(CheckSeen), table_of(Sheet)


def cabinet_code(room: Room, name: str) -> str:
    """The code on a cabinet's door."""
    with reading(room.database) as session:
        return str(session.execute(select(Cabinet.code).where(Cabinet.name == name)).scalar_one())


def card(room: Room, name: str, at: str, **more: Any) -> Answer:
    """A command card is scanned."""
    return room.scans(COMMANDS[name], at, **more)


def begins(room: Room, place: str, at: str = "filing") -> Answer:
    """The card "check", then the code of a cabinet ("M1") or of a shelf ("M1/2")."""
    asked = card(room, "check", at)
    assert asked.kind == "which-one", asked
    return room.scans(room.code("shelf", place) if "/" in place else cabinet_code(room, place), at)


def place_of(room: Room, name: str) -> Place:
    """The place with this name: "M1", or "M1/2" for a shelf."""
    cabinet, _, shelf = name.partition("/")
    with reading(room.database) as session:
        cabinet_id = session.execute(select(Cabinet.id).where(Cabinet.name == cabinet)).scalar_one()
        found = select(Shelf.id).where(Shelf.cabinet_id == cabinet_id, Shelf.name == shelf)
        return Place(cabinet_id, session.execute(found).scalar_one() if shelf else None)


def draws(room: Room, name: str, many: int, seed: int, who: str = "rosamund", at: str | None = None) -> Answer:
    """A sample is begun on the cabinet's page."""
    place = place_of(room, name)
    return _does(room, lambda desk: begin_check(desk, place, many, seed), f"draw {many} {seed}", who, at)


def closes(room: Room, check_id: int | None = None, who: str = "hedda", why: str = "") -> Answer:
    """The manager closes the newest check, or another."""
    number = check_id or newest(room).id
    return _does(room, lambda desk: close_check(desk, number), f"close {number}", who, reason=why)


def breaks_off(room: Room, why: str, who: str = "hedda") -> Answer:
    """The manager breaks the newest check off."""
    number = newest(room).id
    return _does(room, lambda desk: break_off(desk, number), f"break off {number}", who, reason=why)


def writes_there(room: Room, *numbers: str, who: str = "hedda") -> Answer:
    """The manager writes sheets where the newest check found them."""
    check, ids = newest(room).id, [room.row(number)["id"] for number in numbers]
    return _does(room, lambda desk: write_there(desk, check, ids), f"write {ids}", who)


def says_done(room: Room, who: str = "rosamund") -> Answer:
    """The trainer says on its page that the newest check is through."""
    number = newest(room).id
    return _does(room, lambda desk: end_check(desk, check_by_id(desk, number), surely=True), f"done {number}", who)


def newest(room: Room) -> Any:
    """The row of the check that was begun last."""
    with reading(room.database) as session:
        return session.execute(select(CHECK).order_by(CHECK.c.id.desc())).first()


def fates(room: Room, check_id: int | None = None) -> dict[str, Fate]:
    """What became of each sheet, by number."""
    return {number: each.fate for number, each in told(room, check_id).items()}


def told(room: Room, check_id: int | None = None) -> dict[str, Reckoned]:
    """All that is reckoned of each sheet, by number."""
    with reading(room.database) as session:
        check = session.execute(select(CHECK).where(CHECK.c.id == (check_id or newest(room).id))).one()
        numbers = {row.id: row.number for row in session.execute(select(SHEET.c.id, SHEET.c.number))}
        return {numbers[each.sheet_id]: each for each in reckoned(session, check)}


def kinds_seen(room: Room) -> list[str]:
    """The kinds of the scans of the newest check, as they came."""
    with reading(room.database) as session:
        mine = SEEN.c.check_id == newest(room).id
        return list(session.execute(select(SEEN.c.kind).where(mine).order_by(SEEN.c.id)).scalars())


def cabinet_steps(room: Room) -> list[str]:
    """The steps in the log of cabinets, as they came."""
    with reading(room.database) as session:
        table = table_of(Entry)
        mine = table.c.subject_kind == "cabinet"
        return list(session.execute(select(table.c.step).where(mine).order_by(table.c.id)).scalars())


def shelved(room: Room, number: str, cabinet: str, shelf: str, at: str = "intake") -> Answer:
    """A sheet is put on a shelf by a scan of it."""
    return room.scans(number, at, step=Step.SHELVE, cabinet=cabinet, shelf=shelf)


def _does(room: Room, act: Any, what: str, who: str, at: str | None = None, reason: str = "") -> Answer:
    station_id = room.station[at] if at else None
    request = ScanRequest(
        room.next_id(), "", station_id, worker_ids=(room.worker[who],), reason=reason, manages=who == "hedda"
    )
    with transaction(room.database) as session:
        return once(session, request, room.occasion, act, what)
