"""New numbers: a sheet's row is made when its number is taken in, minted, or given instead of another."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Table, delete, func, insert, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.db.models import Collector, FormerNumber, Hazard, NumberPattern, PlantName, Sheet, table_of
from app.domain.answer import Answer
from app.domain.errors import Refusal, Refused
from app.domain.folding import folded, folded_plant
from app.domain.holds import AWAY
from app.domain.language import say
from app.domain.moves import refusals
from app.domain.numbers import Pattern, mint, shown
from app.domain.sheet import Standing
from app.domain.stages import Stage, Step
from app.services import saying
from app.services.changes import changed
from app.services.custody import Writing, enter, standing_of
from app.services.desk import THEN_SHEET, Desk, somebody_is_here
from app.services.facts import make_attempt, sheet_by_id, sheet_by_number
from app.services.kept_times import refuse_too_late
from app.services.near_names import learn
from app.services.reserving import refuse_reserved, reserved
from app.services.specimens import add_part

SHEET = table_of(Sheet)
PATTERN = table_of(NumberPattern)
MANY = 100
COPIED = ("consignment_id", "plant_name_id", "collector_id", "record_number", "event_date", "locality",
           "is_sensitive", "notes", "has_label", "bulk")  # fmt: skip


def register(desk: Desk, number: str, **known: Any) -> RowMapping:
    """Make the row of a sheet with this number; it stands nowhere until an entry says so. Refused: number-taken."""
    refuse_reserved(desk.session, number, shown(number, desk.patterns))
    values = {"number": number, "added_at": desk.now, "bulk": "ordinary", **known}
    try:
        with desk.session.begin_nested():
            sheet_id = desk.session.execute(insert(SHEET).values(**values).returning(SHEET.c.id)).scalar_one()
    except IntegrityError as error:
        words = say("The number {number} is in use.", number=shown(number, desk.patterns))
        raise Refused(Refusal("number-taken", words, say("Take another slip."))) from error
    return sheet_by_id(desk.session, sheet_id)


def mint_number(desk: Desk) -> str:
    """The next number of the room's minting pattern that nobody has used. Refused: misread-number without a pattern."""
    found = select(PATTERN).where(PATTERN.c.mints).with_for_update()
    row = desk.session.execute(found).mappings().one_or_none()
    if row is None:
        raise Refused(
            Refusal(
                "misread-number",
                say("This room mints no numbers of its own."),
                say("The manager sets a pattern first."),
            )
        )
    serial, number = _free_number(desk, Pattern(row["prefix"], row["width"], row["has_check"]), row["minted"])
    desk.session.execute(update(PATTERN).where(PATTERN.c.id == row["id"]).values(minted=serial))
    return number


def mint_by(session: Session, pattern_id: int, now: datetime, by: int | None = None) -> str:
    """Let the room mint its new numbers by this pattern from now on; gives its prefix. ValueError if there is no such."""
    own = (PATTERN.c.id == pattern_id) & PATTERN.c.is_practice.is_(False)
    prefix = session.scalar(select(PATTERN.c.prefix).where(own))
    if prefix is None:
        raise ValueError(say("There is no such pattern."))
    session.execute(update(PATTERN).values(mints=PATTERN.c.id == pattern_id))
    changed(session, now, by, "number pattern", pattern_id, "mints new numbers", new=prefix)
    return str(prefix)


def take_in_new(desk: Desk, number: str) -> RowMapping:
    """The row for a number that is taken in for the first time, in the station's consignment."""
    return register(desk, number, consignment_id=desk.in_hand("consignment_id"))


def another_sheet(desk: Desk, row: RowMapping) -> Answer:
    """The plant needs one more sheet: a further number for the same specimen, with all that travels with it.

    Refused: not-signed-in, and too-old before anything is made for it.
    """
    somebody_is_here(desk, THEN_SHEET)
    refuse_too_late(desk, Step.ANOTHER_SHEET)
    attempt = make_attempt(desk, row, standing_of(row), Step.ANOTHER_SHEET)
    if found := refusals(attempt):
        return saying.refused(desk, found, row, step=Step.ANOTHER_SHEET)
    number = mint_number(desk)
    specimen_id, parts = add_part(desk, row)
    copied = {name: row[name] for name in COPIED}
    new = register(desk, number, specimen_id=specimen_id, part=parts, **copied)
    copy_hazards(desk, row["id"], new["id"])
    stage = attempt.sheet.stage
    entry_id, stands = enter(desk, row["id"], attempt.sheet, Writing(Step.ANOTHER_SHEET, stage, attempt.sheet.place,
                                   lifts=tuple(sorted(attempt.sheet.holds & AWAY)), facts={"new_number": number}))  # fmt: skip
    holds = tuple(sorted(stands.holds))
    facts = {"of": row["number"]}
    writing = Writing(Step.ANOTHER_SHEET, stage, stands.place, travels(stands), holds, facts=facts)
    enter(desk, new["id"], standing_of(new), writing)
    said = shown(number, desk.patterns)
    answer = saying.done(desk, row, Step.ANOTHER_SHEET, entry_id, stands)
    lines = (say("The new sheet is {number}: write “{count} of {count}” on it.", number=said, count=parts),)
    glues = say("Print its slip, put {number} on the new sheet first, then glue.", number=said)
    folds = say("Print its slip and lay it in the other fold: {number}. They are filed together.", number=said)
    return replace(answer, lines=lines, next=glues if stage is Stage.READY else folds, slip=number)


