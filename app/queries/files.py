"""The files that sheets were taken in from: which are on their way, how far they are, and how columns were read before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Select, and_, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import ColumnMap, Consignment, TakenFile, TakenRow, Worker, table_of
from app.domain.mapping import Ways, key_of, source_of, way_fault

FILE, ROW = table_of(TakenFile), table_of(TakenRow)
CONSIGNMENT, WORKER, MAP = table_of(Consignment), table_of(Worker), table_of(ColumnMap)
MOST_FILES = 100
UNDER_WAY = ("checked", "going")

_STAGED = select(func.coalesce(func.max(ROW.c.place), 0)).where(ROW.c.file_id == FILE.c.id).scalar_subquery()
_TO_DO = or_(FILE.c.state.in_(UNDER_WAY), and_(FILE.c.state == "withdrawn", FILE.c.done > 0))


@dataclass(frozen=True, slots=True)
class Moving:
    """A file with which something is still to be done, and how far it is: two looks that are alike say that nobody moves it."""

    file_id: int
    state: str
    digest: str
    done: int
    staged: int


@dataclass(frozen=True, slots=True)
class FileLine:
    """One file: what it is called, for which consignment, how far it is, who sent it and when, and why it was withdrawn.

    `state` is checked (its rows are being looked through; so far `staged`), going, in, or withdrawn; of a withdrawn one
    `done` sheets are still to be taken back.
    """

    file_id: int
    name: str
    consignment: str
    state: str
    rows: int
    done: int
    staged: int
    sent_at: datetime
    by: str
    ended_at: datetime | None
    why: str
    title: str

    @property
    def is_moving(self) -> bool:
        """Whether something is still to be done with it."""
        return self.state in UNDER_WAY or (self.state == "withdrawn" and self.done > 0)

    @property
    def may_be_withdrawn(self) -> bool:
        """Whether it is not all in yet."""
        return self.state in UNDER_WAY


def files_moving(session: Session) -> tuple[Moving, ...]:
    """The files with which something is still to be done, oldest first; those too whose checked rows lie about."""
    left = select(ROW.c.file_id).where(ROW.c.file_id == FILE.c.id).exists()
    found = select(FILE.c.id, FILE.c.state, FILE.c.digest, FILE.c.done, _STAGED).where(or_(_TO_DO, left))
    return tuple(Moving(*row) for row in session.execute(found.order_by(FILE.c.id)))


def files(session: Session) -> tuple[FileLine, ...]:
    """The latest files, newest first."""
    return tuple(
        _line(row) for row in session.execute(_lines().order_by(FILE.c.id.desc()).limit(MOST_FILES)).mappings()
    )


def file_by_id(session: Session, file_id: int) -> FileLine | None:
    """One file; None when there is none."""
    row = session.execute(_lines().where(FILE.c.id == file_id)).mappings().one_or_none()
    return _line(row) if row is not None else None


def remembered_ways(session: Session, code: str, headings: Sequence[str]) -> Ways | None:
    """How the columns of a file with these headings were read, when the last one came from where this consignment comes
    from; None when there was none.
    """
    consignment = session.execute(select(CONSIGNMENT).where(CONSIGNMENT.c.code == code)).mappings().one_or_none()
    if consignment is None:
        return None
    mine = (MAP.c.source_key == source_of(consignment["source"], code), MAP.c.headings == key_of(headings))
    told: dict[str, Any] | None = session.execute(select(MAP.c.mapping).where(*mine)).scalar()
    ways = tuple(str(way) for way in told.get("ways", ())) if told else ()
    return ways if ways and not way_fault(headings, ways) else None


def _lines() -> Select[Any]:
    return (
        select(FILE, _STAGED.label("staged"), CONSIGNMENT.c.code, WORKER.c.name.label("worker"))
        .join(CONSIGNMENT, CONSIGNMENT.c.id == FILE.c.consignment_id)
        .outerjoin(WORKER, WORKER.c.id == FILE.c.sent_by)
    )


def _line(row: Any) -> FileLine:
    return FileLine(
        row["id"], row["name"], row["code"], row["state"], row["rows"], row["done"], row["staged"], row["sent_at"],
        row["worker"] or "", row["ended_at"], row["why"] or "", (row["mapping"] or {}).get("title", ""),
    )  # fmt: skip
