"""Files on their way in: each is checked whole, row by row into a table of its own, before any sheet of it is taken in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import bindparam, delete, func, insert, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.bulk import AsKept, insert_many
from app.db.models import Consignment, TakenFile, TakenRow, table_of
from app.db.prepared import prepared
from app.domain.errors import Refusal, Refused
from app.domain.language import say
from app.domain.mapping import Ways
from app.domain.parcel import ListedSheet, Parcel
from app.domain.table import BadRow
from app.services.desk import Occasion
from app.services.parcels import any_met, held_against, open_consignment, twice
from app.services.reserving import UNDER_WAY

FILE, ROW, CONSIGNMENT = table_of(TakenFile), table_of(TakenRow), table_of(Consignment)
CHECKED, GOING, IN, WITHDRAWN = "checked", "going", "in", "withdrawn"
# Rows that are thrown away in one go.
SWEPT = 2000

_FILE = prepared(select(FILE).where(FILE.c.id == bindparam("file")).with_for_update())
_CONSIGNMENT = prepared(select(CONSIGNMENT).where(CONSIGNMENT.c.id == bindparam("of_file")))
_LINES = prepared(
    select(ROW.c.number, func.min(ROW.c.line).label("line"))
    # Found by their numbers and not among all rows of the file.
    .where(ROW.c.file_id + 0 == bindparam("file"), ROW.c.number.in_(bindparam("numbers", expanding=True)))
    .group_by(ROW.c.number)
)
_COLUMNS = ("place", "line", "number", "said")


@dataclass(frozen=True, slots=True)
class Sent:
    """A file that somebody sent: its name, its digest, for which consignment, and how its columns are read."""

    name: str
    digest: str
    consignment: str
    ways: Ways | None = None
    by: int | None = None
    title: str = ""


@dataclass(slots=True)
class Staged:
    """How far the checking of a file is: rows that are new, rows here already, and what is wrong."""

    file_id: int
    consignment_id: int
    parcel: Parcel
    new: int
    unchanged: int
    bad: list[BadRow]


def begin_file(session: Session, sent: Sent, occasion: Occasion) -> int:
    """Write down that a file is being checked; return its row.

    Refused: unknown-consignment; number-taken while the same file is on its way in already.
    """
    consignment = open_consignment(session, sent.consignment)
    same = select(FILE.c.id).where(FILE.c.digest == sent.digest, FILE.c.state.in_(UNDER_WAY))
    if session.execute(same).first() is not None:
        words = say("This very file is being taken in already.")
        raise Refused(Refusal("number-taken", words, say("Look at the page of files: there it can be withdrawn.")))
    return _kept(session, sent, consignment["id"], occasion, state=CHECKED, rows=0)


def keep_whole(session: Session, sent: Sent, occasion: Occasion, rows: int) -> int:
    """Write down a file all of whose sheets were taken in at once."""
    consignment = open_consignment(session, sent.consignment)
    file_id = _kept(session, sent, consignment["id"], occasion, state=IN, rows=rows)
    session.execute(update(FILE).where(FILE.c.id == file_id).values(done=rows, ended_at=occasion.now))
    return file_id


def file_row(session: Session, file_id: int) -> RowMapping | None:
    """A file's row, locked until the transaction ends; None for one that is not there."""
    return session.execute(_FILE, {"file": file_id}).mappings().one_or_none()


def consignment_of(session: Session, file: RowMapping) -> RowMapping:
    """The row of the consignment that a file belongs to."""
    return session.execute(_CONSIGNMENT, {"of_file": file["consignment_id"]}).mappings().one()


def sent_again(session: Session, file: RowMapping) -> Sent:
    """A file as it was sent, from its row."""
    told: dict[str, Any] = file["mapping"] or {}
    ways = tuple(told["ways"]) if told.get("ways") else None
    code = consignment_of(session, file)["code"]
    return Sent(file["name"], file["digest"], code, ways, file["sent_by"], told.get("title", ""))


