"""Setting up the room: cabinets, shelves, stacks, stations, adhesives, number patterns, bundles and house rules."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import Table, func, insert, select, update
from sqlalchemy.orm import Session

from app.db.models import (
    Adhesive,
    Bundle,
    Cabinet,
    Consignment,
    Hazard,
    HouseRule,
    NumberPattern,
    Shelf,
    Stack,
    Station,
    table_of,
)
from app.db.rules import room_house
from app.domain.hazards import CAUTIONS
from app.domain.house import RULES, checked
from app.domain.language import ENGLISH, say, speaking
from app.domain.limits import limit_words
from app.domain.numbers import Kind, Pattern, may_be_chosen
from app.domain.press import ADHESIVE_CLASSES
from app.domain.stages import Stage, Step
from app.domain.stalls import Limit
from app.domain.used import checked_uses
from app.domain.words import WEEKDAYS
from app.services.changes import changed
from app.services.codes_given import next_code

STACK = table_of(Stack)
LONGEST_LIMIT = RULES["limit_ready_days"].high
OPEN_DAYS = tuple(f"open_{weekday.lower()}" for weekday in WEEKDAYS)


def add_cabinet(session: Session, name: str, stage: Stage | None, now: datetime, *, shelves: int = 0, by: int | None = None,
                capacity: int | None = None, is_clean: bool = False, freezes_to_c: float | None = None,
                is_dryer: bool = False) -> int:  # fmt: skip
    """Add a cabinet with its shelves, counted from the top, a freezer or a dryer; ValueError for a name that is taken."""
    values = {"name": _named(session, table_of(Cabinet), name), "code": next_code(session, Kind.CABINET),
              "stage": Stage.DRYING if is_dryer else stage, "is_clean": is_clean, "capacity": capacity,
              "freezes_to_c": freezes_to_c, "is_dryer": is_dryer}  # fmt: skip
    cabinet_id = _add(session, table_of(Cabinet), values)
    for number in range(1, shelves + 1):
        add_shelf(session, cabinet_id, str(number))
    changed(session, now, by, "cabinet", cabinet_id, "added", new=name)
    return cabinet_id


def add_shelf(session: Session, cabinet_id: int, name: str, capacity: int | None = None) -> int:
    """Add a shelf to a cabinet."""
    code = next_code(session, Kind.SHELF)
    return _add(session, table_of(Shelf), {"cabinet_id": cabinet_id, "name": name, "code": code, "capacity": capacity})


def add_stack(session: Session, name: str, now: datetime, *, capacity: int = 20, mass_kg: float = 0.0, pieces: int = 4,
              by: int | None = None) -> int:  # fmt: skip
    """Add a stack with its two-sided card; ValueError for a name that is taken, or no room for a sheet."""
    if capacity < 1:
        raise ValueError(say("A stack has room for at least one sheet."))
    values = {
        "name": _named(session, STACK, name), "capacity": capacity, "mass_kg": mass_kg, "pieces": pieces,
        "code_on": next_code(session, Kind.STACK_ON), "code_off": next_code(session, Kind.STACK_OFF),
    }  # fmt: skip
    stack_id = _add(session, STACK, values)
    changed(session, now, by, "stack", stack_id, "added", new=name)
    return stack_id


def add_station(session: Session, slug: str, name: str, steps: Sequence[Step], now: datetime, *, by: int | None = None,
                **defaults: Any) -> int:  # fmt: skip
    """Add a station where these steps are done; ValueError for a name that is taken."""
    table = table_of(Station)
    values = {"slug": slug, "name": _named(session, table, name), "code": next_code(session, Kind.STATION),
              "steps": [step.value for step in steps], **defaults}  # fmt: skip
    station_id = _add(session, table, values)
    changed(session, now, by, "station", station_id, "added", new=name)
    return station_id


def set_at_station(session: Session, station_id: int, **values: Any) -> None:
    """Set a station's defaults: adhesive, bulk, drying method, consignment, and of what it `uses` those that are named.

    ValueError for one that the room does not have.
    """
    for name, table in (("adhesive_id", table_of(Adhesive)), ("consignment_id", table_of(Consignment))):
        wanted = values.get(name)
        if wanted is not None and session.execute(select(table.c.id).where(table.c.id == wanted)).scalar() is None:
            raise ValueError(say("That is no longer in the room's list. Load the page again."))
    if not values:
        return
    table = table_of(Station)
    if "uses" in values:
        used = session.execute(select(table.c.uses).where(table.c.id == station_id)).scalar()
        values["uses"] = {**(used or {}), **checked_uses(values["uses"])}
    session.execute(update(table).where(table.c.id == station_id).values(**values))


def close_browser(session: Session, station_id: int, now: datetime, *, by: int | None) -> None:
    """The browser that was enrolled for a station no longer is."""
    table = table_of(Station)
    session.execute(update(table).where(table.c.id == station_id).values(secret_hash=None))
    changed(session, now, by, "station", station_id, "browser left")


def add_adhesive(session: Session, code: str, name: str, class_: str, now: datetime, *, lot: str = "", dilution: str = "",
                 by: int | None = None) -> int:  # fmt: skip
    """Add a line to the room's adhesives; ValueError for a class that has no time under weight."""
    if class_ not in ADHESIVE_CLASSES:
        raise ValueError(say("An adhesive is one of: {kinds}.", kinds=", ".join(map(say, ADHESIVE_CLASSES))))
    values = {
        "code": code,
        "name": name,
        "class": class_,
        "lot": lot or None,
        "dilution": dilution or None,
        "opened_at": now,
    }
    adhesive_id = _add(session, table_of(Adhesive), values)
    changed(session, now, by, "adhesive", adhesive_id, "added", new=name)
    return adhesive_id


