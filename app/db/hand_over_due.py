"""What is due for the next hand-over: sheets filed since the last one, and those told before that are now told otherwise.

Read off the log: only a sheet with an entry after the last one that a hand-over took in can be told otherwise than before.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import BindParameter, bindparam, func, select, text
from sqlalchemy.orm import Session

from app.db.models import Entry, HandedSheet, HandOver, HandOverWord, Sheet, table_of
from app.db.out_rows import AT_ONCE, told_sheets
from app.domain.out_told import Told, changes, from_kept
from app.domain.stages import Stage

SHEET, ENTRY = table_of(Sheet), table_of(Entry)
HAND_OVER, HANDED, WORD = table_of(HandOver), table_of(HandedSheet), table_of(HandOverWord)
# One that was called back was never made, as far as the next one is concerned.
CALLED_BACK = select(WORD.c.hand_over_id).where(WORD.c.deed == "called-back")
_SINCE = select(func.coalesce(func.max(HAND_OVER.c.until_entry_id), 0)).where(HAND_OVER.c.id.not_in(CALLED_BACK))
_LAST = select(func.coalesce(func.max(ENTRY.c.id), 0))
_MOVED = (
    select(ENTRY.c.id, ENTRY.c.subject_id)
    .where(ENTRY.c.id > bindparam("after"), ENTRY.c.subject_kind == "sheet")
    .order_by(ENTRY.c.id)
    .limit(AT_ONCE)
)
_IDS: BindParameter[int] = bindparam("sheets", expanding=True)
_FILED = select(SHEET.c.id).where(SHEET.c.id.in_(_IDS), SHEET.c.stage == Stage.FILED, SHEET.c.closed_as.is_(None))
_LATEST = (
    select(HANDED.c.sheet_id, func.max(HANDED.c.hand_over_id).label("hand_over_id"))
    .where(HANDED.c.sheet_id.in_(_IDS), HANDED.c.hand_over_id.not_in(CALLED_BACK))
    .group_by(HANDED.c.sheet_id)
    .subquery()
)
_TOLD_BEFORE = select(HANDED.c.sheet_id, HANDED.c.hand_over_id, HANDED.c.told).join(
    _LATEST, (_LATEST.c.sheet_id == HANDED.c.sheet_id) & (_LATEST.c.hand_over_id == HANDED.c.hand_over_id)
)


@dataclass(frozen=True, slots=True)
class DueSheet:
    """A sheet for the next hand-over as it is told now. `entry_id` is the entry by which it was found.

    Of one that was told before: in which hand-over, and by the kinds of CHANGES what is told otherwise.
    """

    sheet_id: int
    key: str
    told: Told
    entry_id: int
    corrects_id: int | None = None
    what: tuple[str, ...] = ()


def hold_the_log(session: Session) -> None:
    """Wait for entries that are being written, and let none in until the end, nor another hand-over: so that no number of an
    entry is passed over, and none of a hand-over comes twice (SQLite has one writer in any case).
    """
    if session.get_bind().dialect.name != "sqlite":
        session.execute(text("LOCK TABLE entry IN SHARE ROW EXCLUSIVE MODE"))


def last_entry(session: Session) -> int:
    """The last entry of the log."""
    return int(session.execute(_LAST).scalar_one())


def due_sheets(session: Session, zone: ZoneInfo) -> Iterator[DueSheet]:
    """What is due, in the order in which it came up in the log; whoever has enough stops asking."""
    after, met = int(session.execute(_SINCE).scalar_one()), set[int]()
    while moved := session.execute(_MOVED, {"after": after}).all():
        found_by: dict[int, int] = {}
        for entry_id, sheet_id in moved:
            if sheet_id not in met:
                found_by.setdefault(sheet_id, entry_id)
        met |= found_by.keys()
        yield from _due(session, found_by, zone)
        after = moved[-1].id


def _due(session: Session, found_by: dict[int, int], zone: ZoneInfo) -> Iterator[DueSheet]:
    ids = list(found_by)
    if not ids:
        return
    filed = set(session.execute(_FILED, {"sheets": ids}).scalars())
    before = {row.sheet_id: row for row in session.execute(_TOLD_BEFORE, {"sheets": ids})}
    wanted = _told_now(session, [each for each in ids if each in filed or each in before], zone)
    for sheet_id in (each for each in ids if each in wanted):
        key, told = wanted[sheet_id]
        was = before.get(sheet_id)
        if was is None:
            yield DueSheet(sheet_id, key, told, found_by[sheet_id])
        elif what := changes(from_kept(was.told), told):
            yield DueSheet(sheet_id, key, told, found_by[sheet_id], was.hand_over_id, what)


def _told_now(session: Session, ids: Sequence[int], zone: ZoneInfo) -> dict[int, tuple[str, Told]]:
    rows: list[Any] = told_sheets(session, ids, zone)
    return {sheet_id: (key, told) for sheet_id, key, told in rows}
