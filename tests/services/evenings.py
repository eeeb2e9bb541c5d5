"""Evenings and mornings for the tests: what can be left in a room overnight, one thing of each kind or as it comes."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from sqlalchemy import insert, update

from app.db.engine import reading, transaction
from app.db.models import CalendarDay, FreezerLoad, Station, table_of
from app.domain.answer import Answer
from app.domain.stages import Step
from app.queries.closing import ClosingView, closing_view
from app.queries.morning import MorningView, morning_view
from app.queries.room_day import DayPart
from app.services import room as setting_up
from app.services.people import enrol_station
from tests.room import Room
from tests.services.days import card, done


def closing_said(room: Room, at: str = "press", **more: Any) -> Answer:
    """The closing card, scanned at a station; a minute apart from any other scan of it."""
    room.wait(minutes=1)
    return room.scans(card("closing"), at, **more)


def morning_said(room: Room, at: str = "press") -> Answer:
    room.wait(minutes=1)
    return done(room.scans(card("morning"), at))


def closing_of(room: Room) -> ClosingView:
    with reading(room.database) as session:
        return closing_view(session, room.now, room.zone)


def morning_of(room: Room) -> MorningView:
    with reading(room.database) as session:
        return morning_view(session, room.now, room.zone)


def line_with(answer: Answer, head: str) -> str:
    """The one line of a card under a head; empty when it says nothing of it."""
    found = [line for line in answer.lines if line.startswith(f"{head}: ")]
    assert len(found) <= 1, found
    return found[0] if found else ""


def as_on_a_card(part: DayPart, tell: Callable[[datetime], str]) -> str:
    """What a card would say of a part of a page: rebuilt from the lines of the page, which reads for itself."""
    names = []
    for line in part.lines[:5]:
        beside = line.before + (tell(line.at) if line.at is not None else "") + line.after
        names.append(f"{line.name} ({beside})" if beside else line.name)
    rest = len(part.lines[5:]) + part.more
    return f"{part.head}: {', '.join(names)}{f' and {rest} more' if rest else ''}. {part.do}"


def names_in(line: str) -> list[str]:
    """The sheets and stacks that a line of a card names."""
    return re.findall(r"TQX \d{6}·\w|\bP\d\b", line)


def closed_on(room: Room, *days: date) -> None:
    """Dates on which the room is closed against its weekday."""
    rows = [{"day": day, "is_open": False, "why": "a holiday"} for day in days]
    with transaction(room.database) as session:
        session.execute(insert(table_of(CalendarDay)), rows)


def load(room: Room, name: str, **values: Any) -> None:
    """A freezer load; nothing is scanned for it yet."""
    with transaction(room.database) as session:
        session.execute(insert(table_of(FreezerLoad)).values(code=room.next_id(), name=name, **values))


def enrolled(room: Room, slug: str) -> None:
    """The station has a browser of its own from now on."""
    with transaction(room.database) as session:
        enrol_station(session, room.station[slug], room.worker["hedda"], room.now)


def dry_in(room: Room, bundle: str, count: int = 1, method: str = "unheated") -> list[str]:
    """Fresh plants, laid to dry in a new bundle that is put away afterwards."""
    with transaction(room.database) as session:
        setting_up.add_bundle(session, bundle)
    room.wait(minutes=1)
    room.scans(room.code("bundle", bundle), "intake")
    numbers = [room.new_number() for _ in range(count)]
    for number in numbers:
        done(room.scans(number, "intake", step=Step.TAKE_IN))
    for number in numbers:
        done(room.scans(number, "drying", step=Step.LAY_TO_DRY, facts={"drying": method}))
    with transaction(room.database) as session:
        session.execute(update(Station).where(Station.slug == "intake").values(bundle_id=None))
    return numbers


def on_table(room: Room, table: str = "table-1") -> str:
    """A sheet taken up and neither glued nor put back."""
    number = room.sheet_ready()
    done(room.scans(number, table, step=Step.TAKE_UP))
    return number


def everybody_leaves(room: Room) -> None:
    """The card "done", at every station."""
    room.wait(minutes=1)
    for slug in room.station:
        done(room.scans(card("done"), slug))
