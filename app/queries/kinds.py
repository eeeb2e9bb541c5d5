"""The kinds of sheets that wait, each with a limit of its own, and the conditions by which some are counted apart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import ColumnElement, and_, case, false, func, not_, or_, text, true

from app.db.models import Sheet, table_of
from app.domain.holds import keeping
from app.domain.stages import Stage
from app.queries.in_freezer import lies_in
from app.queries.lines import inspected_since
from app.queries.waiting import Judge, next_step

SHEET = table_of(Sheet)
MOMENT = SHEET.c.came_at.type
PASSED = "passed"
# Word for word the condition of the partial indexes, or SQLite does not use them.
IN_QUEUE: ColumnElement[bool] = text("sheet.in_queue")  # type: ignore[assignment]
# An inspection before it came to be dry this time judged an earlier gluing; without an outcome there was none since.
_JUDGED = case(
    (SHEET.c.outcome.is_(None), SHEET.c.came_at),
    else_=func.coalesce(inspected_since(SHEET.c.came_at), SHEET.c.came_at, type_=MOMENT),
)
_PAPERS = func.coalesce(SHEET.c.papers_at, SHEET.c.came_at, type_=MOMENT)


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """The sheets of a stage that share a limit: what picks them out, from when they wait, and the facts of the limit."""

    stage: Stage
    where: ColumnElement[bool] = field(default_factory=true)
    since: ColumnElement[Any] = SHEET.c.came_at
    facts: Mapping[str, Any] = field(default_factory=dict)


def treats_before(judged: Judge, kind: Kind) -> bool:
    """Whether the house asks for the freezer before what comes next for sheets of this kind."""
    if kind.facts.get("outcome") == PASSED:
        return judged.house.treat_before_filing
    return kind.stage is Stage.READY and judged.house.treat_before_mounting


def where_of(kind: Kind, treats: bool, now: ColumnElement[Any]) -> ColumnElement[bool]:
    """What picks a kind out; where the house treats, what is passed is either to freeze or to file."""
    if kind.facts.get("outcome") != PASSED:
        return kind.where
    to_freeze = bool(kind.facts.get("to_freeze"))
    if not treats:
        return false() if to_freeze else kind.where
    return and_(kind.where, untreated(now) if to_freeze else SHEET.c.treated_until > now)


def untreated(now: ColumnElement[Any]) -> ColumnElement[bool]:
    """That it was never through the freezer, or no longer counts as treated."""
    return or_(SHEET.c.treated_until.is_(None), SHEET.c.treated_until <= now)


def is_kept(kind: Kind, holds: ColumnElement[Any]) -> ColumnElement[bool]:
    """That it is not here, or a hold stops what comes next."""
    facts = kind.facts
    step = next_step(
        kind.stage, facts.get("fresh", False), facts.get("outcome"), to_freeze=facts.get("to_freeze", False)
    )
    return among(holds, keeping(step))


def among(holds: ColumnElement[Any], kinds: Iterable[str]) -> ColumnElement[bool]:
    """That a hold of one of these kinds stands in the text on the row, where nearly always nothing stands."""
    return and_(holds != "", or_(*((" " + holds + " ").like(f"% {kind} %") for kind in kinds)))


def free_where(judged: Judge, kind: Kind) -> ColumnElement[bool]:
    """That a sheet of this kind may go on: it is here, not in the freezer, and no hold stops what comes next."""
    here = not_(lies_in(SHEET.c.id, judged.frozen)) if judged.frozen else true()
    return and_(here, not_(is_kept(kind, SHEET.c.holds)))


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
    Kind(Stage.DRY, SHEET.c.outcome == PASSED, _JUDGED, {"outcome": PASSED, "to_freeze": True}),
    Kind(Stage.DRY, SHEET.c.outcome == PASSED, _JUDGED, {"outcome": PASSED}),
)