def stage(session: Session, staged: Staged, chunk: Sequence[ListedSheet], told: Sequence[AsKept]) -> bool:
    """Hold some rows of a file against the room, and keep those that are new; False when the file was withdrawn meanwhile.

    `told` is what each says, as it is kept. From then on their numbers belong to this file.
    """
    file = file_row(session, staged.file_id)
    if file is None or file["state"] != CHECKED:
        return False
    numbers = [sheet.number for sheet in chunk]
    if len(set(numbers)) == len(numbers) and not any_met(session, numbers):
        _keep(session, staged, chunk, told)
        return True
    alike, bad = held_against(session, staged.consignment_id, chunk, staged.parcel, staged.file_id)
    wrong = {(each.file, each.line) for each in bad}
    fresh = [sheet for sheet in chunk if sheet.number not in alike and (sheet.file, sheet.line) not in wrong]
    single, repeated = _apart(session, staged, fresh)
    texts = dict(zip(((sheet.file, sheet.line) for sheet in chunk), told, strict=True))
    _keep(session, staged, single, [texts[sheet.file, sheet.line] for sheet in single])
    staged.unchanged += len(alike)
    staged.bad += [*bad, *repeated]
    return True


def let_go(session: Session, file_id: int, rows: int, occasion: Occasion) -> None:
    """A file was checked whole and nothing is wrong: from now on its sheets are taken in."""
    state, ended = (GOING, None) if rows else (IN, occasion.now)
    mine = update(FILE).where(FILE.c.id == file_id, FILE.c.state == CHECKED)
    session.execute(mine.values(state=state, rows=rows, ended_at=ended))


def give_up(session: Session, file_id: int, occasion: Occasion, why: str) -> None:
    """A file of which nothing was taken in yet is not taken in at all."""
    mine = update(FILE).where(FILE.c.id == file_id, FILE.c.state.in_(UNDER_WAY), FILE.c.done == 0)
    session.execute(mine.values(state=WITHDRAWN, ended_at=occasion.now, why=why[:500]))


def forget_file(session: Session, file_id: int) -> None:
    """Leave nothing of a file of which nothing was taken in, and whose checked rows are swept away."""
    session.execute(delete(FILE).where(FILE.c.id == file_id, FILE.c.state == WITHDRAWN, FILE.c.done == 0))


def sweep(session: Session, file_id: int) -> int:
    """Throw away some of the rows of a file that needs them no more; return how many."""
    some = select(ROW.c.place).where(ROW.c.file_id == file_id).order_by(ROW.c.place).limit(SWEPT)
    places = session.execute(some).scalars().all()
    if places:
        session.execute(delete(ROW).where(ROW.c.file_id == file_id, ROW.c.place <= places[-1]))
    return len(places)


def _kept(session: Session, sent: Sent, consignment_id: int, occasion: Occasion, *, state: str, rows: int) -> int:
    told = {name: value for name, value in (("ways", list(sent.ways or ())), ("title", sent.title)) if value}
    values = {"name": sent.name[:200], "digest": sent.digest, "consignment_id": consignment_id, "mapping": told or None,
              "state": state, "rows": rows, "sent_at": occasion.now, "sent_by": sent.by}  # fmt: skip
    return int(session.execute(insert(FILE).values(**values).returning(FILE.c.id)).scalar_one())


def _apart(session: Session, staged: Staged, chunk: Sequence[ListedSheet]) -> tuple[list[ListedSheet], list[BadRow]]:
    """Those whose numbers stand in the file for the first time, and what is wrong with the others."""
    found = session.execute(_LINES, {"file": staged.file_id, "numbers": [sheet.number for sheet in chunk]})
    lines = {row.number: row.line for row in found}
    single, bad = [], []
    for sheet in chunk:
        if sheet.number in lines:
            bad.append(twice(sheet, lines[sheet.number], staged.parcel))
        else:
            lines[sheet.number] = sheet.line
            single.append(sheet)
    return single, bad


def _keep(session: Session, staged: Staged, sheets: Sequence[ListedSheet], told: Sequence[AsKept]) -> None:
    rows = [
        (staged.new + place, sheet.line, sheet.number, text)
        for place, (sheet, text) in enumerate(zip(sheets, told, strict=True), 1)
    ]
    insert_many(session, ROW, _COLUMNS, rows, {"file_id": staged.file_id})
    staged.new += len(rows)
