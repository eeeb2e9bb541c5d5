"""A parcel's list held against the room: which of its sheets are new, which are here already, and which rows are bad."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from sqlalchemy import BindParameter, bindparam, select, union_all
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Consignment, Entry, FormerNumber, Sheet, TakenFile, TakenRow, table_of
from app.db.prepared import prepared
from app.db.rules import room_house
from app.domain.calendar import local_day
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.listing import Listing, open_listing
from app.domain.mapping import Ways
from app.domain.numbers import shown
from app.domain.parcel import ListedSheet, Parcel, parcel_of
from app.domain.source import Data
from app.domain.stages import Step
from app.domain.table import NUMBER_TERM, BadRow, BadTable, clipped
from app.services.desk import Occasion
from app.services.list_rows import in_chunks, right_rows
from app.services.met_numbers import MetNumbers
from app.services.reserving import reserved

SHEET = table_of(Sheet)
ENTRY = table_of(Entry)
CONSIGNMENT = table_of(Consignment)
FORMER = table_of(FormerNumber)
TAKEN_FILE = table_of(TakenFile)
# How much of a file's digest an entry keeps.
SHORT = 12

_NUMBERS: BindParameter[str] = bindparam("numbers", expanding=True)
_HERE_COLUMNS = (SHEET.c.id, SHEET.c.consignment_id, SHEET.c.stage, SHEET.c.closed_as, CONSIGNMENT.c.code)
_HERE = prepared(
    select(SHEET.c.number, *_HERE_COLUMNS)
    .outerjoin(CONSIGNMENT, CONSIGNMENT.c.id == SHEET.c.consignment_id)
    .where(SHEET.c.number.in_(_NUMBERS))
)
_RENUMBERED = prepared(
    select(FORMER.c.number, *_HERE_COLUMNS)
    .join(SHEET, SHEET.c.id == FORMER.c.sheet_id)
    .outerjoin(CONSIGNMENT, CONSIGNMENT.c.id == SHEET.c.consignment_id)
    .where(FORMER.c.number.in_(_NUMBERS))
)
_CAME_AS = prepared(
    select(ENTRY.c.subject_id, ENTRY.c.facts)
    .where(
        ENTRY.c.subject_kind == "sheet",
        ENTRY.c.subject_id.in_(bindparam("sheets", expanding=True)),
        ENTRY.c.step == Step.TAKE_IN,
    )
    .order_by(ENTRY.c.id)
)
_ON_THEIR_WAY = table_of(TakenRow)
# Whatever may stand in the way of a number: most numbers of most lists are met nowhere.
_MET = prepared(
    union_all(
        select(SHEET.c.number).where(SHEET.c.number.in_(_NUMBERS)),
        select(FORMER.c.number).where(FORMER.c.number.in_(_NUMBERS)),
        select(_ON_THEIR_WAY.c.number).where(_ON_THEIR_WAY.c.number.in_(_NUMBERS)),
    ).limit(1)
)
_GIVEN_UP = select(TAKEN_FILE.c.digest).where(TAKEN_FILE.c.state == "withdrawn", TAKEN_FILE.c.done == 0)


@dataclass(slots=True)
class Judged:
    """The rows of a list, looked at: its numbers, and the bad rows."""

    consignment: RowMapping
    numbers: MetNumbers = field(default_factory=MetNumbers)
    bad: list[BadRow] = field(default_factory=list)
    listing: Listing | None = None

    @property
    def new(self) -> int:
        """How many sheets of the list are not here yet."""
        return self.numbers.met - self.numbers.here


def judge(session: Session, data: Data, code: str, occasion: Occasion, ways: Ways | None = None) -> Judged:
    """Hold a file against the room; what is wrong with the file as a whole is one bad row.

    Refused: unknown-consignment, and no-pattern in a room without patterns of sheet numbers.
    """
    judged = Judged(open_consignment(session, code))
    try:
        judged.listing, parcel = open_parcel(session, data, occasion, ways)
        for chunk in in_chunks(_listed(judged.listing, parcel, judged)):
            here, bad = held_against(session, judged.consignment["id"], chunk, parcel)
            judged.numbers.are_here(here)
            judged.bad += bad
    except BadTable as fault:
        judged.bad.append(fault.bad)
    return judged


def new_sheets(session: Session, data: Data, judged: Judged, occasion: Occasion,
               ways: Ways | None = None) -> Iterator[ListedSheet]:  # fmt: skip
    """Read a file that was judged once more, and give its sheets that are not here yet."""
    listing, parcel = open_parcel(session, data, occasion, ways)
    return (sheet for sheet in right_rows(listing, parcel, []) if not judged.numbers.is_here(sheet.number))


def open_parcel(session: Session, data: Data, occasion: Occasion, ways: Ways | None = None) -> tuple[Listing, Parcel]:
    """The file's list, and how this room reads its rows; BadTable, or refused with no-pattern."""
    patterns = room_house(session)[1]
    if not patterns:
        words = say("This room has no pattern of sheet numbers yet.")
        raise Refused(Refusal("no-pattern", words, say("The manager sets one up first.")))
    listing = open_listing(data, ways)
    # Where a plant was picked it may be tomorrow already.
    latest = local_day(occasion.now, occasion.zone) + timedelta(days=1)
    return listing, parcel_of(listing.columns, patterns, latest)


