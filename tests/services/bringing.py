"""Files brought into the room of a test, as the background or the command does it, without resting in between."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sqlalchemy import select

from app.bringing_in import Bringer
from app.db.engine import reading, transaction
from app.db.models import TakenFile, table_of
from app.queries.files import FileLine, file_by_id
from app.services.files import Sent
from app.services.files_in import withdraw_file
from app.services.intake import ImportDone, digest
from tests.room import Room


class Stopped(BaseException):
    """The program is killed."""


def bringer(room: Room, rest: Callable[[float], None] = lambda seconds: None, **more: Any) -> Bringer:
    return Bringer(room.database, lambda: room.now, room.zone, rest=rest, longest_turn_s=1e9, **more)


def sent(room: Room, data: bytes, code: str = "GIFT-1", **more: Any) -> Sent:
    return Sent("list.csv", digest(data), code, by=room.worker["hedda"], **more)


def bring(room: Room, data: bytes, code: str = "GIFT-1", **more: Any) -> ImportDone:
    return bringer(room).bring(sent(room, data, code, **more), data)


def killed_after(room: Room, data: bytes, turns: int, before: Callable[[], None] = lambda: None) -> int:
    """Begin to bring a file in, and be killed when so many turns are over; return the file."""
    left = [turns]

    def dies(seconds: float) -> None:
        left[0] -= 1
        if not left[0]:
            before()
            raise Stopped

    try:
        bringer(room, dies).bring(sent(room, data), data)
    except Stopped:
        return last_file(room)
    raise AssertionError("It was in before it could be killed.")


def last_file(room: Room) -> int:
    table = table_of(TakenFile)
    with reading(room.database) as session:
        return int(session.execute(select(table.c.id).order_by(table.c.id.desc()).limit(1)).scalar_one())


def file(room: Room, file_id: int = 0) -> FileLine:
    with reading(room.database) as session:
        found = file_by_id(session, file_id or last_file(room))
    assert found is not None
    return found


def withdraws(room: Room, file_id: int, why: str = "the wrong parcel") -> None:
    with transaction(room.database) as session:
        withdraw_file(session, file_id, room.worker["hedda"], why, room.occasion)
