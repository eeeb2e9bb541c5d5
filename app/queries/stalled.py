"""Who has waited too long, asked of many sheets at once: the same limits as for one sheet, as cutoffs for the query."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    BindParameter,
    ColumnElement,
    FromClause,
    Select,
    and_,
    bindparam,
    case,
    false,
    func,
    literal,
    not_,
    or_,
    select,
)
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Sheet, table_of
from app.domain.holds import AWAY, OUT
from app.domain.limits import limit_of, thirds
from app.domain.stages import Stage
from app.domain.stalls import is_stalled
from app.queries.clocks import Glued, clocks_of
from app.queries.in_freezer import lies_in
from app.queries.kinds import (
    IN_QUEUE,
    KINDS,
    MOMENT,
    Kind,
    among,
    free_where,
    is_kept,
    treats_before,
    untreated,
    where_of,
)
from app.queries.waiting import Judge, ready_since

SHEET = table_of(Sheet)
PARTS = ("third", "two_thirds", "whole")
# Three counts in one sum, so that each row is judged once: each has room for two million sheets of a kind in a cabinet.
ROOM_BITS = 21
PACKED = {"whole": 1 + (1 << ROOM_BITS) + (1 << 2 * ROOM_BITS), "two_thirds": 1 + (1 << ROOM_BITS), "third": 1}
_ON_TABLE = SHEET.alias("on_table")
_NOW = bindparam("now", type_=MOMENT)
_FROZEN: BindParameter[Any] = bindparam("frozen", expanding=True)


@dataclass(frozen=True, slots=True)
class Waiting:
    """How many sheets of a kind are in a cabinet (None: in none), and how many of those that may go on passed parts of
    their limit; `stalled_since` is when the oldest of the stalled came into its stage.

    Counted apart, each sheet once: those that are `out`, those `in_freezer`, those `held` (a hold stops what comes next,
    or they are not found). Of those ready for mounting that may go on, `on_tables` are taken up already, and
    `to_freeze` of the others go through the freezer first.
    """

    kind: Kind
    cabinet_id: int | None
    count: int
    held: int
    out: int
    to_freeze: int
    oldest_since: datetime
    over_third: int
    over_two_thirds: int
    stalled: int
    stalled_since: datetime | None
    in_freezer: int = 0
    on_tables: int = 0

    @property
    def free(self) -> int:
        """How many may go on."""
        return self.count - self.held - self.out - self.in_freezer


def waiting_in(session: Session, judged: Judge, kind: Kind, own_days: Mapping[int, int]) -> list[Waiting]:
    """Count the sheets of one kind by cabinet; `own_days` are the limits of cabinets that have one of their own."""
    if kind.facts.get("to_freeze") and not judged.house.treat_before_filing:
        return []
    treats = treats_before(judged, kind)
    values = {**_values(judged, kind, own_days), "now": judged.now, "frozen": list(judged.frozen)}
    counting = _counting(kind, tuple(own_days), treats, bool(judged.frozen))
    found = {row.cabinet_id: _unpacked(kind, row) for row in session.execute(counting, values)}
    if judged.frozen:
        for row in session.execute(_in_freezer(kind, treats), values):
            found[row.cabinet_id] = _with_frozen(kind, found.get(row.cabinet_id), row)
    if kind.stage is Stage.READY and None in found:
        tables = session.execute(_on_tables(kind, treats), values).one()
        here = found[None]
        found[None] = replace(here, on_tables=tables.sheets, to_freeze=here.to_freeze - tables.to_freeze)
    return list(found.values())


def stalled_where(session: Session, judged: Judge, stage: Stage | None) -> ColumnElement[bool]:
    """The condition that a sheet in the queue is stalled, at one stage or at any; limits of cabinets win."""
    own_days = cabinet_days(session)
    found = [_kind_stalled(judged, kind, own_days) for kind in KINDS if stage in (None, kind.stage)]
    if stage in (None, Stage.UNDER_PRESS):
        found.append(SHEET.c.id.in_(forgotten_ids(session, judged)))
    return or_(*found) if found else false()


def forgotten_ids(session: Session, judged: Judge) -> list[int]:
    """The sheets that have been ready under press for longer than the house allows."""
    mine = (IN_QUEUE, SHEET.c.stage == Stage.UNDER_PRESS, not_(among(SHEET.c.holds, AWAY)))
    rows = session.execute(select(SHEET.c.id, SHEET.c.glued_at, SHEET.c.minimum_s).where(*mine))
    clocks = clocks_of(session, [Glued(*row) for row in rows], judged.now)
    limit = limit_of(Stage.UNDER_PRESS, judged.house)
    ready = {sheet_id: ready_since(clock) for sheet_id, clock in clocks.items()}
    return [sheet_id for sheet_id, since in ready.items()
            if since is not None and limit is not None and is_stalled(limit, since, judged.now, judged.calendar)]  # fmt: skip


def cabinet_days(session: Session) -> dict[int, int]:
    """The cabinets with a limit of their own, in open days."""
    found = select(Cabinet.id, Cabinet.limit_open_days).where(Cabinet.limit_open_days.is_not(None))
    return {row.id: row.limit_open_days for row in session.execute(found)}


@lru_cache(maxsize=64)
def _counting(kind: Kind, own: tuple[int, ...], treats: bool, frozen: bool) -> Select[Any]:
    """Built once for a kind and the cabinets with limits of their own: the board is drawn all day long.

    What is in the freezer is left out: a condition asked once of each row is cheaper than one asked for each figure.
    """
    rows = _rows(kind, treats, frozen)
    kept, since = is_kept(kind, rows.c.holds), rows.c.since
    late = {part: since < _cut(part, own, rows.c.cabinet_id) for part in PACKED}
    used = case((kept, 0), *((late[part], weight) for part, weight in PACKED.items()), else_=0)
    out = among(rows.c.holds, (OUT,))
    freeze = _sum(and_(rows.c.must_freeze, not_(kept))) if treats and kind.stage is Stage.READY else literal(0)
    columns = {
        "sheets": func.count(), "held": _sum(and_(kept, not_(out))), "out": _sum(out), "to_freeze": freeze,
        "oldest": func.min(rows.c.came_at), "used": func.sum(used),
        "stalled_since": func.min(case((and_(late["whole"], not_(kept)), rows.c.came_at))),
    }  # fmt: skip
    named = (column.label(name) for name, column in columns.items())
    return select(rows.c.cabinet_id, *named).group_by(rows.c.cabinet_id)


def _unpacked(kind: Kind, row: Any) -> Waiting:
    each = (1 << ROOM_BITS) - 1
    third, two_thirds, whole = (int(row.used) >> place * ROOM_BITS & each for place in range(3))
    return Waiting(kind, row.cabinet_id, row.sheets, row.held, row.out, row.to_freeze, row.oldest, third, two_thirds, whole,
                   row.stalled_since)  # fmt: skip


@lru_cache(maxsize=32)
def _in_freezer(kind: Kind, treats: bool) -> Select[Any]:
    """The few that lie in the freezer, by the cabinet in which the log has them; what is out is told as that."""
    out = _sum(among(SHEET.c.holds, (OUT,)))
    columns = (
        SHEET.c.cabinet_id,
        func.count().label("sheets"),
        out.label("out"),
        func.min(SHEET.c.came_at).label("oldest"),
    )
    mine = (IN_QUEUE, SHEET.c.stage == kind.stage, where_of(kind, treats, _NOW), lies_in(SHEET.c.id, _FROZEN))
    return select(*columns).where(*mine).group_by(SHEET.c.cabinet_id)


@lru_cache(maxsize=2)
def _on_tables(kind: Kind, treats: bool) -> Select[Any]:
    """The few that were taken up and may go on, and how many of them should have gone through the freezer first."""
    lying = SHEET.c.id.in_(select(_ON_TABLE.c.id).where(_ON_TABLE.c.table_id.is_not(None)))
    freeze = func.coalesce(_sum(untreated(_NOW)), 0) if treats else literal(0)
    mine = (IN_QUEUE, SHEET.c.stage == kind.stage, lying, not_(is_kept(kind, SHEET.c.holds)))
    return select(func.count().label("sheets"), freeze.label("to_freeze")).where(*mine)


def _with_frozen(kind: Kind, here: Waiting | None, row: Any) -> Waiting:
    here = here or Waiting(kind, row.cabinet_id, 0, 0, 0, 0, row.oldest, 0, 0, 0, None)
    return replace(here, count=here.count + row.sheets, out=here.out + row.out, in_freezer=row.sheets - row.out,
                   oldest_since=min(here.oldest_since, row.oldest))  # fmt: skip


def _sum(condition: ColumnElement[bool]) -> ColumnElement[Any]:
    return func.sum(case((condition, 1), else_=0))


def _rows(kind: Kind, treats: bool, frozen: bool) -> FromClause:
    must_freeze = untreated(_NOW) if kind.stage is Stage.READY and treats else false()
    columns = (
        SHEET.c.cabinet_id,
        SHEET.c.came_at,
        SHEET.c.holds,
        kind.since.label("since"),
        must_freeze.label("must_freeze"),
    )
    rows = select(*columns).where(IN_QUEUE, SHEET.c.stage == kind.stage, where_of(kind, treats, _NOW))
    rows = rows.where(not_(lies_in(SHEET.c.id, _FROZEN))) if frozen else rows
    # Looking up a sheet's last inspection is dear: once for each, not once for each figure.
    return rows.cte("waiting").prefix_with("MATERIALIZED") if kind.stage is Stage.DRY else rows.subquery("waiting")


def _kind_stalled(judged: Judge, kind: Kind, own_days: Mapping[int, int]) -> ColumnElement[bool]:
    moments = _values(judged, kind, own_days)
    cut = _cut(
        PARTS[-1],
        tuple(own_days),
        SHEET.c.cabinet_id,
        {name: literal(moment, MOMENT) for name, moment in moments.items()},
    )
    mine = where_of(kind, treats_before(judged, kind), literal(judged.now, MOMENT))
    return and_(SHEET.c.stage == kind.stage, mine, free_where(judged, kind), kind.since < cut)


def _cut(part: str, own: tuple[int, ...], cabinet: ColumnElement[Any],
         known: Mapping[str, ColumnElement[Any]] | None = None) -> ColumnElement[Any]:  # fmt: skip
    """The moment before which a part of the limit is used up, in whichever cabinet the sheet lies."""

    def moment(name: str) -> ColumnElement[Any]:
        return known[name] if known is not None else bindparam(name, type_=MOMENT)

    if not own:
        return moment(part)
    return case({one: moment(f"{part}_{one}") for one in own}, value=cabinet, else_=moment(part))


def _values(judged: Judge, kind: Kind, own_days: Mapping[int, int]) -> dict[str, datetime]:
    values = dict(zip(PARTS, _thirds(judged, kind, None), strict=True))
    for cabinet, days in own_days.items():
        values |= {f"{part}_{cabinet}": cut for part, cut in zip(PARTS, _thirds(judged, kind, days), strict=True)}
    return values


def _thirds(judged: Judge, kind: Kind, days: int | None) -> tuple[datetime, datetime, datetime]:
    limit = limit_of(kind.stage, judged.house, cabinet_days=days, **kind.facts)
    assert limit is not None
    return thirds(limit, judged.now, judged.calendar)
