"""Cabinet checks as lines: which are open, through or closed, what each found, and which one a station stands in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Select, and_, case, func, select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, CabinetCheck, CheckExpected, CheckSeen, Hold, Shelf, Station, Worker, table_of
from app.domain.language import mark, say
from app.domain.numbers import COMMANDS

CHECK, EXPECTED, SEEN = table_of(CabinetCheck), table_of(CheckExpected), table_of(CheckSeen)
STATION, HOLD = table_of(Station), table_of(Hold)
BEGINNER, CLOSER = table_of(Worker).alias("beginner"), table_of(Worker).alias("closer")
MOST_LISTED = 100
_IS_EXPECTED = (
    select(EXPECTED.c.sheet_id)
    .where(EXPECTED.c.check_id == SEEN.c.check_id, EXPECTED.c.sheet_id == SEEN.c.sheet_id)
    .exists()
)
_CHECKS: Select[Any] = (
    select(
        CHECK, Cabinet.name.label("cabinet"), Shelf.name.label("shelf"), BEGINNER.c.name.label("beginner"),
        CLOSER.c.name.label("closer"),
    )
    .join(Cabinet, Cabinet.id == CHECK.c.cabinet_id)
    .outerjoin(Shelf, Shelf.id == CHECK.c.shelf_id)
    .outerjoin(BEGINNER, BEGINNER.c.id == CHECK.c.begun_by)
    .outerjoin(CLOSER, CLOSER.c.id == CHECK.c.closed_by)
)  # fmt: skip
# The holds that the closing of a check put: they bear its moment.
PUT_BY_IT = and_(HOLD.c.sheet_id == EXPECTED.c.sheet_id, HOLD.c.kind == "not-found", HOLD.c.put_at == CHECK.c.closed_at)
_CARDS = (
    ("cannot-be-read", mark("Cannot be read"), ""), ("check", mark("Stop here"), "&facts.check=leave"),
    ("done", mark("All is scanned"), ""),
)  # fmt: skip
STATES = {
    "open": mark("open"),
    "done": mark("through, not closed"),
    "closed": mark("closed"),
    "broken-off": mark("broken off"),
}


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One check: what it looks at (`place` in words), when and by whom it was begun and closed, and how far it came.

    `sample` is how many were drawn, None for all; `seen` counts the expected ones that were scanned. `missing` were held as
    not found at the closing, `still_missing` are it yet. Names are empty where they are not to be shown.
    """

    check_id: int
    cabinet: str
    shelf: str
    place: str
    sample: int | None
    state: str
    begun_at: datetime
    begun_by: str
    done_at: datetime | None
    closed_at: datetime | None
    closed_by: str
    why: str
    expected: int
    seen: int
    missing: int
    still_missing: int

    @property
    def state_words(self) -> str:
        """How it stands, in words."""
        return STATES[self.state]


@dataclass(frozen=True, slots=True)
class CheckHere:
    """The check that a station stands in, and how far that is."""

    check_id: int
    place: str
    expected: int
    seen: int

    @property
    def cards(self) -> tuple[tuple[str, str], ...]:
        """The buttons of a check: label, and what each sends, as a choice under an answer does."""
        return tuple((say(label), f"code={COMMANDS[name]}{more}") for name, label, more in _CARDS)


def checks(session: Session, *, names: bool, cabinet: str = "") -> tuple[CheckLine, ...]:
    """The checks, those first that are not closed, then the newest; of one cabinet where one is named."""
    found = _CHECKS.where(Cabinet.name == cabinet) if cabinet else _CHECKS
    rows = session.execute(found.order_by(CHECK.c.closed_at.is_not(None), CHECK.c.id.desc()).limit(MOST_LISTED)).all()
    return _lines(session, rows, names)


def open_checks(session: Session) -> tuple[CheckLine, ...]:
    """The checks that are not closed, the oldest first."""
    rows = session.execute(_CHECKS.where(CHECK.c.closed_at.is_(None)).order_by(CHECK.c.begun_at, CHECK.c.id)).all()
    return _lines(session, rows, False) if rows else ()


