"""The sheets of a checked file are taken in, some at a time so that scanning goes on; or taken back, all of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import bindparam, func, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.bulk_made import makes_rows
from app.db.models import Entry, Sheet, table_of
from app.db.prepared import prepared
from app.domain.errors import Refusal, Refused
from app.domain.language import say, say_n
from app.domain.stages import Step
from app.services.changes import changed
from app.services.corrections import take_back_tail
from app.services.desk import Desk, Occasion, ScanRequest
from app.services.files import FILE, GOING, IN, ROW, WITHDRAWN, consignment_of, file_row
from app.services.log import standing_rows
from app.services.naming import Names
from app.services.opening import open_desk
from app.services.parcels import SHORT
from app.services.reserving import UNDER_WAY
from app.services.staged_rows import Span, listed, some_are_here
from app.services.taking_rows import take_in_rows, take_in_span

SHEET, ENTRY = table_of(Sheet), table_of(Entry)
CHUNK = 500
_LAST = ENTRY.alias("its_last")
# A sheet that is taken back costs more than one that is taken in.
BACK = 50

_SOME = prepared(
    select(ROW.c.line, ROW.c.number, ROW.c.said)
    .where(ROW.c.file_id == bindparam("file"), ROW.c.place > bindparam("after"), ROW.c.place <= bindparam("upto"))
    .order_by(ROW.c.place)
)
_REACH = prepared(
    update(FILE)
    .where(FILE.c.id == bindparam("file"))
    .values(done=bindparam("upto"), state=bindparam("to_state"), ended_at=bindparam("at"))
)
_OF_ROWS = select(SHEET.c.id).join(ROW, ROW.c.number == SHEET.c.number)


@dataclass(frozen=True, slots=True)
class Reached:
    """What one step with a file came to: how many of its rows are in, of how many, and whether nothing is left to do."""

    done: int
    rows: int
    is_over: bool


def take_in_some(session: Session, file_id: int, occasion: Occasion, names: Names, many: int = CHUNK) -> Reached:
    """Take in the next sheets of a file that is going; of any other, nothing. `names` are those met so far."""
    file = file_row(session, file_id)
    if file is None or file["state"] != GOING:
        return Reached(0, 0, True)
    upto = min(file["done"] + many, file["rows"])
    span, short = Span(file_id, file["done"], upto), file["digest"][:SHORT]
    desk = _desk(session, occasion, file["sent_by"])
    if makes_rows(session) and not some_are_here(session, span):
        take_in_span(desk, consignment_of(session, file), span, short)
    else:
        chunk = [listed(row.line, row.number, row.said) for row in session.execute(_SOME, span.given)]
        take_in_rows(desk, consignment_of(session, file), chunk, names, short)
    is_over = upto == file["rows"]
    ended = {"to_state": IN, "at": occasion.now} if is_over else {"to_state": GOING, "at": None}
    session.execute(_REACH, {"file": file_id, "upto": upto, **ended})
    return Reached(upto, file["rows"], is_over)


def withdraw_file(session: Session, file_id: int, by: int, reason: str, occasion: Occasion) -> None:
    """Take no more of a file in, and take back what is in, all of it; what is in is taken back afterwards, some at a time.

    Refused: reason-needed; out-of-order for a file that is in, or was withdrawn; wrong-stage where sheets of it have gone on.
    """
    file = file_row(session, file_id)
    if not reason.strip():
        raise Refused(Refusal("reason-needed", say("A reason is needed; it stays with the file."), say("Say why.")))
    if file is None or file["state"] not in UNDER_WAY:
        words = say("This file is not on its way in any more.")
        raise Refused(Refusal("out-of-order", words, say("What is in is withdrawn sheet by sheet.")))
    if count := _gone_on(session, file):
        words = say_n("{n:,} of its sheets have gone on since: somebody has them in hand.",
                      "{n:,} of its sheets have gone on since: somebody has them in hand.", count)  # fmt: skip
        raise Refused(Refusal("wrong-stage", words, say("Let the file come in, then withdraw sheet by sheet.")))
    ended = occasion.now if not file["done"] else None
    values = {"state": WITHDRAWN, "why": reason[:500], "ended_at": ended}
    session.execute(update(FILE).where(FILE.c.id == file_id).values(**values))
    changed(session, occasion.now, by, "file", file_id, file["name"], old=file["state"], new=WITHDRAWN, why=reason)


def take_back_some(session: Session, file_id: int, occasion: Occasion) -> Reached:
    """Take back the last sheets that came in of a withdrawn file. One that has gone on meanwhile stays, and the file says so."""
    file = file_row(session, file_id)
    if file is None or file["state"] != WITHDRAWN or not file["done"]:
        return Reached(0, 0, True)
    after = max(file["done"] - BACK, 0)
    ids = session.execute(_rows_between(file_id, after, file["done"])).scalars().all()
    desk = _desk(session, occasion, file["sent_by"])
    stayed = sum(not _taken_back(desk, sheet_id, file) for sheet_id in ids)
    values: dict[str, Any] = {"done": after, **({"ended_at": occasion.now} if not after else {})}
    if stayed:
        values["why"] = f"{file['why']} ({stayed:,} had gone on and stayed)"
    session.execute(update(FILE).where(FILE.c.id == file_id).values(**values))
    return Reached(after, file["rows"], not after)


def _rows_between(file_id: int, after: int, upto: int) -> Any:
    return _OF_ROWS.where(ROW.c.file_id == file_id, ROW.c.place > after, ROW.c.place <= upto)


def _gone_on(session: Session, file: RowMapping) -> int:
    """How many of a file's sheets have more than the one entry that took them in."""
    mine = _rows_between(file["id"], 0, file["done"]).with_only_columns(func.count())
    # A sheet that was taken in anew has older entries; what tells is its last one.
    last = select(func.max(ENTRY.c.id)).where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == SHEET.c.id)
    steps = select(_LAST.c.step).where(_LAST.c.id == last.correlate(SHEET).scalar_subquery())
    went = steps.correlate(SHEET).scalar_subquery() != Step.TAKE_IN.value
    return int(session.execute(mine.where(SHEET.c.version != 1, went)).scalar_one())


def _taken_back(desk: Desk, sheet_id: int, file: RowMapping) -> bool:
    rows = standing_rows(desk.session, "sheet", sheet_id)
    if not rows or rows[-1].step != Step.TAKE_IN or rows[-1].facts.get("file") != file["digest"][:SHORT]:
        return False
    take_back_tail(desk, "sheet", sheet_id, rows[-1].id, file["why"] or "")
    return True


def _desk(session: Session, occasion: Occasion, by: int | None) -> Desk:
    """The desk of whoever sent the file; who has left since is still who sent it, and no refusal stops what was begun."""
    request = ScanRequest("", "", worker_ids=(by,) if by is not None else (), manages=True)
    return open_desk(session, request, occasion)[0]