def add_pattern(session: Session, prefix: str, width: int, now: datetime, *, has_check: bool = True, mints: bool = False,
                by: int | None = None) -> int:  # fmt: skip
    """Add a pattern of sheet numbers; ValueError for one that is senseless, or too like another to tell slips apart."""
    Pattern(prefix, width, has_check)
    may_be_chosen(prefix, room_house(session)[1])
    table = table_of(NumberPattern)
    for other in session.execute(select(table)).mappings():
        lengths = other["width"] + other["has_check"] - width - has_check
        if other["prefix"] == prefix and abs(lengths) <= 1:
            raise ValueError(
                say(
                    "A pattern {prefix} of nearly this length is there already: one slip of the hand could not be told.",
                    prefix=prefix,
                )  # fmt: skip
            )
    if mints:
        session.execute(update(table).values(mints=False))
    pattern_id = _add(session, table, {"prefix": prefix, "width": width, "has_check": has_check, "mints": mints})
    changed(session, now, by, "number pattern", pattern_id, "added", new=f"{prefix} and {width} digits")
    return pattern_id


def add_bundle(session: Session, name: str, kind: str = "tray") -> int:
    """Add a bundle with a card of its own."""
    code = next_code(session, Kind.BUNDLE)
    return _add(session, table_of(Bundle), {"name": name, "code": code, "kind": kind})


def add_consignment(session: Session, code: str, name: str, *, source: str = "", kind: str = "fieldwork",
                    arrived_on: date | None = None) -> int:  # fmt: skip
    """Add a consignment; ValueError for a code that is taken."""
    table = table_of(Consignment)
    if session.execute(select(table.c.id).where(table.c.code == code)).scalar() is not None:
        raise ValueError(say("There is a consignment called {code} already.", code=code))
    values = {"code": code, "name": name, "source": source or None, "kind": kind, "arrived_on": arrived_on}
    return _add(session, table, values)


def add_hazard(session: Session, kind: str, now: datetime, *, sheet_id: int | None = None, consignment_id: int | None = None,
               by: int | None = None) -> int:  # fmt: skip
    """Say that a sheet, or all of a consignment, carries a danger; ValueError for one that the room does not know."""
    if kind not in CAUTIONS:
        raise ValueError(say("A hazard is one of: {kinds}.", kinds=", ".join(CAUTIONS)))
    values = {"kind": kind, "sheet_id": sheet_id, "consignment_id": consignment_id, "said_at": now, "said_by": by}
    return _add(session, table_of(Hazard), values)


def set_house_rule(
    session: Session, name: str, value: int, reason: str, now: datetime, *, by: int | None = None
) -> int:
    """Set one house rule from now on; return the new version.

    ValueError outside its bounds, without a reason, and where no weekday would be open any more.
    """
    if not reason.strip():
        raise ValueError(say("Say why; it stays in the history of the rule."))
    table, house = table_of(HouseRule), room_house(session)[0]
    old = getattr(house, name) if name in RULES else None
    if name in OPEN_DAYS and not value and house.open_weekdays == {OPEN_DAYS.index(name)}:
        raise ValueError(say("At least one weekday must be open. For a longer closure, close its dates."))
    version: int = session.execute(select(func.coalesce(func.max(table.c.version), 0))).scalar_one() + 1
    values = {
        "version": version,
        "name": name,
        "value": checked(name, value),
        "set_at": now,
        "set_by": by,
        "reason": reason,
    }
    session.execute(insert(table).values(**values))
    changed(session, now, by, "house rule", None, name, old=str(old), new=str(value), why=reason)
    return version


def set_cabinet_limit(session: Session, cabinet_id: int, days: int | None, reason: str, now: datetime, *,
                      by: int | None = None) -> None:  # fmt: skip
    """Give a cabinet a limit of its own in open days, from 1 to 3650, or with None take it away.

    ValueError without a reason, outside those bounds, and for a cabinet that is not there.
    """
    if not reason.strip():
        raise ValueError(say("Say why; it stays with what was changed."))
    if days is not None and not 1 <= days <= LONGEST_LIMIT:
        words = say("A cabinet's own limit: between 1 and {most} open days, not {days}.", most=LONGEST_LIMIT, days=days)
        raise ValueError(words)
    table = table_of(Cabinet)
    old = session.execute(select(table.c.name, table.c.limit_open_days).where(table.c.id == cabinet_id)).one_or_none()
    if old is None:
        raise ValueError(say("There is no such cabinet. Load the page again."))
    session.execute(update(table).where(table.c.id == cabinet_id).values(limit_open_days=days))
    with speaking(ENGLISH):
        was, now_is = (
            each if each is None else limit_words(Limit(open_days=each)) for each in (old.limit_open_days, days)
        )
    changed(session, now, by, "cabinet", cabinet_id, f"limit of {old.name}", old=was, new=now_is, why=reason)


def _named(session: Session, table: Table, name: str) -> str:
    name = " ".join(name.split())
    if not name:
        raise ValueError(say("It needs a name."))
    if session.execute(select(table.c.id).where(table.c.name == name)).scalar() is not None:
        raise ValueError(say("The name {name} is taken.", name=name))
    return name


def _add(session: Session, table: Table, values: dict[str, Any]) -> int:
    row_id: int = session.execute(insert(table).values(values).returning(table.c.id)).scalar_one()
    return row_id
