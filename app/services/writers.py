"""What each step of a sheet writes: where it goes, and which of its facts change."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.engine import RowMapping

from app.db.models import Consignment
from app.domain.attempt import Attempt
from app.domain.drying import usual_from
from app.domain.errors import Refusal, Refused
from app.domain.findings import RE_GLUED, SENT_BACK
from app.domain.holds import OUT
from app.domain.language import say
from app.domain.sheet import NOWHERE, Place
from app.domain.stages import STEP_WORDS, Step
from app.domain.suspected import NAMED
from app.services.custody import Writing
from app.services.desk import Desk
from app.services.drying import came_pressed, how_it_dries
from app.services.in_hand import bulk_meant, hands, lands, shelf_for, shelf_in_hand
from app.services.inspecting import ends_a_look, is_only_seal, look_facts, outcome_kept
from app.services.press_writers import found_out, mount, put_under_weight, re_glue, take_out

Writer = Callable[[Desk, RowMapping, Attempt], Writing]


def writing_for(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    """What this step writes for this sheet, before anything is written. Refused: wrong-stage for one no scan can mean."""
    writer = WRITERS.get(attempt.step)
    if writer is None:
        words = say("To {step} takes more than a scan.", step=STEP_WORDS[attempt.step][0])
        raise Refused(Refusal("wrong-stage", words, say("Open the sheet's page; it is done there.")))
    return _held_if_unnamed(attempt, writer(desk, row, attempt))


def _held_if_unnamed(attempt: Attempt, writing: Writing) -> Writing:
    """A suspected sheet that was glued by whoever, or where, nobody is named: it is written as it is, and held."""
    if attempt.step is not Step.MOUNT or not any(rule(attempt) for rule in NAMED):
        return writing
    return replace(writing, holds=(*writing.holds, "against-a-rule"), facts={**writing.facts, "broke": ["not-named"]})


def is_early_to_feel(desk: Desk, attempt: Attempt) -> bool:
    """Whether a plant is called dry earlier than is usual for the way it was dried."""
    pressed = attempt.sheet.pressed_at
    return pressed is not None and desk.happened_at < usual_from(pressed, attempt.sheet.method, desk.house)


def _take_in(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    bundle = desk.in_hand("bundle_id")
    place = Place(bundle_id=bundle) if bundle else shelf_for(desk, lands(attempt))
    fresh = desk.request.facts.get("fresh", _came_fresh(desk, row))
    sets: dict[str, Any] = {
        "fresh": bool(fresh),
        "bulk": bulk_meant(desk, str(row["bulk"])),
        **came_pressed(desk, bool(fresh)),
    }
    return Writing(Step.TAKE_IN, lands(attempt), place, sets, _label_hold(attempt))


def _lay_to_dry(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    bundle = desk.in_hand("bundle_id") or attempt.sheet.place.bundle_id
    sets = how_it_dries(desk, bundle, {"method": attempt.sheet.method, "pressed_at": attempt.sheet.pressed_at})
    return Writing(Step.LAY_TO_DRY, lands(attempt), Place(bundle_id=bundle), sets)


def _tie(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    bundle = desk.in_hand("bundle_id")
    if bundle is None:
        raise Refused(
            Refusal(
                "out-of-order", say("Into which bundle?"), say("Scan the bundle's card, then the sheet."), "which-one"
            )
        )
    return Writing(Step.TIE, lands(attempt), Place(bundle_id=bundle))


def _papers_changed(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.PAPERS_CHANGED, lands(attempt), attempt.sheet.place, {"papers_at": desk.happened_at})


def _pass_as_dry(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    early = {"early_to_feel": True} if is_early_to_feel(desk, attempt) else {}
    came = attempt.sheet.holds & {"label-to-come"} if attempt.facts.get("label") is True else ()
    return Writing(
        attempt.step,
        lands(attempt),
        _shelf(desk, attempt),
        {"fresh": False},
        _label_hold(attempt),
        tuple(came),
        facts=early,
    )


def _arrive_mounted(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.ARRIVE_MOUNTED, lands(attempt), _shelf(desk, attempt), {"fresh": False})


def _take_up(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.TAKE_UP, lands(attempt), Place(table_id=desk.station_id))


def _goes_unmounted(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    kind = str(desk.request.facts.get("unmounted", "packet"))
    return Writing(Step.GOES_UNMOUNTED, lands(attempt), _shelf(desk, attempt), {"unmounted": kind, "outcome": None})


def _back_to_table(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    sets = {"outcome": None, "glued_at": None, "minimum_s": None, "rule_version": None, "without_weight": False}
    return Writing(Step.BACK_TO_TABLE, lands(attempt), shelf_for(desk, lands(attempt)), sets)


def _inspect(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    outcome = str(desk.request.facts["outcome"])
    if is_only_seal(desk, attempt):
        return Writing(Step.INSPECT, lands(attempt), attempt.sheet.place, facts={"sealed": True})
    sets: dict[str, Any] = {"outcome": outcome_kept(desk.house, outcome), "inspected_by": hands(desk)}
    if outcome == "mended-here":
        sets["mended_by"] = tuple(dict.fromkeys((*attempt.sheet.mended_by, *hands(desk))))
    holds = ("to-be-repaired",) if outcome == "to-be-mended" else ()
    lifts = ("to-be-repaired",) if outcome != "to-be-mended" else ()
    place, facts = _shelf(desk, attempt), look_facts(desk, outcome)
    return Writing(Step.INSPECT, lands(attempt), place, sets, holds, tuple(attempt.sheet.holds & set(lifts)), facts)


def _ending_a_look(outcome: str, writer: Writer) -> Writer:
    """The same step, taken by whoever looked at a sheet: what was found is kept with it."""

    def write(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
        writing = writer(desk, row, attempt)
        if not ends_a_look(desk, attempt):
            return writing
        return replace(writing, facts={**writing.facts, **look_facts(desk, outcome)})

    return write


def _onto_shelf(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    assert attempt.shelf is not None
    return Writing(attempt.step, lands(attempt), Place(attempt.shelf.cabinet_id, attempt.shelf.shelf_id))


def _bring_back(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.BRING_BACK, lands(attempt), shelf_for(desk, lands(attempt)), {"outcome": None})


def _withdraw(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.WITHDRAW, lands(attempt), NOWHERE, {"closed_as": attempt.reason})


def _put_hold(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    kind, told = str(desk.request.facts["hold"]), desk.request.facts
    facts = {name: told[name] for name in ("with_whom", "due_on") if kind == OUT and told.get(name)}
    return Writing(Step.PUT_HOLD, lands(attempt), attempt.sheet.place, holds=(kind,), facts=facts)


def _lift_hold(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    return Writing(Step.LIFT_HOLD, lands(attempt), attempt.sheet.place, lifts=(str(desk.request.facts["hold"]),))


def _freeze(desk: Desk, row: RowMapping, attempt: Attempt) -> Writing:
    load = attempt.load
    assert load is not None
    facts = {"load": load.load_id, "load_name": load.name, **({"tied": load.tied_id} if load.tied_id else {})}
    return Writing(Step.FREEZE, lands(attempt), Place(bundle_id=load.tied_id or load.bundle_id), facts=facts)


def _shelf(desk: Desk, attempt: Attempt) -> Place:
    is_left_there = attempt.step is Step.INSPECT and shelf_in_hand(desk) == NOWHERE
    return attempt.sheet.place if is_left_there else shelf_for(desk, lands(attempt))


def _label_hold(attempt: Attempt) -> tuple[str, ...]:
    waits = attempt.facts.get("label") is False and "label-to-come" not in attempt.sheet.holds
    return ("label-to-come",) if waits else ()


def _came_fresh(desk: Desk, row: Mapping[Any, Any]) -> bool:
    if row["consignment_id"] is None:
        return True
    kind = select(Consignment.kind).where(Consignment.id == row["consignment_id"])
    return desk.session.execute(kind).scalar_one() == "fieldwork"


WRITERS: dict[Step, Writer] = {
    Step.TAKE_IN: _take_in,
    Step.LAY_TO_DRY: _lay_to_dry,
    Step.TIE: _tie,
    Step.PAPERS_CHANGED: _papers_changed,
    Step.PASS_AS_DRY: _pass_as_dry,
    Step.ARRIVE_DRY: _pass_as_dry,
    Step.ARRIVE_MOUNTED: _arrive_mounted,
    Step.TAKE_UP: _take_up,
    Step.PUT_BACK: _onto_shelf,
    Step.MOUNT: mount,
    Step.PUT_UNDER_WEIGHT: put_under_weight,
    Step.TAKE_OUT: take_out,
    Step.FOUND_OUT: found_out,
    Step.GOES_UNMOUNTED: _goes_unmounted,
    Step.RE_GLUE: _ending_a_look(RE_GLUED, re_glue),
    Step.BACK_TO_TABLE: _ending_a_look(SENT_BACK, _back_to_table),
    Step.INSPECT: _inspect,
    Step.FILE: _onto_shelf,
    Step.BRING_BACK: _bring_back,
    Step.SHELVE: _onto_shelf,
    Step.FREEZE: _freeze,
    Step.WITHDRAW: _withdraw,
    Step.PUT_HOLD: _put_hold,
    Step.LIFT_HOLD: _lift_hold,
}
