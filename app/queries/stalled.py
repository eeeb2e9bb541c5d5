"""Who has waited too long, asked of many sheets at once: the same limits as for one sheet, as cutoffs for the query."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    ColumnElement,
    FromClause,
    Select,
    and_,
    bindparam,
    case,
    func,
    literal,
    not_,
    or_,
    select,
    text,
    true,
)
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Sheet, table_of
from app.domain.holds import HOLDS
from app.domain.limits import limit_of, thirds
from app.domain.stages import Stage
from app.domain.stalls import is_stalled
from app.queries.clocks import Glued, clocks_of
from app.queries.lines import INSPECTED_AT
from app.queries.waiting import Judge, next_step, ready_since

SHEET = table_of(Sheet)
MOMENT = SHEET.c.came_at.type
PARTS = ("third", "two_thirds", "whole")
# Word for word the condition of the partial indexes, or SQLite does not use them.
IN_QUEUE: ColumnElement[bool] = text("sheet.in_queue")  # type: ignore[assignment]
_JUDGED = case((SHEET.c.came_at < INSPECTED_AT, INSPECTED_AT), else_=SHEET.c.came_at)
_PAPERS = func.coalesce(SHEET.c.papers_at, SHEET.c.came_at, type_=MOMENT)


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """The sheets of a stage that share a limit: what picks them out, from when they wait, and the facts of the limit."""

    stage: Stage
    where: ColumnElement[bool] = field(default_factory=true)
    since: ColumnElement[Any] = SHEET.c.came_at
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Waiting:
    """How many sheets of a kind wait in a cabinet (None: in none), and how many of those not held passed parts of
    their limit; `stalled_since` is when the oldest of the stalled came into its stage.
    """

    kind: Kind
    cabinet_id: int | None
    count: int
    held: int
    oldest_since: datetime
    over_third: int
    over_two_thirds: int
    stalled: int
    stalled_since: datetime | None


def waiting_in(session: Session, judged: Judge, kind: Kind, own_days: Mapping[int, int]) -> list[Waiting]:
    """Count the sheets of one kind by cabinet; `own_days` are the limits of cabinets that have one of their own."""
    values = _values(judged, kind, own_days)
    return [Waiting(kind, *row) for row in session.execute(_counting(kind, tuple(own_days)), values)]


def stalled_where(session: Session, judged: Judge, stage: Stage | None) -> ColumnElement[bool]:
    """The condition that a sheet in the queue is stalled, at one stage or at any; limits of cabinets win."""
    own_days = cabinet_days(session)
    found = [_kind_stalled(judged, kind, own_days) for kind in KINDS if stage in (None, kind.stage)]
    if stage in (None, Stage.UNDER_PRESS):
        found.append(SHEET.c.id.in_(forgotten_ids(session, judged)))
    return or_(*found) if found else ~true()


def forgotten_ids(session: Session, judged: Judge) -> list[int]:
    """The sheets that have been ready under press for longer than the house allows."""
    mine = (IN_QUEUE, SHEET.c.stage == Stage.UNDER_PRESS)
    rows = session.execute(select(SHEET.c.id, SHEET.c.glued_at, SHEET.c.minimum_s).where(*mine))
    clocks = clocks_of(session, [Glued(*row) for row in rows], judged.now)
    limit = limit_of(Stage.UNDER_PRESS, judged.house)
    ready = {sheet_id: ready_since(clock, judged.now) for sheet_id, clock in clocks.items()}
    return [sheet_id for sheet_id, since in ready.items()
            if since is not None and limit is not None and is_stalled(limit, since, judged.now, judged.calendar)]  # fmt: skip


def cabinet_days(session: Session) -> dict[int, int]:
    """The cabinets with a limit of their own, in open days."""
    found = select(Cabinet.id, Cabinet.limit_open_days).where(Cabinet.limit_open_days.is_not(None))
    return {row.id: row.limit_open_days for row in session.execute(found)}


@lru_cache(maxsize=64)
def _counting(kind: Kind, own: tuple[int, ...]) -> Select[Any]:
    """Built once for a kind and the cabinets with limits of their own: the board is drawn all day long."""
    rows = _rows(kind)
    free, since = _free(kind, rows.c.holds), rows.c.since
    counts = [func.sum(case((and_(free, since < _cut(part, own, rows.c.cabinet_id)), 1), else_=0)) for part in PARTS]
    oldest = func.min(case((and_(free, since < _cut(PARTS[-1], own, rows.c.cabinet_id)), rows.c.came_at)))
    held = func.sum(case((free, 0), else_=1))
    columns = (rows.c.cabinet_id, func.count(), held, func.min(rows.c.came_at), *counts, oldest)
    return select(*columns).group_by(rows.c.cabinet_id)


def _rows(kind: Kind) -> FromClause:
    columns = (SHEET.c.cabinet_id, SHEET.c.came_at, SHEET.c.holds, kind.since.label("since"))
    rows = select(*columns).where(IN_QUEUE, SHEET.c.stage == kind.stage, kind.where)
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
    return and_(SHEET.c.stage == kind.stage, kind.where, _free(kind, SHEET.c.holds), kind.since < cut)


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


def _free(kind: Kind, holds: ColumnElement[Any]) -> ColumnElement[bool]:
    """That no hold stops what comes next; asked of the text on the row, where nearly always nothing stands."""
    step = next_step(kind.stage, kind.facts.get("fresh", False), kind.facts.get("outcome"))
    stopping = [name for name, row in HOLDS.items() if step is not None and step in row.stops]
    among = [(" " + holds + " ").like(f"% {name} %") for name in stopping]
    return or_(holds == "", not_(or_(*among))) if among else true()


_NEITHER = or_(SHEET.c.outcome.is_(None), SHEET.c.outcome.not_in(("passed", "to-be-mended")))
HEATED = SHEET.c.method == "heated"
UNHEATED = or_(SHEET.c.method.is_(None), SHEET.c.method != "heated")
KINDS = (
    Kind(Stage.INTAKE, SHEET.c.fresh.is_(True), facts={"fresh": True}),
    Kind(Stage.INTAKE, SHEET.c.fresh.is_(False)),
    Kind(Stage.DRYING, HEATED, _PAPERS, {"method": "heated"}),
    Kind(Stage.DRYING, UNHEATED, _PAPERS),
    Kind(Stage.READY),
    Kind(Stage.MOUNTED),
    Kind(Stage.DRY, _NEITHER, _JUDGED),
    Kind(Stage.DRY, SHEET.c.outcome == "to-be-mended", _JUDGED, {"outcome": "to-be-mended"}),
    Kind(Stage.DRY, SHEET.c.outcome == "passed", _JUDGED, {"outcome": "passed"}),
)
