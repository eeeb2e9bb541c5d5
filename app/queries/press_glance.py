"""The press room at a glance: what may come out when, what is wrong, what there is room for, and where the next sheet goes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Adhesive, Sheet, table_of
from app.domain.calendar import DAY, day_bounds
from app.domain.day import day_of
from app.domain.laying import Materials, Spot, materials, where_to_lay
from app.domain.press import minimum_s
from app.domain.stages import Stage
from app.domain.words import duration
from app.queries.kinds import IN_QUEUE
from app.queries.press import StackView, stacks_seen
from app.queries.waiting import Judge, judge

SHEET = table_of(Sheet)
_ADHESIVES = (
    select(Adhesive.class_, Adhesive.name).where(Adhesive.ended_at.is_(None)).order_by(Adhesive.name, Adhesive.id)
)
_GLUED = (
    select(Adhesive.class_, SHEET.c.bulk, SHEET.c.minimum_s, func.count())
    .select_from(SHEET)
    .outerjoin(Adhesive, Adhesive.id == SHEET.c.adhesive_id)
    .where(IN_QUEUE, SHEET.c.stage == Stage.MOUNTED)
    .group_by(Adhesive.class_, SHEET.c.bulk, SHEET.c.minimum_s)
)


@dataclass(frozen=True, slots=True)
class Due:
    """Sheets of one stack that may come out in one part of the time to come, the first and the last of them."""

    stack: str
    count: int
    first_at: datetime
    last_at: datetime


@dataclass(frozen=True, slots=True)
class Forgotten:
    """Sheets of one stack that lie there longer after they were ready than the house allows, and the oldest since when."""

    stack: str
    count: int
    since: datetime


@dataclass(frozen=True, slots=True)
class Laying:
    """Where the next sheet of a kind is laid: what it needs, with which adhesives, how many wait glued, and the place.

    `stack` is empty where none is filling for it and none is empty; `layer` is where it would lie, from the bottom.
    """

    needs_words: str
    is_bulky: bool
    adhesives: tuple[str, ...]
    waiting: int
    stack: str
    layer: int
    room: int
    lift_first: bool


@dataclass(frozen=True, slots=True)
class Glance:
    """The press room in one look; the parts of the time to come are disjoint, in each what is due first comes first.

    `closed_tomorrow`: nobody comes then. `taken` counts the materials of all stacks; `layer_g` is what a layer weighs.
    """

    stacks: tuple[StackView, ...]
    sheets: int
    room: int
    ready: int
    today: tuple[Due, ...]
    tomorrow: tuple[Due, ...]
    later: tuple[Due, ...]
    closed_tomorrow: bool
    bare: tuple[StackView, ...]
    forgotten: tuple[Forgotten, ...]
    laying: tuple[Laying, ...]
    taken: Materials
    layer_g: int


def press_glance(session: Session, now: datetime, zone: ZoneInfo) -> Glance:
    """The press room as it stands at this moment, in a fixed number of statements."""
    judged = judge(session, now, zone)
    stacks, day = stacks_seen(session, judged), day_of(now, judged.calendar)
    next_ends = day_bounds(day.today + DAY, zone)[1]
    return Glance(
        stacks, sum(view.sheets for view in stacks), sum(view.room for view in stacks),
        sum(view.ready_now for view in stacks),
        _due(stacks, now, day.ends), _due(stacks, day.ends, next_ends), _due(stacks, next_ends, None),
        day.opens_on != day.today + DAY,
        tuple(view for view in stacks if view.bare_since is not None), tuple(_forgotten(stacks)),
        _laying(session, judged, [_spot(view) for view in stacks]), _taken(stacks), judged.house.layer_g,
    )  # fmt: skip


def _due(stacks: Iterable[StackView], after: datetime, before: datetime | None) -> tuple[Due, ...]:
    found = []
    for view in stacks:
        moments = [layer.ready_at for layer in view.layers if layer.state == "not-yet" and layer.ready_at is not None]
        mine = sorted(at for at in moments if after <= at and (before is None or at < before))
        found += [Due(view.name, len(mine), mine[0], mine[-1])] if mine else []
    return tuple(sorted(found, key=lambda due: due.first_at))


def _forgotten(stacks: Iterable[StackView]) -> Iterable[Forgotten]:
    for view in stacks:
        since = [layer.ready_since for layer in view.layers if layer.forgotten and layer.ready_since is not None]
        if since:
            yield Forgotten(view.name, len(since), min(since))


def _taken(stacks: Iterable[StackView]) -> Materials:
    each = [materials(view.sheets) for view in stacks]
    return Materials(sum(m.papers for m in each), sum(m.foams for m in each), sum(m.boards for m in each))


def _spot(view: StackView) -> Spot:
    is_filling = view.state == "filling" and not view.ready_now
    return Spot(view.name, view.weights_on, is_filling, view.sheets, view.room,
                frozenset(int(layer.needs.total_seconds()) for layer in view.layers),
                any(layer.bulk == "bulky" for layer in view.layers))  # fmt: skip


def _laying(session: Session, judged: Judge, spots: Sequence[Spot]) -> tuple[Laying, ...]:
    """One line for each time under weight that the room's adhesives ask for, flat and bulky, and for what waits glued."""
    names: dict[tuple[int, bool], list[str]] = {}
    for class_, name in session.execute(_ADHESIVES):
        for bulk in ("ordinary", "bulky"):
            names.setdefault((minimum_s(judged.house, class_, bulk), bulk == "bulky"), []).append(name)
    waiting: dict[tuple[int, bool], int] = {}
    for class_, bulk, lies_for_s, count in session.execute(_GLUED):
        key = (lies_for_s or minimum_s(judged.house, class_, bulk), bulk == "bulky")
        waiting[key] = waiting.get(key, 0) + count
    kinds = sorted({*names, *waiting}, key=lambda kind: (kind[1], kind[0]))
    return tuple(_line(kind, names.get(kind, ()), waiting.get(kind, 0), spots) for kind in kinds)


def _line(kind: tuple[int, bool], names: Sequence[Any], waiting: int, spots: Sequence[Spot]) -> Laying:
    needs_s, is_bulky = kind
    spot = where_to_lay(needs_s, is_bulky, spots)
    place = (spot.name, spot.sheets + 1, spot.room, spot.weights_on) if spot else ("", 0, 0, False)
    return Laying(duration(needs_s), is_bulky, tuple(names), waiting, *place)
