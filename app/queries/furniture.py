"""What the room is furnished with, and by which rules it works, as the manager's page shows it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from app.db.models import Bundle, Consignment, HouseRule, NumberPattern, Sheet, Worker, table_of
from app.domain.house import RULES
from app.domain.numbers import shown
from app.domain.stages import Stage
from app.queries.house import house_now

BUNDLE = table_of(Bundle)
CONSIGNMENT = table_of(Consignment)
PATTERN = table_of(NumberPattern)
RULE = table_of(HouseRule)
SHEET = table_of(Sheet)
WORKER = table_of(Worker)

_IN_BUNDLE = select(func.count()).where(SHEET.c.bundle_id == BUNDLE.c.id).scalar_subquery()
_CAME_WITH = (
    select(
        SHEET.c.consignment_id,
        func.count().label("sheets"),
        func.sum(case((SHEET.c.stage == Stage.FILED, 1), else_=0)).label("filed"),
        func.sum(case((SHEET.c.in_queue, 1), else_=0)).label("waiting"),
    )
    .where(SHEET.c.consignment_id.is_not(None))
    .group_by(SHEET.c.consignment_id)
    .subquery()
)


@dataclass(frozen=True, slots=True)
class ConsignmentLine:
    """One consignment: where it came from, and how far its sheets have come."""

    consignment_id: int
    code: str
    name: str
    source: str
    kind: str
    arrived_on: date | None
    closed_at: datetime | None
    sheets: int
    filed: int
    waiting: int


@dataclass(frozen=True, slots=True)
class BundleLine:
    """One bundle with its card's code as people read it, and how many sheets lie in it."""

    bundle_id: int
    name: str
    code: str
    kind: str
    sheets: int


@dataclass(frozen=True, slots=True)
class PatternLine:
    """One pattern of sheet numbers; `minted` is the last serial that was given out."""

    pattern_id: int
    prefix: str
    width: int
    has_check: bool
    mints: bool
    minted: int


@dataclass(frozen=True, slots=True)
class RuleChange:
    """One value that a house rule was given, by whom and why."""

    version: int
    value: int
    set_at: datetime
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class RuleLine:
    """One house rule: what it means, its value now, its bounds, and its history, newest first."""

    name: str
    words: str
    value: int
    default: int
    low: int
    high: int
    is_choice: bool
    history: tuple[RuleChange, ...]


def consignments(session: Session) -> tuple[ConsignmentLine, ...]:
    """The room's consignments in its own order of work, each with its sheets: in all, still waiting, and filed."""
    found = (
        select(CONSIGNMENT, _CAME_WITH.c.sheets, _CAME_WITH.c.filed, _CAME_WITH.c.waiting)
        .outerjoin(_CAME_WITH, _CAME_WITH.c.consignment_id == CONSIGNMENT.c.id)
        .order_by(CONSIGNMENT.c.place_in_order, CONSIGNMENT.c.id)
    )
    return tuple(
        ConsignmentLine(
            row["id"], row["code"], row["name"], row["source"] or "", row["kind"], row["arrived_on"], row["closed_at"],
            row["sheets"] or 0, row["filed"] or 0, row["waiting"] or 0,
        )
        for row in session.execute(found).mappings()
    )  # fmt: skip


def bundles(session: Session) -> tuple[BundleLine, ...]:
    """The bundles in use, by name."""
    found = select(BUNDLE, _IN_BUNDLE.label("sheets")).where(BUNDLE.c.closed_at.is_(None)).order_by(BUNDLE.c.name)
    rows = session.execute(found).mappings()
    return tuple(BundleLine(row["id"], row["name"], shown(row["code"], ()), row["kind"], row["sheets"]) for row in rows)


def number_patterns(session: Session) -> tuple[PatternLine, ...]:
    """The patterns of this room's sheet numbers, in the order in which they were added; not that of the practice slips."""
    rows = session.execute(select(PATTERN).where(PATTERN.c.is_practice.is_(False)).order_by(PATTERN.c.id)).mappings()
    return tuple(
        PatternLine(row["id"], row["prefix"], row["width"], row["has_check"], row["mints"], row["minted"])
        for row in rows
    )


def house_rules(session: Session) -> tuple[RuleLine, ...]:
    """Every house rule with its value now and its history."""
    now, history = house_now(session), _history(session)
    return tuple(
        RuleLine(row.name, row.words, int(getattr(now, row.name)), row.default, row.low, row.high, row.is_choice,
                 history.get(row.name, ()))
        for row in RULES.values()
    )  # fmt: skip


def badge_of(session: Session, worker_id: int) -> str:
    """The code on a worker's badge, to be printed; empty for a worker without one."""
    code: str | None = session.execute(select(WORKER.c.badge_code).where(WORKER.c.id == worker_id)).scalar()
    return code or ""


def _history(session: Session) -> Mapping[str, tuple[RuleChange, ...]]:
    found = (
        select(RULE.c.name, RULE.c.version, RULE.c.value, RULE.c.set_at, WORKER.c.name.label("by"), RULE.c.reason)
        .outerjoin(WORKER, WORKER.c.id == RULE.c.set_by)
        .order_by(RULE.c.version.desc())
    )
    history: dict[str, tuple[RuleChange, ...]] = {}
    for row in session.execute(found):
        change = RuleChange(row.version, row.value, row.set_at, row.by or "", row.reason)
        history[row.name] = (*history.get(row.name, ()), change)
    return history
