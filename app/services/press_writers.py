"""What the steps around the press write: gluing, laying in, taking out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from math import ceil
from typing import Any

from sqlalchemy import bindparam, func, select, update
from sqlalchemy.engine import RowMapping

from app.db.models import Adhesive, Layer, Stack, table_of
from app.db.prepared import Question, prepared
from app.domain.attempt import Attempt
from app.domain.press import minimum_s, set_without_weight
from app.domain.sheet import NOWHERE, Place, Standing
from app.domain.stages import Step
from app.services.custody import Writing
from app.services.desk import Desk
from app.services.facts import stays_and_spans
from app.services.in_hand import adhesive_for, bulk_meant, hands, lands, shelf_for, used_here

STACK = table_of(Stack)
LAYER = table_of(Layer)
ADHESIVE = table_of(Adhesive)
_NEXT_LAYER = prepared(
    update(STACK)
    .where(STACK.c.id == bindparam("stack"))
    .values(next_layer=STACK.c.next_layer + 1)
    .returning((STACK.c.next_layer - 1).label("layer"))
)
_CLASS = prepared(select(ADHESIVE.c["class"]).where(ADHESIVE.c.id == bindparam("adhesive")))


def mount(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    """What mounting writes: the glue is on, its clock starts at nothing."""
    sets = {**_gluing(desk, attempt), "mounted_by": hands(desk), "mended_by": ()}
    return Writing(
        Step.MOUNT, lands(attempt), Place(table_id=desk.station_id), sets, facts=used_here(desk, as_usual=True)
    )


def re_glue(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    """What gluing anew writes: whoever did it has mended it, and its clock starts at nothing."""
    mended = tuple(dict.fromkeys((*attempt.sheet.mended_by, *hands(desk))))
    sets = {**_gluing(desk, attempt), "mended_by": mended}
    return Writing(Step.RE_GLUE, lands(attempt), NOWHERE, sets, facts=used_here(desk, as_usual=False))


def put_under_weight(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    """What laying in writes: the next layer of the stack, and the minimum of a new gluing.

    One that comes from another stack takes its time along; where the weights of that one are on by the log they must have
    been lifted, so its time there counts only up to the last sighting of the stack.
    """
    assert attempt.stack is not None
    stack_id = attempt.stack.stack_id
    sets = {} if attempt.sheet.minimum_s is not None else minimum_sets(desk, attempt)
    layer = desk.session.execute(_NEXT_LAYER, {"stack": stack_id}).scalar_one()
    # A station's own late time never adds to the time under weight: that runs from when the server heard of it.
    heard = desk.now if desk.told_late else None
    place = Place(stack_id=stack_id, layer=layer)
    said = {"layer_said": desk.request.facts["layer"]} if "layer" in desk.request.facts else {}
    return Writing(Step.PUT_UNDER_WEIGHT, lands(attempt), place, sets, facts=said, counts_from=heard,
                   counts_until=_lifted_unseen(desk, attempt))  # fmt: skip


def take_out(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    """What taking out writes: how long it lay, by how much it is early, and whether it set without weight."""
    clock = attempt.clock
    assert clock is not None
    short = ceil(clock.remaining.total_seconds()) if attempt.early else 0
    facts = {"under_weight_s": int(clock.under_weight.total_seconds())}
    sets = {"without_weight": True} if _lay_without_weight(desk, row, attempt) else {}
    put = shelf_for(desk, lands(attempt))
    return Writing(Step.TAKE_OUT, lands(attempt), put, sets, facts=facts, early_by_s=short or None)


def found_out(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    """What finding it outside its stack writes: its time counts only up to the last sighting of the stack."""
    stack_id = attempt.sheet.place.stack_id
    seen = last_seen_stack(desk, stack_id) if stack_id else desk.happened_at
    facts = {"finding": "out early"}
    return Writing(Step.FOUND_OUT, lands(attempt), NOWHERE, facts=facts, counts_until=min(seen, desk.happened_at))


def class_ahead(standing: Standing) -> Iterator[Question]:
    """What is asked of the adhesive of a sheet that is laid in or has just been glued."""
    if standing.adhesive_id is not None and standing.minimum_s is None:
        yield _CLASS, {"adhesive": standing.adhesive_id}


def minimum_sets(desk: Desk, attempt: Attempt) -> dict[str, Any]:
    """The minimum in seconds and the version of the house rules it was read from, for the sheet's adhesive and bulk."""
    adhesive = attempt.sheet.adhesive_id
    class_ = desk.session.execute(_CLASS, {"adhesive": adhesive}).scalar() if adhesive is not None else None
    seconds = minimum_s(desk.house, class_, attempt.sheet.bulk)
    return {"minimum_s": seconds, "rule_version": desk.house.version}


def last_seen_stack(desk: Desk, stack_id: int) -> datetime:
    """The last moment at which anybody is on record as having had this stack before their eyes."""
    row = desk.session.execute(select(STACK).where(STACK.c.id == stack_id)).mappings().one()
    moves = select(func.max(LAYER.c.laid_at), func.max(LAYER.c.out_at)).where(LAYER.c.stack_id == stack_id)
    laid, out = desk.session.execute(moves).one()
    seen = [moment for moment in (row["last_at"], row["seen_on_at"], laid, out) if moment is not None]
    return max(seen, default=desk.happened_at)


def _lifted_unseen(desk: Desk, attempt: Attempt) -> datetime | None:
    own = attempt.own_stack
    if own is None or not own.weights_on:
        return None
    return min(last_seen_stack(desk, own.stack_id), desk.happened_at)


def _gluing(desk: Desk, attempt: Attempt) -> dict[str, Any]:
    adhesive = adhesive_for(desk)
    return {
        "adhesive_id": adhesive["id"] if adhesive else None,
        "bulk": bulk_meant(desk, attempt.sheet.bulk), "glued_at": desk.happened_at, "minimum_s": None, "rule_version": None,
        "without_weight": False, "outcome": None, "inspected_by": (),
    }  # fmt: skip


def _lay_without_weight(desk: Desk, row: RowMapping, attempt: Attempt) -> bool:
    stays, spans = stays_and_spans(desk.session, row["id"], attempt.sheet.glued_at)
    limit = timedelta(hours=desk.house.gap_without_weight_h)
    assert attempt.clock is not None
    return set_without_weight(attempt.clock.minimum, limit, stays, spans, desk.happened_at)
