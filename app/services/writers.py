"""What each step of a sheet writes: where it goes, and which of its facts change."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.engine import RowMapping

from app.db.models import Adhesive, Consignment, Layer, Stack, table_of
from app.domain.attempt import Attempt
from app.domain.moves import lands_in
from app.domain.press import BULKS, minimum_s, set_without_weight
from app.domain.sheet import NOWHERE, Place
from app.domain.stages import Stage, Step
from app.services.custody import Writing
from app.services.desk import Desk
from app.services.facts import stays_and_spans

STACK = table_of(Stack)
LAYER = table_of(Layer)
Writer = Callable[[Desk, RowMapping, Attempt], Writing]


def writing_for(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    """What this step writes for this sheet, before anything is written."""
    return WRITERS[attempt.step](desk, row, attempt)


def shelf_in_hand(desk: Desk) -> Place:
    """The shelf that the station has in hand, or nowhere."""
    return Place(cabinet_id=desk.in_hand("cabinet_id"), shelf_id=desk.in_hand("shelf_id"))


def adhesive_for(desk: Desk) -> RowMapping | None:
    """The adhesive that was named, else the table's."""
    code = desk.request.facts.get("adhesive")
    if code is None and desk.in_hand("adhesive_id") is None:
        return None
    mine = Adhesive.code == code if code is not None else Adhesive.id == desk.in_hand("adhesive_id")
    table = table_of(Adhesive)
    return desk.session.execute(select(table).where(mine)).mappings().one_or_none()


def is_early_to_feel(desk: Desk, attempt: Attempt) -> bool:
    """Whether a plant is called dry earlier than is usual for the way it was dried."""
    pressed = attempt.sheet.pressed_at
    heated = attempt.sheet.method == "heated"
    usual = desk.house.dry_heated_days if heated else desk.house.dry_unheated_days
    return pressed is not None and desk.happened_at - pressed < timedelta(days=usual)


