"""A parcel's list held against the room: which of its sheets are new, which are here already, and which rows are bad."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import islice

from sqlalchemy import BindParameter, bindparam, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Consignment, Entry, FormerNumber, Sheet, table_of
from app.db.rules import room_house
from app.domain.calendar import local_day
from app.domain.errors import Refusal, Refused
from app.domain.numbers import shown
from app.domain.parcel import ListedSheet, Parcel, listed_sheet, parcel_of
from app.domain.stages import Step
from app.domain.table import NUMBER_TERM, BadRow, BadTable, Row, Table, clipped, open_table
from app.services.desk import Occasion

SHEET = table_of(Sheet)
ENTRY = table_of(Entry)
CONSIGNMENT = table_of(Consignment)
FORMER = table_of(FormerNumber)
# Rows that are looked up and written together: few enough that no statement has more values than a database takes.
CHUNK = 500

_NUMBERS: BindParameter[str] = bindparam("numbers", expanding=True)
_HERE_COLUMNS = (SHEET.c.id, SHEET.c.consignment_id, SHEET.c.stage, CONSIGNMENT.c.code)
_HERE = (
    select(SHEET.c.number, *_HERE_COLUMNS)
    .outerjoin(CONSIGNMENT, CONSIGNMENT.c.id == SHEET.c.consignment_id)
    .where(SHEET.c.number.in_(_NUMBERS))
)
_RENUMBERED = (
    select(FORMER.c.number, *_HERE_COLUMNS)
    .join(SHEET, SHEET.c.id == FORMER.c.sheet_id)
    .outerjoin(CONSIGNMENT, CONSIGNMENT.c.id == SHEET.c.consignment_id)
    .where(FORMER.c.number.in_(_NUMBERS))
)
_CAME_AS = select(ENTRY.c.subject_id, ENTRY.c.facts).where(
    ENTRY.c.subject_kind == "sheet",
    ENTRY.c.subject_id.in_(bindparam("sheets", expanding=True)),
    ENTRY.c.step == Step.TAKE_IN,
)


@dataclass(slots=True)
class Judged:
    """The rows of a list, looked at: the line where each number stands, the numbers that are here, and the bad rows."""

    session: Session
    consignment: RowMapping
    lines: dict[str, int] = field(default_factory=dict)
    here: set[str] = field(default_factory=set)
    bad: list[BadRow] = field(default_factory=list)
    columns: tuple[str, ...] = ()

    @property
    def new(self) -> int:
        """How many sheets of the list are not here yet."""
        return len(self.lines) - len(self.here)


def judge(session: Session, data: bytes, code: str, occasion: Occasion) -> Judged:
    """Hold a file against the room; what is wrong with the file as a whole is one bad row.

    Refused: unknown-consignment, and no-pattern in a room without patterns of sheet numbers.
    """
    judged = Judged(session, _consignment(session, code))
    try:
        table, parcel = open_parcel(session, data, occasion)
        judged.columns = table.columns
        for chunk in in_chunks(_listed(table, parcel, judged)):
            _judge_chunk(judged, chunk, parcel)
    except BadTable as fault:
        judged.bad.append(fault.bad)
    return judged


def new_sheets(data: bytes, judged: Judged, occasion: Occasion) -> Iterator[ListedSheet]:
    """Read a file that was judged once more, and give its sheets that are not here yet."""
    table, parcel = open_parcel(judged.session, data, occasion)
    rows = (listed_sheet(row, parcel) for row in table.rows() if isinstance(row, Row))
    return (sheet for sheet in rows if isinstance(sheet, ListedSheet) and sheet.number not in judged.here)


def open_parcel(session: Session, data: bytes, occasion: Occasion) -> tuple[Table, Parcel]:
    """The file's table, and how this room reads its rows; BadTable, or refused with no-pattern."""
    patterns = room_house(session)[1]
    if not patterns:
        words = "This room has no pattern of sheet numbers yet."
        raise Refused(Refusal("no-pattern", words, "The manager sets one up first."))
    table = open_table(data)
    # Where a plant was picked it may be tomorrow already.
    latest = local_day(occasion.now, occasion.zone) + timedelta(days=1)
    return table, parcel_of(table.columns, patterns, latest)


def in_chunks(sheets: Iterable[ListedSheet]) -> Iterator[list[ListedSheet]]:
    """The sheets of a list, some hundreds at a time."""
    left = iter(sheets)
    while chunk := list(islice(left, CHUNK)):
        yield chunk


def _consignment(session: Session, code: str) -> RowMapping:
    mine = CONSIGNMENT.c.code == code.replace("\0", "")
    row = session.execute(select(CONSIGNMENT).where(mine)).mappings().one_or_none()
    if row is None:
        words = f"There is no consignment called {clipped(code)}."
        raise Refused(Refusal("unknown-consignment", words, "Add it first, or look its code up."))
    if row["closed_at"] is not None:
        words = f"The consignment {code} is closed."
        raise Refused(Refusal("unknown-consignment", words, "Import into one that is open."))
    return row


def _listed(table: Table, parcel: Parcel, judged: Judged) -> Iterator[ListedSheet]:
    """The sheets whose own rows are right; what is wrong with the others is noted."""
    for row in table.rows():
        found = listed_sheet(row, parcel) if isinstance(row, Row) else row
        if isinstance(found, BadRow):
            judged.bad.append(found)
        elif (line := judged.lines.setdefault(found.number, found.line)) != found.line:
            words = f"{shown(found.number, parcel.patterns)} stands in line {line} already: take one of the two out."
            judged.bad.append(BadRow(found.line, NUMBER_TERM, words))
        else:
            yield found


def _judge_chunk(judged: Judged, chunk: Sequence[ListedSheet], parcel: Parcel) -> None:
    here = _sheets_here(judged.session, [sheet.number for sheet in chunk])
    came_as = _came_as(judged.session, [row["id"] for row in here.values()])
    for sheet in (each for each in chunk if each.number in here):
        row = here[sheet.number]
        if reason := _clash(judged, row, came_as.get(row["id"]) == sheet.content):
            words = f"{shown(sheet.number, parcel.patterns)} {reason}"
            judged.bad.append(BadRow(sheet.line, NUMBER_TERM, words))
        else:
            judged.here.add(sheet.number)


def _sheets_here(session: Session, numbers: Sequence[str]) -> dict[str, RowMapping]:
    """The sheets that have these numbers, or once had them."""
    found = {"numbers": list(numbers)}
    rows = [*session.execute(_RENUMBERED, found).mappings(), *session.execute(_HERE, found).mappings()]
    return {row["number"]: row for row in rows}


def _came_as(session: Session, sheet_ids: Sequence[int]) -> dict[int, str]:
    """What each sheet's row said when it was imported: what the room changed since does not make it another sheet."""
    if not sheet_ids:
        return {}
    rows = session.execute(_CAME_AS, {"sheets": list(sheet_ids)})
    return {row.subject_id: row.facts["content"] for row in rows if "content" in row.facts}


def _clash(judged: Judged, row: RowMapping, is_same: bool) -> str:
    if row["consignment_id"] != judged.consignment["id"]:
        came = f", which came with {row['code']}" if row["code"] else ""
        return f"is in use for another sheet{came}: give this one another number."
    if not is_same:
        return "is in use for another sheet, or its row was changed since: give it another number, or take the row out."
    if row["stage"] is None:
        return "was taken in and that was taken back: take the row out, and scan the sheet at intake."
    return ""
