"""A dryer at a desk: its card hangs a bundle in it, and asks what its thermometer shows."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import insert, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Temperature, table_of
from app.domain.answer import Answer, Ask
from app.domain.drying import HEATED, celsius_typed, warmth
from app.domain.errors import Refusal, Refused
from app.domain.freezing import celsius
from app.domain.language import say
from app.domain.sheet import Place
from app.domain.words import age
from app.services.desk import Desk, somebody_is_here
from app.services.drying import bundle_by_id, hang

CABINET, TEMPERATURE = table_of(Cabinet), table_of(Temperature)


def read_dryer(session: Session, dryer_id: int, degrees: float, now: datetime, by: int | None, note: str = "") -> None:
    """Write down what a dryer's thermometer showed, in degrees Celsius."""
    values = {"cabinet_id": dryer_id, "read_at": now, "read_by": by, "celsius": degrees, "note": note.strip() or None}
    session.execute(insert(TEMPERATURE), values)


def scan_dryer(desk: Desk, place: Place) -> Answer | None:
    """A dryer's card was scanned: the bundle in hand hangs in it, or its temperature is asked for; None for any other cabinet.

    With `facts.reading_c` it is what its thermometer shows now. Refused: not-signed-in, misread-number for no temperature.
    """
    mine = (CABINET.c.id == place.cabinet_id, CABINET.c.is_dryer, CABINET.c.closed_at.is_(None))
    row = desk.session.execute(select(CABINET).where(*mine)).mappings().one_or_none()
    if row is None:
        return None
    somebody_is_here(desk)
    by, said = desk.by[0].worker_id, desk.request.facts.get("reading_c")
    if said is not None:
        return _reading_said(desk, row, str(said), by)
    lines: tuple[str, ...] = (_last_read(desk, row),)
    bundle_id = desk.in_hand("bundle_id")
    if bundle_id is not None:
        hang(desk.session, bundle_id, HEATED, row["name"], desk.now, by)
        name = bundle_by_id(desk.session, bundle_id)["name"]
        lines = (say("{name} lies in {dryer}, and dries with heat.", name=name, dryer=row["name"]), *lines)
    ask = Ask("facts.reading_c", say("What does its thermometer show, °C?"), submit=say("Write it"))
    next_ = say("Scan what comes next; or type what its thermometer shows.")
    return Answer("done", f"{row['name']}.", lines, next_, ask=ask, carry={"code": row["code"]})


def _reading_said(desk: Desk, row: RowMapping, said: str, by: int) -> Answer:
    try:
        degrees = celsius_typed(said)
    except ValueError as error:
        raise Refused(Refusal("misread-number", str(error), say("Read it again, and type it."), "which-one")) from error
    read_dryer(desk.session, row["id"], degrees, desk.happened_at, by)
    found = warmth(degrees, desk.house)
    return Answer(
        "done",
        say("Written."),
        (f"{row['name']}: {celsius(degrees)}, {found.words}.",),
        found.do or say("Scan what comes next."),
    )


def _last_read(desk: Desk, row: RowMapping) -> str:
    last = (
        select(TEMPERATURE).where(TEMPERATURE.c.cabinet_id == row["id"]).order_by(TEMPERATURE.c.read_at.desc()).limit(1)
    )
    found = desk.session.execute(last).mappings().one_or_none()
    if found is None:
        return say("Nobody has read its temperature yet.")
    return say(
        "Last read {degrees}, {age} ago.",
        degrees=celsius(found["celsius"]),
        age=age(found["read_at"], desk.now),
    )