def _take_in(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    bundle = desk.in_hand("bundle_id")
    place = Place(bundle_id=bundle) if bundle else shelf_in_hand(desk)
    fresh = desk.request.facts.get("fresh", _came_fresh(desk, row))
    sets: dict[str, Any] = {"fresh": bool(fresh), "bulk": _bulk(desk, str(row["bulk"]))}
    return Writing(Step.TAKE_IN, _to(attempt), place, sets)


def _lay_to_dry(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    bundle = desk.in_hand("bundle_id") or attempt.sheet.place.bundle_id
    method = desk.request.facts.get("drying") or desk.in_hand("method") or attempt.sheet.method or "unheated"
    pressed = attempt.sheet.pressed_at or desk.happened_at
    sets = {"method": str(method), "pressed_at": pressed, "papers_at": desk.happened_at}
    return Writing(Step.LAY_TO_DRY, _to(attempt), Place(bundle_id=bundle), sets)


def _papers_changed(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.PAPERS_CHANGED, _to(attempt), attempt.sheet.place, {"papers_at": desk.happened_at})


def _pass_as_dry(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    early = {"early_to_feel": True} if is_early_to_feel(desk, attempt) else {}
    return Writing(
        attempt.step, _to(attempt), _shelf(desk, attempt), {"fresh": False}, _label_hold(attempt), facts=early
    )


def _arrive_mounted(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.ARRIVE_MOUNTED, _to(attempt), _shelf(desk, attempt), {"fresh": False})


def _take_up(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.TAKE_UP, _to(attempt), Place(table_id=desk.station_id))


def _mount(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    sets = {**_gluing(desk, attempt), "mounted_by": _hands(desk), "mended_by": ()}
    return Writing(Step.MOUNT, _to(attempt), Place(table_id=desk.station_id), sets)


def _re_glue(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    mended = tuple(dict.fromkeys((*attempt.sheet.mended_by, *_hands(desk))))
    return Writing(Step.RE_GLUE, _to(attempt), NOWHERE, {**_gluing(desk, attempt), "mended_by": mended})


def _put_under_weight(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    assert attempt.stack is not None
    stack_id = attempt.stack.stack_id
    take = update(STACK).where(STACK.c.id == stack_id).values(next_layer=STACK.c.next_layer + 1)
    layer = desk.session.execute(take.returning(STACK.c.next_layer - 1)).scalar_one()
    sets = {} if attempt.sheet.minimum_s is not None else minimum_sets(desk, attempt)
    return Writing(Step.PUT_UNDER_WEIGHT, _to(attempt), Place(stack_id=stack_id, layer=layer), sets)


def _take_out(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    clock = attempt.clock
    assert clock is not None
    short = int(clock.remaining.total_seconds()) if attempt.early else 0
    facts = {"under_weight_s": int(clock.under_weight.total_seconds())}
    sets = {"without_weight": True} if _lay_without_weight(desk, row, attempt) else {}
    return Writing(Step.TAKE_OUT, _to(attempt), shelf_in_hand(desk), sets, facts=facts, early_by_s=short or None)


def _found_out(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    stack_id = attempt.sheet.place.stack_id
    seen = last_seen_stack(desk, stack_id) if stack_id else desk.happened_at
    facts = {"finding": "out early"}
    return Writing(Step.FOUND_OUT, _to(attempt), NOWHERE, facts=facts, counts_until=min(seen, desk.happened_at))


def _goes_unmounted(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    kind = str(desk.request.facts.get("unmounted", "packet"))
    return Writing(Step.GOES_UNMOUNTED, _to(attempt), _shelf(desk, attempt), {"unmounted": kind, "outcome": None})


def _back_to_table(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    sets = {"outcome": None, "glued_at": None, "minimum_s": None, "rule_version": None, "without_weight": False}
    return Writing(Step.BACK_TO_TABLE, _to(attempt), shelf_in_hand(desk), sets)


def _inspect(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    outcome = str(desk.request.facts["outcome"])
    sets: dict[str, Any] = {"outcome": outcome, "inspected_by": _hands(desk)}
    if outcome == "mended-here":
        sets["mended_by"] = tuple(dict.fromkeys((*attempt.sheet.mended_by, *_hands(desk))))
    holds = ("to-be-repaired",) if outcome == "to-be-mended" else ()
    lifts = ("to-be-repaired",) if outcome != "to-be-mended" else ()
    facts = {"findings": list(desk.request.facts.get("findings", ()))}
    place = _shelf(desk, attempt)
    return Writing(Step.INSPECT, _to(attempt), place, sets, holds, tuple(attempt.sheet.holds & set(lifts)), facts)


def _onto_shelf(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    assert attempt.shelf is not None
    return Writing(attempt.step, _to(attempt), Place(attempt.shelf.cabinet_id, attempt.shelf.shelf_id))


def _bring_back(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.BRING_BACK, _to(attempt), shelf_in_hand(desk), {"outcome": None})


def _stays(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    facts = {
        name: desk.request.facts[name] for name in ("new_number", "old_number", "into") if name in desk.request.facts
    }
    return Writing(attempt.step, _to(attempt), attempt.sheet.place, facts=facts)


def _withdraw(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.WITHDRAW, _to(attempt), NOWHERE, {"closed_as": attempt.reason})


def _put_hold(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.PUT_HOLD, _to(attempt), attempt.sheet.place, holds=(str(desk.request.facts["hold"]),))


def _lift_hold(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.LIFT_HOLD, _to(attempt), attempt.sheet.place, lifts=(str(desk.request.facts["hold"]),))


def minimum_sets(desk: Desk, attempt: Attempt, *, bulk: str | None = None) -> dict[str, Any]:
    """The minimum in seconds and the version of the house rules it was read from, for the sheet's adhesive and bulk."""
    adhesive = attempt.sheet.adhesive_id
    found = select(Adhesive.class_).where(Adhesive.id == adhesive)
    class_ = desk.session.execute(found).scalar() if adhesive is not None else None
    seconds = minimum_s(desk.house, class_, bulk or attempt.sheet.bulk)
    return {"minimum_s": seconds, "rule_version": desk.house.version}


def last_seen_stack(desk: Desk, stack_id: int) -> datetime:
    """The last moment at which anybody is on record as having had this stack before their eyes."""
    row = desk.session.execute(select(STACK).where(STACK.c.id == stack_id)).mappings().one()
    moves = select(func.max(LAYER.c.laid_at), func.max(LAYER.c.out_at)).where(LAYER.c.stack_id == stack_id)
    laid, out = desk.session.execute(moves).one()
    seen = [moment for moment in (row["last_at"], row["seen_on_at"], laid, out) if moment is not None]
    return max(seen, default=desk.happened_at)


def _to(attempt: Attempt) -> Stage | None:
    return lands_in(attempt.step, attempt.sheet.stage)


def _shelf(desk: Desk, attempt: Attempt) -> Place:
    if attempt.shelf is not None:
        return Place(attempt.shelf.cabinet_id, attempt.shelf.shelf_id)
    place = shelf_in_hand(desk)
    return attempt.sheet.place if place == NOWHERE and attempt.step is Step.INSPECT else place


def _label_hold(attempt: Attempt) -> tuple[str, ...]:
    return ("label-to-come",) if attempt.facts.get("label") is False else ()


def _gluing(desk: Desk, attempt: Attempt) -> dict[str, Any]:
    adhesive = adhesive_for(desk)
    return {
        "adhesive_id": adhesive["id"] if adhesive else None,
        "bulk": _bulk(desk, attempt.sheet.bulk), "glued_at": desk.happened_at, "minimum_s": None, "rule_version": None,
        "without_weight": False, "outcome": None, "inspected_by": (),
    }  # fmt: skip


def _bulk(desk: Desk, known: str) -> str:
    said = desk.request.facts.get("bulk") or desk.in_hand("bulk") or known
    return str(said) if said in BULKS else known


def _hands(desk: Desk) -> tuple[int, ...]:
    return tuple(worker.worker_id for worker in desk.by)


def _came_fresh(desk: Desk, row: Mapping[Any, Any]) -> bool:
    if row["consignment_id"] is None:
        return True
    kind = select(Consignment.kind).where(Consignment.id == row["consignment_id"])
    return desk.session.execute(kind).scalar_one() == "fieldwork"


def _lay_without_weight(desk: Desk, row: RowMapping, attempt: Attempt) -> bool:
    stays, spans = stays_and_spans(desk.session, row["id"], attempt.sheet.glued_at)
    limit = timedelta(hours=desk.house.gap_without_weight_h)
    assert attempt.clock is not None
    return set_without_weight(attempt.clock.minimum, limit, stays, spans, desk.happened_at)


WRITERS: dict[Step, Writer] = {
    Step.TAKE_IN: _take_in,
    Step.LAY_TO_DRY: _lay_to_dry,
    Step.PAPERS_CHANGED: _papers_changed,
    Step.PASS_AS_DRY: _pass_as_dry,
    Step.ARRIVE_DRY: _pass_as_dry,
    Step.ARRIVE_MOUNTED: _arrive_mounted,
    Step.TAKE_UP: _take_up,
    Step.PUT_BACK: _onto_shelf,
    Step.MOUNT: _mount,
    Step.PUT_UNDER_WEIGHT: _put_under_weight,
    Step.TAKE_OUT: _take_out,
    Step.FOUND_OUT: _found_out,
    Step.GOES_UNMOUNTED: _goes_unmounted,
    Step.RE_GLUE: _re_glue,
    Step.BACK_TO_TABLE: _back_to_table,
    Step.INSPECT: _inspect,
    Step.FILE: _onto_shelf,
    Step.BRING_BACK: _bring_back,
    Step.ANOTHER_SHEET: _stays,
    Step.PUT_TOGETHER: _stays,
    Step.RENUMBER: _stays,
    Step.SHELVE: _onto_shelf,
    Step.WITHDRAW: _withdraw,
    Step.PUT_HOLD: _put_hold,
    Step.LIFT_HOLD: _lift_hold,
}
