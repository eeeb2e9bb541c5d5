"""The time under weight of many glued sheets at once, in two statements however many there are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import bindparam, or_, select
from sqlalchemy.orm import Session

from app.db.models import Layer, WeightSpan, table_of
from app.domain.attempt import PressClock
from app.domain.press import Span, Stay, ready_at, under_weight

LAYER = table_of(Layer)
SPAN = table_of(WeightSpan)
# SQLite takes 32,766 bound values in one statement (its documentation, "Limits", 9).
MOST_AT_ONCE = 10_000

_STAYS = (
    select(LAYER.c.sheet_id, LAYER.c.stack_id, LAYER.c.laid_at, LAYER.c.out_at)
    .where(LAYER.c.sheet_id.in_(bindparam("sheets", expanding=True)))
    .order_by(LAYER.c.laid_at, LAYER.c.id)
)
_SPANS = (
    select(SPAN.c.stack_id, SPAN.c.on_at, SPAN.c.off_at)
    .where(
        SPAN.c.stack_id.in_(bindparam("stacks", expanding=True)),
        or_(SPAN.c.off_at.is_(None), SPAN.c.off_at > bindparam("since")),
    )
    .order_by(SPAN.c.on_at)
)


@dataclass(frozen=True, slots=True)
class Glued:
    """A glued sheet: when it was glued, and the seconds under weight that were asked for when it was laid in."""

    sheet_id: int
    glued_at: datetime | None
    minimum_s: int | None


def clocks_of(session: Session, glued: Iterable[Glued], now: datetime) -> dict[int, PressClock]:
    """The press clock of each sheet that was ever laid in since it was glued, by the sheet's id."""
    asked = {each.sheet_id: each for each in glued if each.minimum_s is not None}
    stays = _stays(session, asked)
    spans = _spans(session, stays)
    return {sheet_id: _clock(each, stays.get(sheet_id, ()), spans, now) for sheet_id, each in asked.items()}


def _stays(session: Session, asked: Mapping[int, Glued]) -> dict[int, list[Stay]]:
    ids = list(asked)
    found: dict[int, list[Stay]] = {}
    for start in range(0, len(ids), MOST_AT_ONCE):
        for row in session.execute(_STAYS, {"sheets": ids[start : start + MOST_AT_ONCE]}):
            glued_at = asked[row.sheet_id].glued_at
            if glued_at is None or row.laid_at >= glued_at:
                found.setdefault(row.sheet_id, []).append(Stay(row.stack_id, row.laid_at, row.out_at))
    return found


def _spans(session: Session, stays: Mapping[int, Sequence[Stay]]) -> dict[int, list[Span]]:
    every = [stay for mine in stays.values() for stay in mine]
    spans: dict[int, list[Span]] = {}
    if every:
        asked = {"stacks": sorted({stay.stack_id for stay in every}), "since": min(stay.laid_at for stay in every)}
        for stack_id, on_at, off_at in session.execute(_SPANS, asked):
            spans.setdefault(stack_id, []).append(Span(on_at, off_at))
    return spans


def _clock(glued: Glued, stays: Sequence[Stay], spans: Mapping[int, Sequence[Span]], now: datetime) -> PressClock:
    minimum = timedelta(seconds=glued.minimum_s or 0)
    return PressClock(under_weight(stays, spans, now), minimum, ready_at(minimum, stays, spans, now))