def check_line(session: Session, check_id: int, *, names: bool) -> tuple[CheckLine, Any] | None:
    """One check, and its row for what is reckoned of it; None when there is none."""
    row = session.execute(_CHECKS.where(CHECK.c.id == check_id)).one_or_none()
    return (_lines(session, [row], names)[0], row) if row is not None else None


def last_check(session: Session, cabinet: str) -> CheckLine | None:
    """The check of a cabinet that is open, else the newest one; None where it was never checked."""
    found = checks(session, names=False, cabinet=cabinet)
    return found[0] if found else None


def check_here(session: Session, station_id: int) -> CheckHere | None:
    """The check that a station stands in; None for none, and for one that is closed."""
    row = session.execute(
        _CHECKS.join(STATION, STATION.c.check_id == CHECK.c.id).where(
            STATION.c.id == station_id, CHECK.c.closed_at.is_(None)
        )
    ).one_or_none()
    if row is None:
        return None
    line = _lines(session, [row], False)[0]
    return CheckHere(line.check_id, line.place, line.expected, line.seen)


def stations_in(session: Session, check_id: int) -> tuple[str, ...]:
    """The stations at which a check goes on now."""
    mine = (STATION.c.check_id == check_id, STATION.c.closed_at.is_(None))
    return tuple(session.execute(select(STATION.c.name).where(*mine).order_by(STATION.c.name)).scalars())


def checks_version(session: Session) -> str:
    """A mark that changes with every scan of a check and every change of one: scans of a check write no entry."""
    seen = session.execute(select(func.max(SEEN.c.id))).scalar()
    standing = select(func.count(), func.count(CHECK.c.done_at), func.count(STATION.c.id)).select_from(CHECK)
    rows = session.execute(standing.outerjoin(STATION, STATION.c.check_id == CHECK.c.id)).one()
    return f"{seen} {tuple(rows)}"


def state_of(row: Any) -> str:
    """How a check stands: open, done, closed or broken-off."""
    if row.closed_at is None:
        return "open" if row.done_at is None else "done"
    return "closed" if row.done_at is not None else "broken-off"


def _lines(session: Session, rows: Sequence[Any], names: bool) -> tuple[CheckLine, ...]:
    ids = [row.id for row in rows]
    expected = _counted(session, select(EXPECTED.c.check_id, func.count()).where(EXPECTED.c.check_id.in_(ids))
                        .group_by(EXPECTED.c.check_id))  # fmt: skip
    seen = _counted(session, select(SEEN.c.check_id, func.count(SEEN.c.sheet_id.distinct()))
                    .where(SEEN.c.check_id.in_(ids), _IS_EXPECTED).group_by(SEEN.c.check_id))  # fmt: skip
    missing = _missing(session, ids)
    return tuple(
        CheckLine(
            row.id, row.cabinet, row.shelf or "",
            say("{cabinet}, shelf {shelf}", cabinet=row.cabinet, shelf=row.shelf) if row.shelf else row.cabinet,
            row.sample, state_of(row), row.begun_at, (row.beginner or "") if names else "", row.done_at, row.closed_at,
            (row.closer or "") if names else "", row.why or "", expected.get(row.id, 0), seen.get(row.id, 0),
            *missing.get(row.id, (0, 0)),
        )
        for row in rows
    )  # fmt: skip


def _counted(session: Session, query: Any) -> dict[int, int]:
    return {row[0]: row[1] for row in session.execute(query)}


def _missing(session: Session, ids: Sequence[int]) -> dict[int, tuple[int, int]]:
    """By check: how many its closing held as not found, and how many of them still are."""
    still = func.sum(case((HOLD.c.lifted_at.is_(None), 1), else_=0))
    found = (
        select(CHECK.c.id, func.count(), still)
        .join(EXPECTED, EXPECTED.c.check_id == CHECK.c.id)
        .join(HOLD, PUT_BY_IT)
        .where(CHECK.c.id.in_(ids), CHECK.c.closed_at.is_not(None))
        .group_by(CHECK.c.id)
    )
    return {row[0]: (row[1], row[2]) for row in session.execute(found)}