def travels(stands: Standing) -> dict[str, Any]:
    """What a further sheet of the same gathering has of the first: how it was dried, its bulk, and its treatment."""
    sets: dict[str, Any] = {"bulk": stands.bulk, "fresh": stands.fresh}
    dried = {name: getattr(stands, name) for name in ("method", "pressed_at", "papers_at")}
    sets.update({name: value for name, value in dried.items() if value is not None})
    return sets | ({"treated_until": stands.treated_until, "treated_left_s": None} if stands.treated_until else {})


def renumber(desk: Desk, row: RowMapping, number: str) -> int:
    """Give a sheet another number; the old one still finds it. Returns the entry."""
    owner = sheet_by_number(desk.session, number)
    if owner is not None and owner["id"] == row["id"] and number != row["number"]:
        # Its own old number, given back to it.
        desk.session.execute(delete(FormerNumber).where(FormerNumber.number == number))
    elif owner is not None:
        raise Refused(
            Refusal(
                "number-taken",
                say("The number {number} is in use.", number=shown(number, desk.patterns)),
                say("Take another."),
            )
        )
    refuse_reserved(desk.session, number, shown(number, desk.patterns))
    attempt = make_attempt(desk, row, standing_of(row), Step.RENUMBER)
    if found := refusals(attempt):
        raise Refused(*found)
    facts = {"old_number": row["number"], "new_number": number}
    writing = Writing(Step.RENUMBER, attempt.sheet.stage, attempt.sheet.place, facts=facts, reason=attempt.reason)
    desk.session.execute(insert(FormerNumber), {"number": row["number"], "sheet_id": row["id"], "until_at": desk.now})
    desk.session.execute(update(SHEET).where(SHEET.c.id == row["id"]).values(number=number))
    return enter(desk, row["id"], attempt.sheet, writing)[0]


def plant_name_id(desk: Desk, name: str, authorship: str = "", family: str = "") -> int | None:
    """The row of a plant's name, made when it is new; None for no name."""
    if not name:
        return None
    table = table_of(PlantName)
    same = (
        table.c.name == name,
        func.coalesce(table.c.authorship, "") == authorship,
        func.coalesce(table.c.family, "") == family,
    )
    key = folded_plant(name)
    values = {"name": name, "authorship": authorship or None, "family": family or None, "search_key": key}
    row_id, is_new = _found_or_made(desk, table, same, values)
    if is_new:
        learn(desk.session, [(row_id, key)])
    return row_id


def collector_id(desk: Desk, name: str) -> int | None:
    """The row of a collector's name, made when it is new; None for no name."""
    if not name:
        return None
    table = table_of(Collector)
    return _found_or_made(desk, table, (table.c.name == name,), {"name": name, "search_key": folded(name)})[0]


def _found_or_made(
    desk: Desk, table: Table, same: tuple[ColumnElement[bool], ...], values: dict[str, Any]
) -> tuple[int, bool]:
    found: int | None = desk.session.execute(select(table.c.id).where(*same)).scalar()
    if found is not None:
        return found, False
    made: int = desk.session.execute(insert(table).values(**values).returning(table.c.id)).scalar_one()
    return made, True


def _free_number(desk: Desk, pattern: Pattern, serial: int) -> tuple[int, str]:
    """The first number after `serial` that no sheet has or had; looked up many at once, for rooms that imported theirs."""
    while True:
        minted = _minted(pattern, serial)
        numbers = [number for _, number in minted]
        taken = set(desk.session.execute(select(SHEET.c.number).where(SHEET.c.number.in_(numbers))).scalars())
        former = select(FormerNumber.number).where(FormerNumber.number.in_(numbers))
        taken |= set(desk.session.execute(former).scalars()) | reserved(desk.session, numbers).keys()
        for serial, number in minted:
            if number not in taken:
                return serial, number


def _minted(pattern: Pattern, serial: int) -> list[tuple[int, str]]:
    minted = [mint(pattern, serial)]
    try:
        while len(minted) < MANY:
            minted.append(mint(pattern, minted[-1][0]))
    except ValueError:
        # The digits are used up after these; the next call says so.
        return minted
    return minted


def copy_hazards(desk: Desk, old_id: int, new_id: int) -> None:
    """The dangers that were said of one sheet and not cleared go with another, too."""
    table = table_of(Hazard)
    found = select(table.c.kind, table.c.said_at, table.c.said_by).where(
        table.c.sheet_id == old_id, table.c.cleared_at.is_(None)
    )
    rows = [{"sheet_id": new_id, **row} for row in desk.session.execute(found).mappings()]
    if rows:
        desk.session.execute(insert(table), rows)
