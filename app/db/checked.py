"""The stories of the sheets of a cabinet check, read from its own rows and from the log, for those who write and who read."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from typing import Any

from sqlalchemy import Select, and_, func, or_, select, union
from sqlalchemy.orm import Session

from app.db.models import Bundle, Cabinet, CheckExpected, CheckSeen, Entry, Sheet, Shelf, Stack, Station, table_of
from app.domain.checking import Lies, Reckoned, Scope, Seen, Story, Turn, reckon
from app.domain.language import mark, say

EXPECTED, SEEN, ENTRY, SHEET = table_of(CheckExpected), table_of(CheckSeen), table_of(Entry), table_of(Sheet)
SHELF, CABINET = table_of(Shelf), table_of(Cabinet)
_FROM_SHELF, _FROM_CABINET = SHELF.alias(), CABINET.alias()
_AT_ONCE = 500
WITHDRAWN = mark("withdrawn")
_TURNS: Select[Any] = (
    select(
        ENTRY.c.id, ENTRY.c.subject_id, ENTRY.c.happened_at, ENTRY.c.recorded_at, ENTRY.c.corrects,
        ENTRY.c.to_cabinet_id, ENTRY.c.to_shelf_id, ENTRY.c.from_cabinet_id, ENTRY.c.from_shelf_id,
        CABINET.c.name.label("cabinet"), SHELF.c.name.label("shelf"), Stack.name.label("stack"),
        Station.name.label("on_table"), Bundle.name.label("bundle"), ENTRY.c.step,
    )
    .outerjoin(CABINET, CABINET.c.id == ENTRY.c.to_cabinet_id)
    .outerjoin(SHELF, SHELF.c.id == ENTRY.c.to_shelf_id)
    .outerjoin(Stack, Stack.id == ENTRY.c.to_stack_id)
    .outerjoin(Station, Station.id == ENTRY.c.to_table_id)
    .outerjoin(Bundle, Bundle.id == ENTRY.c.to_bundle_id)
    .where(ENTRY.c.subject_kind == "sheet")
    .order_by(ENTRY.c.id)
)  # fmt: skip
_PLACES: Select[Any] = (
    select(
        SHEET.c.id, SHEET.c.cabinet_id, SHEET.c.shelf_id, SHEET.c.closed_as, CABINET.c.name.label("cabinet"),
        SHELF.c.name.label("shelf"), Stack.name.label("stack"), Station.name.label("on_table"),
        Bundle.name.label("bundle"),
    )
    .outerjoin(CABINET, CABINET.c.id == SHEET.c.cabinet_id)
    .outerjoin(SHELF, SHELF.c.id == SHEET.c.shelf_id)
    .outerjoin(Stack, Stack.id == SHEET.c.stack_id)
    .outerjoin(Station, Station.id == SHEET.c.table_id)
    .outerjoin(Bundle, Bundle.id == SHEET.c.bundle_id)
)  # fmt: skip


def scope_of(check: Any) -> Scope:
    """What a check looks at, from its row."""
    return Scope(check.cabinet_id, check.shelf_id, check.sample is not None)


def reckoned(session: Session, check: Any, sheet_id: int | None = None) -> list[Reckoned]:
    """What became of every sheet of a check, or of one; for a closed check as it was when it was closed."""
    told = stories(session, check, sheet_id)
    found = (reckon(scope_of(check), each) for each in told)
    return [each for each in found if each is not None]


def stories(session: Session, check: Any, sheet_id: int | None = None) -> list[Story]:
    """The story of every sheet that was expected, seen, or moved in or out; or of one sheet only."""
    one = () if sheet_id is None else (EXPECTED.c.sheet_id == sheet_id,)
    lay = {row.sheet_id: row.shelf_id for row in session.execute(
        select(EXPECTED.c.sheet_id, EXPECTED.c.shelf_id).where(EXPECTED.c.check_id == check.id, *one))}  # fmt: skip
    seen = _seen(session, check, sheet_id)
    turns = _turns(session, check, sheet_id)
    ids = sorted({*lay, *seen, *turns})
    began = _began(session, check, ids)
    closed = {row.id for row in _in_portions(session, select(SHEET.c.id, SHEET.c.closed_as), SHEET.c.id, ids)
              if row.closed_as is not None}  # fmt: skip
    return [
        Story(each, each in lay, Lies(check.cabinet_id, lay[each]) if each in lay else began[each],
              tuple(turns.get(each, ())), tuple(seen.get(each, ())), each in closed)
        for each in ids
    ]  # fmt: skip


def said_where(row: Any) -> str:
    """Where a row's place is, as one would walk there; "withdrawn" and the like are for the caller to say."""
    if row.stack:
        return say("stack {stack}", stack=row.stack)
    if row.on_table:
        return str(row.on_table)
    if row.cabinet:
        return _on_shelf(row) if row.shelf else str(row.cabinet)
    return say("bundle {bundle}", bundle=row.bundle) if row.bundle else ""