def open_consignment(session: Session, code: str) -> RowMapping:
    """The consignment with this code. Refused: unknown-consignment where there is none, or it is closed."""
    mine = CONSIGNMENT.c.code == code.replace("\0", "")
    row = session.execute(select(CONSIGNMENT).where(mine)).mappings().one_or_none()
    if row is None:
        words = say("There is no consignment called {code}.", code=clipped(code))
        raise Refused(Refusal("unknown-consignment", words, say("Add it first, or look its code up.")))
    if row["closed_at"] is not None:
        words = say("The consignment {code} is closed.", code=code)
        raise Refused(Refusal("unknown-consignment", words, say("Import into one that is open.")))
    return row


def any_met(session: Session, numbers: Sequence[str]) -> bool:
    """Whether any of these numbers is a sheet's, or once was, or lies among the rows of a file."""
    return session.execute(_MET, {"numbers": list(numbers)}).first() is not None


def held_against(session: Session, consignment_id: int, chunk: Sequence[ListedSheet], parcel: Parcel,
                 file_id: int = 0) -> tuple[set[str], list[BadRow]]:  # fmt: skip
    """The numbers of these sheets that are here already and told alike, and a bad row for each that is another sheet's.

    `file_id` is the file that they come with, where that is written down.
    """
    numbers = [sheet.number for sheet in chunk]
    here, coming = _sheets_here(session, numbers), reserved(session, numbers, file_id)
    came_as = _came_as(session, [row["id"] for row in here.values()])
    given_up = {each[:SHORT] for each in session.execute(_GIVEN_UP).scalars()} if came_as else set()
    alike, bad = set(), []
    for sheet in (each for each in chunk if each.number in here or each.number in coming):
        row, said = here.get(sheet.number), shown(sheet.number, parcel.patterns)
        if sheet.number in coming:
            words = say(
                "{number} is being taken in with the file {file}: wait until that is in.",
                number=said,
                file=clipped(coming[sheet.number]),
            )
            bad.append(BadRow(sheet.line, NUMBER_TERM, words, sheet.file))
        elif row is None or _comes_again(row, consignment_id, came_as, given_up):
            continue
        elif reason := _clash(consignment_id, row, came_as.get(row["id"], {}).get("content") == sheet.content):
            bad.append(BadRow(sheet.line, NUMBER_TERM, f"{said} {reason}", sheet.file))
        else:
            alike.add(sheet.number)
    return alike, bad


def _listed(listing: Listing, parcel: Parcel, judged: Judged) -> Iterator[ListedSheet]:
    """The sheets whose own rows are right; what is wrong with the others is noted."""
    for found in right_rows(listing, parcel, judged.bad):
        before = judged.numbers.meets(found.number, found.line)
        if before is None:
            yield found
        else:
            judged.bad.append(twice(found, before, parcel))


def twice(sheet: ListedSheet, line: int, parcel: Parcel) -> BadRow:
    """What is wrong with a sheet whose number stands on an earlier line already."""
    words = say(
        "{number} stands in line {line} already: take one of the two out.",
        number=shown(sheet.number, parcel.patterns),
        line=line,
    )
    return BadRow(sheet.line, NUMBER_TERM, words, sheet.file)


def _sheets_here(session: Session, numbers: Sequence[str]) -> dict[str, RowMapping]:
    """The sheets that have these numbers, or once had them."""
    found = {"numbers": list(numbers)}
    rows = [*session.execute(_RENUMBERED, found).mappings(), *session.execute(_HERE, found).mappings()]
    return {row["number"]: row for row in rows}


def _came_as(session: Session, sheet_ids: Sequence[int]) -> dict[int, dict[str, Any]]:
    """What each sheet's row said when it was imported: what the room changed since does not make it another sheet."""
    if not sheet_ids:
        return {}
    rows = session.execute(_CAME_AS, {"sheets": list(sheet_ids)})
    return {row.subject_id: row.facts for row in rows if "content" in row.facts}


def _comes_again(row: RowMapping, consignment_id: int, came_as: dict[int, dict[str, Any]], given_up: set[str]) -> bool:
    """Whether a sheet stands nowhere because the file that it came with was withdrawn: it may be taken in anew."""
    if row["stage"] is not None or row["closed_as"] is not None or row["consignment_id"] != consignment_id:
        return False
    return came_as.get(row["id"], {}).get("file") in given_up


def _clash(consignment_id: int, row: RowMapping, is_same: bool) -> str:
    if row["consignment_id"] != consignment_id:
        came = say(", which came with {code}", code=row["code"]) if row["code"] else ""
        return say("is in use for another sheet{came}: give this one another number.", came=came)
    if not is_same:
        return say(
            "is in use for another sheet, or its row was changed since: give it another number, or take the row out."
        )
    if row["stage"] is None:
        return say("was taken in and that was taken back: take the row out, and scan the sheet at intake.")
    return ""
