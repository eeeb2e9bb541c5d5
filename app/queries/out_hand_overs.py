"""Hand-overs to the collection's catalogue: what lies ready, which were made, and each of them again as it was told then."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import islice
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, bindparam, func, select
from sqlalchemy.orm import Session

from app.db.hand_over_due import CALLED_BACK, HAND_OVER, HANDED, WORD, due_sheets
from app.db.models import Worker, table_of
from app.db.out_rows import AT_ONCE
from app.domain.archive_out import CORE, core_lines, shape_of
from app.domain.cells import BOM, kept_line
from app.domain.language import mark, say
from app.domain.out_table import columns_of_table, table_line
from app.domain.out_told import Told, from_kept, kept_back
from app.domain.own_columns import OWN
from app.queries.out_sheets import Files, described, more_files, names_kept

WORKER = table_of(Worker)
MOST_COUNTED, MOST_SHOWN = 1_000, 500
# What a hand-over says of a sheet beside what is told of it in any case.
MORE = tuple(f"{OWN}{name}" for name in ("hand-over", "line", "corrects", "changed", "mounted-by"))
WHAT = {"number": mark("its number"), "standing": mark("where it stands"), "name": mark("its name"), "shelf": mark("its shelf"),
        "label": mark("its label")}  # fmt: skip
_SAID = WORD.alias().c


def _words(deed: str) -> Any:
    return select(_SAID.words).where(_SAID.hand_over_id == HAND_OVER.c.id, _SAID.deed == deed).scalar_subquery()


def _when(deed: str) -> Any:
    return select(_SAID.said_at).where(_SAID.hand_over_id == HAND_OVER.c.id, _SAID.deed == deed).scalar_subquery()


_LINES: Select[Any] = (
    select(
        HAND_OVER, WORKER.c.name.label("by"), _words("made").label("to_whom"), _when("received").label("received_at"),
        _words("received").label("received_by"), _when("called-back").label("called_back_at"), _words("called-back").label("why"),
    )
    .outerjoin(WORKER, WORKER.c.id == HAND_OVER.c.made_by)
    .order_by(HAND_OVER.c.id.desc())
)  # fmt: skip
_LAST = select(func.max(HAND_OVER.c.id)).where(HAND_OVER.c.id.not_in(CALLED_BACK))
_OF_SHEET = (
    select(HANDED.c.hand_over_id, HANDED.c.corrects_id, HANDED.c.what, HAND_OVER.c.made_at)
    .join(HAND_OVER, HAND_OVER.c.id == HANDED.c.hand_over_id)
    .where(HANDED.c.sheet_id == bindparam("sheet"), HANDED.c.hand_over_id.not_in(CALLED_BACK))
    .order_by(HANDED.c.hand_over_id)
)
_TOLD = (
    select(HANDED.c.place, HANDED.c.key, HANDED.c.corrects_id, HANDED.c.what, HANDED.c.told)
    .where(HANDED.c.hand_over_id == bindparam("number"), HANDED.c.place > bindparam("after"))
    .order_by(HANDED.c.place)
    .limit(AT_ONCE)
)


@dataclass(frozen=True, slots=True)
class HandOverLine:
    """One hand-over: when, by whom, to whom, how many sheets and how many of them correct earlier ones, and how it ended."""

    number: int
    made_at: datetime
    by: str
    to_whom: str
    sheets: int
    corrections: int
    exact_places: bool
    with_names: bool
    received_at: datetime | None
    received_by: str
    called_back_at: datetime | None
    why: str
    is_last: bool

    @property
    def is_open(self) -> bool:
        """Whether nobody has received it yet, and it stands."""
        return self.received_at is None and self.called_back_at is None


@dataclass(frozen=True, slots=True)
class Ready:
    """What lies ready for the next: sheets filed, and sheets told before that are told otherwise. `more` than was counted."""

    filed: int
    corrections: int
    more: bool


@dataclass(frozen=True, slots=True)
class HandedLine:
    """One time that a sheet was handed over: in which hand-over, when, and what of an earlier one it corrects."""

    number: int
    made_at: datetime
    corrects: int | None
    what: tuple[str, ...]


def ready(session: Session, zone: ZoneInfo) -> Ready:
    """What lies ready for the next hand-over, counted as far as MOST_COUNTED."""
    filed = corrections = 0
    found = due_sheets(session, zone)
    for each in islice(found, MOST_COUNTED):
        filed, corrections = filed + (each.corrects_id is None), corrections + (each.corrects_id is not None)
    return Ready(filed, corrections, next(found, None) is not None)


def hand_overs(session: Session) -> tuple[HandOverLine, ...]:
    """The hand-overs that were made, newest first."""
    last = session.execute(_LAST).scalar()
    return tuple(_line(row, last) for row in session.execute(_LINES.limit(MOST_SHOWN)).mappings())


def hand_over(session: Session, number: int) -> HandOverLine | None:
    """One hand-over; None when there is none."""
    row = session.execute(_LINES.where(HAND_OVER.c.id == number)).mappings().one_or_none()
    return _line(row, session.execute(_LAST).scalar()) if row is not None else None


def handed(session: Session, sheet_id: int) -> tuple[HandedLine, ...]:
    """When a sheet was handed over, the first time first; what was called back was not."""
    rows = session.execute(_OF_SHEET, {"sheet": sheet_id})
    return tuple(
        HandedLine(
            row.hand_over_id, row.made_at, row.corrects_id, tuple(WHAT[each] for each in (row.what or "").split())
        )
        for row in rows
    )


def hand_over_table(session: Session, line: HandOverLine) -> Iterator[str]:
    """A hand-over as the lines of a CSV file: the same whenever it is made, but for a name that was replaced by a number."""
    columns = columns_of_table(names_kept(told for _, told in _sheets(session, line)), MORE)
    yield BOM + kept_line(columns)
    for _, told in _sheets(session, line):
        yield table_line(columns, told)


def hand_over_archive(session: Session, line: HandOverLine, title: str, zone: ZoneInfo) -> Files:
    """A hand-over as the files of a Darwin Core archive, the same whenever it is made."""
    shape = shape_of(names_kept(told for _, told in _sheets(session, line)), MORE)
    about = (
        f"Hand-over {line.number}: {line.sheets} sheets, {line.corrections} of them corrections of earlier hand-overs."
    )
    yield from described(shape, title, about, line.made_at, zone)
    yield CORE, core_lines(shape, _sheets(session, line))
    yield from more_files(shape, lambda: _sheets(session, line))


def _sheets(session: Session, line: HandOverLine) -> Iterator[tuple[str, Told]]:
    found = session.execute(select(WORKER.c.id, WORKER.c.name)) if line.with_names else ()
    names = {worker_id: name for worker_id, name in found}
    after = 0
    while rows := session.execute(_TOLD, {"number": line.number, "after": after}).all():
        for row in rows:
            told = from_kept(row.told)
            more = _more(line, row, [names[each] for each in told.mounted_by if each in names])
            told = replace(told, more=more)
            yield row.key, told if line.exact_places else kept_back(told)
        after = rows[-1].place


def _more(line: HandOverLine, row: Any, mounters: Iterable[str]) -> dict[str, str]:
    is_correction = row.corrects_id is not None
    values = (str(line.number), "correction" if is_correction else "filed", str(row.corrects_id or ""), row.what or "",
              " | ".join(mounters))  # fmt: skip
    return dict(zip(MORE, values, strict=True))


def _line(row: Any, last: int | None) -> HandOverLine:
    return HandOverLine(
        row["id"], row["made_at"], row["by"] or "", row["to_whom"] or "", row["sheets"], row["corrections"], row["exact_places"],
        row["with_names"], row["received_at"], row["received_by"] or "", row["called_back_at"], row["why"] or "", row["id"] == last,
    )  # fmt: skip


def no_such(number: int) -> str:
    """The sentence for a hand-over that is not there."""
    return say("There is no hand-over {number} here.", number=number)