def _on_shelf(row: Any) -> str:
    return say("{cabinet}, shelf {shelf}", cabinet=row.cabinet, shelf=row.shelf)


def _seen(session: Session, check: Any, sheet_id: int | None) -> dict[int, list[Seen]]:
    mine = [SEEN.c.check_id == check.id, SEEN.c.sheet_id.is_not(None)]
    mine += [SEEN.c.sheet_id == sheet_id] if sheet_id is not None else []
    found: dict[int, list[Seen]] = defaultdict(list)
    columns = (SEEN.c.sheet_id, SEEN.c.seen_at, SEEN.c.shelf_id)
    for row in session.execute(select(*columns).where(*mine).order_by(SEEN.c.seen_at, SEEN.c.id)):
        found[row.sheet_id].append(Seen(row.seen_at, row.shelf_id))
    return found


def _turns(session: Session, check: Any, sheet_id: int | None) -> dict[int, list[Turn]]:
    if sheet_id is not None:
        whose: Any = ENTRY.c.subject_id == sheet_id
    else:
        ours = union(
            select(EXPECTED.c.sheet_id).where(EXPECTED.c.check_id == check.id),
            select(SEEN.c.sheet_id).where(SEEN.c.check_id == check.id, SEEN.c.sheet_id.is_not(None)),
        )
        moved = or_(ENTRY.c.to_cabinet_id == check.cabinet_id, ENTRY.c.from_cabinet_id == check.cabinet_id)
        since = select(ENTRY.c.subject_id).where(ENTRY.c.subject_kind == "sheet", *_meanwhile(session, check), moved)
        whose = or_(ENTRY.c.subject_id.in_(ours), ENTRY.c.subject_id.in_(since))
    found: dict[int, list[Turn]] = defaultdict(list)
    for row in session.execute(_TURNS.where(*_meanwhile(session, check), whose)):
        where = WITHDRAWN if row.step == "withdraw" else said_where(row)
        lies = Lies(row.to_cabinet_id, row.to_shelf_id, where)
        found[row.subject_id].append(Turn(row.id, row.happened_at, lies, row.corrects))
    return found


def _meanwhile(session: Session, check: Any) -> tuple[Any, ...]:
    """Entries after the check began and, once it is closed, up to its closing."""
    since = (ENTRY.c.id > check.begun_entry_id,)
    if check.closed_at is None:
        return since
    closing = select(func.max(ENTRY.c.id)).where(
        ENTRY.c.subject_kind == "cabinet",
        ENTRY.c.subject_id == check.cabinet_id,
        ENTRY.c.happened_at == check.closed_at,
    )
    return (*since, ENTRY.c.id <= (session.execute(closing).scalar() or check.begun_entry_id))


def _began(session: Session, check: Any, ids: Collection[int]) -> dict[int, Lies]:
    """Where these sheets lay when the check began: where their first entry since took them from, else where they lie."""
    found = {row.id: Lies(row.cabinet_id, row.shelf_id, _now_where(row))
             for row in _in_portions(session, _PLACES, SHEET.c.id, ids)}  # fmt: skip
    later = select(func.min(ENTRY.c.id).label("id")).where(
        ENTRY.c.subject_kind == "sheet", ENTRY.c.id > check.begun_entry_id
    )
    firsts = [row.id for row in _in_portions(session, later.group_by(ENTRY.c.subject_id), ENTRY.c.subject_id, ids)]
    came_from = (
        select(ENTRY.c.subject_id, ENTRY.c.from_cabinet_id, ENTRY.c.from_shelf_id, _FROM_CABINET.c.name.label("cabinet"),
               _FROM_SHELF.c.name.label("shelf"), Stack.name.label("stack"))
        .outerjoin(_FROM_CABINET, _FROM_CABINET.c.id == ENTRY.c.from_cabinet_id)
        .outerjoin(_FROM_SHELF, _FROM_SHELF.c.id == ENTRY.c.from_shelf_id)
        .outerjoin(Stack, Stack.id == ENTRY.c.from_stack_id)
    )  # fmt: skip
    for row in _in_portions(session, came_from, ENTRY.c.id, firsts):
        shelf = _on_shelf(row) if row.shelf else row.cabinet or ""
        where = say("stack {stack}", stack=row.stack) if row.stack else shelf
        found[row.subject_id] = Lies(row.from_cabinet_id, row.from_shelf_id, where)
    return found


def _now_where(row: Any) -> str:
    return WITHDRAWN if row.closed_as is not None else said_where(row)


def _in_portions(session: Session, query: Select[Any], column: Any, ids: Collection[int]) -> list[Any]:
    """The rows of many ids, so many at once as a statement holds."""
    several = list(ids)
    found: list[Any] = []
    for start in range(0, len(several), _AT_ONCE):
        found += session.execute(query.where(and_(column.in_(several[start : start + _AT_ONCE])))).all()
    return found
