"""What keeps practice and real work apart at the scan: each room knows its own slips, and says so of the other's."""

from __future__ import annotations

from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.rules import foreign_patterns
from app.domain.errors import Refusal
from app.domain.language import say
from app.domain.numbers import Kind
from app.domain.reading import Exact, read
from app.services.desk import Desk


def foreign_slip(desk: Desk) -> Refusal | None:
    """Why a number is not read here that reads right in the other room: a practice slip, or a real sheet at practice."""
    reading = read(desk.request.code, foreign_patterns(desk.session))
    if not isinstance(reading, Exact) or reading.kind is not Kind.SHEET:
        return None
    if desk.session.info["database"].is_practice:
        return Refusal(
            "practice-screen",
            say("This is a practice screen; nothing was written."),
            say("Take the sheet to a real station."),
        )
    return Refusal(
        "practice-slip", say("This is a practice slip; nothing was written."),
        say("Use it at a practice screen. Here scan the slip that lies with the sheet."),
    )  # fmt: skip


def wrong_room(session: Session, station: RowMapping | None) -> Refusal | None:
    """Why nothing is written in this room from this station: it was set to practise, or to real work, a moment ago."""
    if station is None or station["is_practice"] is session.info["database"].is_practice:
        return None
    if station["is_practice"]:
        words = say("{name} is set to practise; nothing was written.", name=station["name"])
        return Refusal(
            "practice-screen", words, say("Take the sheet to a real station, or ask the manager to end the practice.")
        )
    return Refusal(
        "practice-screen",
        say("{name} no longer practises; nothing was written.", name=station["name"]),
        say("Load the page again."),
    )
