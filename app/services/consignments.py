"""Consignments from parcel to the end: begun, put right with a reason, counted by hand, closed when nothing of it waits."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Consignment, Sheet, Station, table_of
from app.domain.consigned import COUNT, COUNTED, JOINED, KINDS, difference
from app.domain.language import mark, say, say_n
from app.services.changes import changed, reason_given
from app.services.room import add_consignment

CONSIGNMENT = table_of(Consignment)
SHEET = table_of(Sheet)
STATION = table_of(Station)
MOST = 1_000_000
_WORDS = {"name": "name", "source": mark("where from"), "kind": "kind", "arrived_on": mark("arrived on"), "papers": "papers",
          "sheets_said": mark("sheets said"), "note": "note"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Told:
    """What is said of a consignment: from whom it came, how and when, with which papers, and how many sheets were said."""

    name: str
    source: str = ""
    kind: str = "fieldwork"
    arrived_on: date | None = None
    papers: str = ""
    sheets_said: int | None = None
    note: str = ""


def begin_consignment(session: Session, code: str, told: Told, now: datetime, by: int | None) -> int:
    """A parcel has come: its row. ValueError, in a sentence, for a code that is taken or empty, and for another kind."""
    code = " ".join(code.split())
    if not code:
        raise ValueError(say("It needs a short code, by which people call it."))
    values = _checked(told)
    known = {name: values[name] for name in ("kind", "arrived_on")}
    consignment_id = add_consignment(session, code, values["name"], source=values["source"] or "", **known)
    more = {name: values[name] for name in ("papers", "sheets_said", "note")}
    session.execute(update(CONSIGNMENT).where(CONSIGNMENT.c.id == consignment_id).values(more))
    changed(session, now, by, "consignment", consignment_id, "added", new=values["name"])
    return consignment_id


def change_consignment(
    session: Session, code: str, told: Told, why: str, now: datetime, by: int | None
) -> tuple[str, ...]:
    """Put right what is said of a consignment; what was changed, in words, one change written for each.

    ValueError without a reason, for another kind, and for a consignment that is not there.
    """
    row, values = _row(session, code), _checked(told)
    new = {name: value for name, value in values.items() if row[name] != value}
    if not new:
        return ()
    if not why.strip():
        raise ValueError(say("Say why it is put right; it stays in the history."))
    session.execute(update(CONSIGNMENT).where(CONSIGNMENT.c.id == row["id"]).values(new))
    for name, value in new.items():
        changed(
            session,
            now,
            by,
            "consignment",
            row["id"],
            _WORDS[name],
            old=_said(row[name]),
            new=_said(value),
            why=why.strip(),
        )
    return tuple(_WORDS[name] for name in new)


def confirm_count(session: Session, code: str, counted: int, now: datetime, by: int | None) -> str:
    """Somebody has counted a parcel by hand; how that differs from what is taken in, in a sentence.

    ValueError for a number that no parcel has, and for a consignment that is not there.
    """
    if not 0 <= counted <= MOST:
        raise ValueError(say("Give a number between 0 and {most:,}.", most=MOST))
    row = _row(session, code)
    changed(session, now, by, "consignment", row["id"], COUNT, new=str(counted))
    return difference(counted, _here(session, row["id"]), by=COUNTED)


def close_consignment(session: Session, code: str, why: str, now: datetime, by: int | None) -> None:
    """Nothing of a consignment waits any more: it is done, and leaves the room's order and the stations.

    ValueError while something waits; and without a reason where fewer or more are here than were said, or something of its
    list never came.
    """
    row = _row(session, code)
    if row["closed_at"] is not None:
        raise ValueError(say("It is closed already."))
    if waits := _count(session, row["id"], SHEET.c.in_queue):
        raise ValueError(
            say_n(
                "{n:,} sheet waits still: it is closed when nothing of it waits.",
                "{n:,} sheets wait still: it is closed when nothing of it waits.",
                waits,
            )
        )
    never, apart = _count(session, row["id"], SHEET.c.stage.is_(None)), _differs(session, row)
    if not why.strip() and (never or apart):
        told = apart or say("{never:,} of its list never came.", never=never)
        raise ValueError(say("{told} Say what is known of it, then it can be closed.", told=told))
    session.execute(update(CONSIGNMENT).where(CONSIGNMENT.c.id == row["id"]).values(closed_at=now, place_in_order=0))
    # What is taken in from now on would be put to it.
    session.execute(update(STATION).where(STATION.c.consignment_id == row["id"]).values(consignment_id=None))
    changed(session, now, by, "consignment", row["id"], "closed", new="closed", why=why.strip() or None)


def open_again(session: Session, code: str, why: str, now: datetime, by: int | None) -> None:
    """A closed consignment is not done after all. ValueError without a reason, and for one that is open."""
    row = _row(session, code)
    if row["closed_at"] is None:
        raise ValueError(say("It is open already."))
    why = reason_given(why)
    session.execute(update(CONSIGNMENT).where(CONSIGNMENT.c.id == row["id"]).values(closed_at=None))
    changed(session, now, by, "consignment", row["id"], "closed", old="closed", new="open", why=why)


def _checked(told: Told) -> dict[str, Any]:
    """The columns of what was told; what is empty is nothing."""
    values = {each.name: getattr(told, each.name) for each in fields(Told)}
    values |= {name: " ".join(values[name].split()) or None for name in ("name", "source", "papers")}
    values["note"] = told.note.strip() or None
    if values["name"] is None:
        raise ValueError(say("It needs a name."))
    if told.kind not in KINDS:
        raise ValueError(say("A consignment is one of: {kinds}.", kinds=", ".join(map(say, KINDS))))
    if told.sheets_said is not None and not 0 <= told.sheets_said <= MOST:
        raise ValueError(say("Give a number of sheets between 0 and {most:,}.", most=MOST))
    return values


def _row(session: Session, code: str) -> RowMapping:
    row = (
        session.execute(select(CONSIGNMENT).where(CONSIGNMENT.c.code == code).with_for_update())
        .mappings()
        .one_or_none()
    )
    if row is None:
        raise ValueError(say("There is no consignment called {code}.", code=code[:40]))
    return row


def _differs(session: Session, row: RowMapping) -> str:
    here = _here(session, row["id"])
    return difference(row["sheets_said"], here) if row["sheets_said"] not in (None, here) else ""


def _here(session: Session, consignment_id: int) -> int:
    return _count(session, consignment_id, SHEET.c.stage.is_not(None) | SHEET.c.closed_as.is_not(None))


def _count(session: Session, consignment_id: int, *where: Any) -> int:
    mine = (
        SHEET.c.consignment_id == consignment_id,
        SHEET.c.closed_as.is_(None) | ~SHEET.c.closed_as.startswith(JOINED),
    )
    return int(session.execute(select(func.count()).select_from(SHEET).where(*mine, *where)).scalar_one())


def _said(value: Any) -> str | None:
    return None if value is None else str(value)
