"""The board: the flow, the places, the press room and what needs a person, in one look."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Change, Entry
from app.domain.natural_order import natural_order
from app.domain.stages import Stage
from app.domain.words import age
from app.queries.aside import Aside
from app.queries.board_stages import StageView, stage_views
from app.queries.filed import filed_counts
from app.queries.kinds import KINDS
from app.queries.left_behind import left_behind_counts, left_behind_heaps
from app.queries.need import Need
from app.queries.needs import needs_a_person
from app.queries.places import is_for
from app.queries.press import StackView, stacks_seen
from app.queries.stalled import Waiting, cabinet_days, waiting_in
from app.queries.waiting import judge

_VERSION = select(
    select(func.coalesce(func.max(Entry.id), 0)).scalar_subquery(),
    select(func.coalesce(func.max(Change.id), 0)).scalar_subquery(),
)


@dataclass(frozen=True, slots=True)
class CabinetLine:
    """A cabinet in which sheets wait, or could."""

    cabinet_id: int
    name: str
    stage: str
    stage_words: str
    count: int
    oldest_since: datetime | None
    oldest_age: str
    capacity: int | None
    stalled: int
    held: int
    is_clean: bool


@dataclass(frozen=True, slots=True)
class StackLine:
    """A stack in small; `states` from the bottom to the top, each ready, not-yet or waiting.

    `since` is when its weights went on or off, `bare_since` since when sheets have lain in it without weights.
    """

    name: str
    sheets: int
    capacity: int
    weights_on: bool
    since: datetime | None
    ready_now: int
    last_ready_at: datetime | None
    words: str
    is_bad: bool
    states: tuple[str, ...]
    bare_since: datetime | None = None
    pieces: int = 1


@dataclass(frozen=True, slots=True)
class Board:
    """The board as it stood at `drawn_at`; `version` changes with everything that it is drawn from but the time."""

    drawn_at: datetime
    stages: tuple[StageView, ...]
    cabinets: tuple[CabinetLine, ...]
    stacks: tuple[StackLine, ...]
    needs: tuple[Need, ...]
    aside: tuple[Aside, ...]
    version: str


def board(session: Session, now: datetime, zone: ZoneInfo) -> Board:
    """The whole board. What it costs follows what waits in the queue, not how much was ever filed."""
    judged = judge(session, now, zone)
    own_days = cabinet_days(session)
    waiting = [found for kind in KINDS for found in waiting_in(session, judged, kind, own_days)]
    stacks = stacks_seen(session, judged)
    behind = left_behind_heaps(session, judged)
    stages = stage_views(session, judged, waiting, stacks, filed_counts(session, now, zone), left_behind_counts(behind))
    needs = needs_a_person(session, judged, waiting, stacks, behind)
    return Board(
        now, stages, _cabinets(session, now, waiting), tuple(_stack(stack) for stack in stacks),
        needs.shown, needs.aside, board_version(session),
    )  # fmt: skip


def board_version(session: Session) -> str:
    """A mark that changes with every entry and every change to the room; asked before anything is drawn again."""
    entry, change = session.execute(_VERSION).one()
    return f"{entry}-{change}"


def board_json(found: Board) -> dict[str, Any]:
    """The board as the JSON interface gives it; moments in UTC."""
    return {
        "drawn_at": found.drawn_at.isoformat(),
        "stages": [
            {"stage": stage.slug, "count": stage.count, "oldest_since": _iso(stage.oldest_since), "stalled": stage.stalled,
             "left_behind": stage.left_behind, "held": stage.held, "out": stage.out, "in_freezer": stage.in_freezer,
             "may_go_on": stage.may_go_on}
            for stage in found.stages
        ],
        "cabinets": [
            {"cabinet": line.name, "stage": line.stage or None, "count": line.count, "capacity": line.capacity,
             "oldest_since": _iso(line.oldest_since), "stalled": line.stalled} for line in found.cabinets
        ],
        "stacks": [
            {"stack": line.name, "sheets": line.sheets, "weights_on": line.weights_on, "since": _iso(line.since),
             "ready_now": line.ready_now, "last_ready_at": _iso(line.last_ready_at)} for line in found.stacks
        ],
        "needs_a_person": [
            {"kind": need.kind, "subject": need.href_id, "what": need.what, "since": _iso(need.since), "do": need.do,
             "many": need.many}
            for need in found.needs
        ],
    }  # fmt: skip


def _cabinets(session: Session, now: datetime, waiting: list[Waiting]) -> tuple[CabinetLine, ...]:
    """Cabinets in which something waits, and those of the stages that wait; what is filed is not counted here."""
    rows = session.execute(select(Cabinet).where(Cabinet.closed_at.is_(None))).scalars().all()
    by_cabinet: dict[int | None, list[Waiting]] = {}
    for each in waiting:
        by_cabinet.setdefault(each.cabinet_id, []).append(each)
    shown = [row for row in rows if row.stage != Stage.FILED or row.id in by_cabinet]
    ordered = sorted(shown, key=lambda row: (row.walk, natural_order(row.name)))
    return tuple(_cabinet(row, by_cabinet.get(row.id, []), now) for row in ordered)


def _cabinet(row: Cabinet, mine: list[Waiting], now: datetime) -> CabinetLine:
    oldest = min((each.oldest_since for each in mine), default=None)
    return CabinetLine(
        row.id, row.name, row.stage or "", is_for(row),
        sum(each.count for each in mine), oldest, age(oldest, now) if oldest else "", row.capacity,
        sum(each.stalled for each in mine), sum(each.held for each in mine), row.is_clean,
    )  # fmt: skip


def _stack(view: StackView) -> StackLine:
    return StackLine(
        view.name, view.sheets, view.capacity, view.weights_on, view.since, view.ready_now, view.last_ready_at,
        view.short_words, view.off_too_long, tuple(layer.state for layer in view.layers),
        view.bare_since, view.pieces,
    )  # fmt: skip


def _iso(moment: datetime | None) -> str | None:
    return moment.isoformat() if moment is not None else None
