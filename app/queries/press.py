"""The press room: what lies in each stack, what may come out now, and what must stay above it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, bindparam, select
from sqlalchemy.orm import Session

from app.db.models import Adhesive, Layer, PlantName, Sheet, Stack, table_of
from app.domain.attempt import PressClock
from app.domain.holds import AWAY
from app.domain.language import mark, say
from app.domain.lifting import InLayer, lowest_ready, to_reach
from app.domain.limits import limit_of
from app.domain.natural_order import natural_order
from app.domain.numbers import Pattern, shown
from app.domain.pressure import SHEET_AREA_M2, lowest_pa, pressure_pa
from app.domain.stages import Stage
from app.domain.stalls import Limit, is_stalled
from app.domain.weights import too_heavy
from app.domain.words import duration, said
from app.queries import press_words
from app.queries.clocks import Glued, clocks_of
from app.queries.house import patterns_now
from app.queries.waiting import Judge, judge, ready_since

STACK = table_of(Stack)
LAYER = table_of(Layer)
_NOTHING = timedelta(0)
_STACKS = select(STACK).where(STACK.c.closed_at.is_(None))
# From what lies there now: of all that ever lay in a stack there is no end.
_LYING: Select[Any] = (
    select(LAYER.c.stack_id, LAYER.c.layer, LAYER.c.laid_at, LAYER.c.sheet_id, Sheet.number, Sheet.bulk, Sheet.glued_at,
           Sheet.minimum_s, Sheet.holds, PlantName.name.label("plant"), Adhesive.name.label("adhesive"))
    .select_from(LAYER)
    .join(Sheet, Sheet.id == LAYER.c.sheet_id)
    .outerjoin(PlantName, PlantName.id == Sheet.plant_name_id)
    .outerjoin(Adhesive, Adhesive.id == Sheet.adhesive_id)
    .where(LAYER.c.out_at.is_(None), LAYER.c.stack_id.in_(bindparam("stacks", expanding=True)))
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class LayerView:
    """One sheet in a stack; `place` counts from the bottom, 1 first. `state` is ready, not-yet, or waiting for weights.

    `away`: by the log it lies here, and somebody has not found it; it is not waited for.
    """

    place: int
    sheet_id: int
    number: str
    shown: str
    plant: str
    bulk: str
    adhesive: str
    laid_at: datetime
    under_weight: timedelta
    needs: timedelta
    ready_at: datetime | None
    state: str
    under_weight_words: str
    needs_words: str
    out_words: str
    ready_since: datetime | None
    forgotten: bool
    away: bool = False


@dataclass(frozen=True, slots=True)
class StackView:
    """One stack: layers from the bottom to the top. `since` is when its weights went on or off.

    `bare_since` is since when sheets have lain in it without weights. Mass in kilograms, pressure in pascal: by the weights on
    each sheet, and on the lowest by the layers above it too. `to_reach` says what is lifted off to reach the lowest that may
    come out and must go back, `heavy` which of the house's limits its weights are over; both are empty where there is nothing
    to say.
    """

    stack_id: int
    name: str
    code_on: str
    code_off: str
    weights_on: bool
    since: datetime | None
    state: str
    sheets: int
    capacity: int
    room: int
    mass_kg: float
    pieces: int
    pressure_pa: float
    lowest_pa: float
    ready_now: int
    last_ready_at: datetime | None
    layers: tuple[LayerView, ...]
    words: str
    short_words: str
    off_too_long: bool
    bare_since: datetime | None
    counted: int | None
    counted_of: int | None
    counted_at: datetime | None
    count_differs: bool
    to_reach: str = ""
    heavy: tuple[str, ...] = ()


def press_room(session: Session, now: datetime, zone: ZoneInfo) -> tuple[StackView, ...]:
    """Every stack in use, P2 before P10, in as many statements as one stack takes, however many sheets lie there."""
    return stacks_seen(session, judge(session, now, zone))


def stacks_seen(session: Session, judged: Judge) -> tuple[StackView, ...]:
    """The press room as this judge sees it."""
    return _views(session, _STACKS, judged)


def stack_view(session: Session, name: str, now: datetime, zone: ZoneInfo) -> StackView | None:
    """The stack with this name; None when there is none in use."""
    found = _views(session, _STACKS.where(STACK.c.name == name), judge(session, now, zone))
    return found[0] if found else None


def _views(session: Session, statement: Select[Any], judged: Judge) -> tuple[StackView, ...]:
    stacks = session.execute(statement).all()
    lying = session.execute(_LYING, {"stacks": [stack.id for stack in stacks]}).all() if stacks else []
    clocks = clocks_of(session, (Glued(row.sheet_id, row.glued_at, row.minimum_s) for row in lying), judged.now)
    patterns = patterns_now(session)
    views = []
    for stack in stacks:
        mine = sorted((row for row in lying if row.stack_id == stack.id), key=lambda row: row.layer)
        layers = (
            _layer(row, place, clocks.get(row.sheet_id), patterns, judged) for place, row in enumerate(mine, start=1)
        )
        views.append(_stack(stack, tuple(layers), judged))
    return tuple(sorted(views, key=lambda view: natural_order(view.name)))


def _layer(row: Any, place: int, clock: PressClock | None, patterns: Sequence[Pattern], judged: Judge) -> LayerView:
    lain, needs = (clock.under_weight, clock.minimum) if clock else (_NOTHING, _NOTHING)
    ready = ready_since(clock)
    ready_at = clock.ready_at if clock else None
    limit = limit_of(Stage.UNDER_PRESS, judged.house)
    away = not AWAY.isdisjoint(row.holds.split())
    too_long = ready is not None and limit is not None and is_stalled(limit, ready, judged.now, judged.calendar)
    state = "ready" if ready is not None else "not-yet" if ready_at is not None else "waiting"
    return LayerView(
        place, row.sheet_id, row.number, shown(row.number, patterns), row.plant or "", row.bulk, row.adhesive or "",
        row.laid_at, lain, needs, ready_at, state, press_words.whole_minutes(lain), duration(needs.total_seconds()),
        _out_words(state, ready_at, judged), ready, too_long and not away, away,
    )  # fmt: skip


def _out_words(state: str, ready_at: datetime | None, judged: Judge) -> str:
    if state == "ready":
        return say("now")
    return said(ready_at, judged.calendar.zone, judged.now) if ready_at is not None else say("not running")


def _stack(row: Any, layers: tuple[LayerView, ...], judged: Judge) -> StackView:
    bare = _bare_since(row, layers)
    limit = Limit(hours=judged.house.limit_weights_off_h)
    since = said(row.turned_at, judged.calendar.zone, judged.now) if row.turned_at else ""
    mass_kg = row.mass_kg if row.weights_on else 0.0
    told = press_words.Told(row.weights_on, since, layers, lambda at: said(at, judged.calendar.zone, judged.now))
    return StackView(
        row.id, row.name, row.code_on, row.code_off, row.weights_on, row.turned_at, _state(row, layers), len(layers),
        row.capacity, max(row.capacity - len(layers), 0), row.mass_kg, row.pieces,
        pressure_pa(mass_kg, SHEET_AREA_M2), lowest_pa(mass_kg, len(layers), judged.house.layer_g / 1000, SHEET_AREA_M2),
        sum(layer.state == "ready" for layer in layers),
        max((layer.ready_at for layer in layers if layer.ready_at is not None), default=None),
        layers, press_words.words(told), press_words.short_words(told),
        bare is not None and is_stalled(limit, bare, judged.now, judged.calendar), bare,
        row.counted, row.counted_of, row.counted_at, row.counted is not None and row.counted != row.counted_of,
        _to_reach(layers), too_heavy(row.mass_kg, row.pieces, judged.house.stack_mass_kg, judged.house.stack_piece_kg),
    )  # fmt: skip


def _to_reach(layers: Sequence[LayerView]) -> str:
    pile = [InLayer(layer.shown, layer.place, layer.state == "ready") for layer in layers]
    lowest = lowest_ready(pile)
    return to_reach(pile, lowest) if lowest is not None else ""


def _bare_since(row: Any, layers: Sequence[LayerView]) -> datetime | None:
    if row.weights_on or not layers:
        return None
    first = min(layer.laid_at for layer in layers)
    return max(first, row.turned_at) if row.turned_at is not None else first


def _state(row: Any, layers: Sequence[LayerView]) -> str:
    if row.weights_on:
        return mark("under weight")
    if not layers:
        return mark("empty")
    return mark("unloading") if any(layer.under_weight for layer in layers) else mark("filling")
