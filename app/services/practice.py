"""Setting a station to practise, and back: from then on what is scanned there goes to the practice room."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import func, insert, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import NumberPattern, Sheet, Station, table_of
from app.domain.language import say, say_n
from app.domain.practice import practice_pattern
from app.services.attendance import ATTENDANCE, NOTHING_IN_HAND, end_times
from app.services.changes import changed
from app.services.desk import station_row

STATION = table_of(Station)
PATTERN = table_of(NumberPattern)
SHEET = table_of(Sheet)
NO_SHELF = {"cabinet_id": None, "shelf_id": None, "last_code": None, "last_code_at": None}


def set_practising(session: Session, station_id: int, on: bool, now: datetime, *, by: int | None) -> None:
    """Set a station to practise, or to real work again; whoever is signed in there is signed out, and signs in anew.

    ValueError for a station that is not in use, and, before it practises, while sheets are taken up there or its browser
    still keeps scans: they would be left behind.
    """
    station = station_row(session, station_id)
    if station is None or station["closed_at"] is not None:
        raise ValueError(say("This station is not in use. Load the page again."))
    if station["is_practice"] is on:
        return
    if on:
        _nothing_is_left(session, station)
        make_practice_pattern(session, now, by=by)
    end_times(session, now, "out", ATTENDANCE.c.station_id == station_id)
    values = {**NOTHING_IN_HAND, **NO_SHELF, "is_practice": on}
    session.execute(update(STATION).where(STATION.c.id == station_id).values(**values))
    changed(session, now, by, "station", station_id, "practises", old=_yes(not on), new=_yes(on))


def make_practice_pattern(session: Session, now: datetime, *, by: int | None) -> None:
    """Give the practice slips a prefix of their own, where they have none yet. ValueError where all are in use."""
    rows = session.execute(select(PATTERN)).mappings().all()
    if any(row["is_practice"] for row in rows):
        return
    pattern = practice_pattern([row["prefix"] for row in rows])
    values = {"prefix": pattern.prefix, "width": pattern.width, "has_check": pattern.check, "is_practice": True}
    session.execute(insert(PATTERN).values(**values))
    changed(
        session, now, by, "number pattern", None, "practice slips", new=f"{pattern.prefix} and {pattern.width} digits"
    )


def _nothing_is_left(session: Session, station: RowMapping) -> None:
    here = select(func.count()).select_from(SHEET).where(SHEET.c.table_id == station["id"], SHEET.c.closed_as.is_(None))
    many = session.execute(here).scalar_one()
    if many:
        raise ValueError(
            say_n(
                "By the log {n} sheet is at {name}. Put them back or lay them under weight first.",
                "By the log {n} sheets are at {name}. Put them back or lay them under weight first.",
                many,
                name=station["name"],
            )
        )
    # A station says with each contact whether it holds anything; it was last clear before it was last heard of.
    if station["seen_at"] is not None and (station["clear_at"] is None or station["clear_at"] < station["seen_at"]):
        raise ValueError(say("The browser of {name} still keeps scans. Let it send them first.", name=station["name"]))


def _yes(practises: bool) -> str:
    return "practice" if practises else "real work"
