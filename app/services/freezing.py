"""Loads at a desk: filled, put into a freezer, read as cold, taken out and opened; what is too early is said before it is done."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer, Choice
from app.domain.errors import Refusal, Refused
from app.domain.freezing import WARMING, WARMS, celsius, rule_for
from app.domain.language import say
from app.domain.sheet import Place
from app.domain.stages import Step
from app.services import saying
from app.services.custody import enter_thing, standing_of
from app.services.desk import Desk, behind, somebody_is_here
from app.services.facts import sheet_by_number
from app.services.freezers import (
    asked_for_reading,
    begins_again,
    enough_at,
    follow_load,
    freezer_event,
    freezer_state,
    reading,
    write_event,
)
from app.services.freezing_words import (
    bag_first,
    begun,
    being_filled,
    came_out,
    in_the_freezer,
    is_in,
    leave_it_closed,
    leave_it_in,
    opened,
    out_of_order,
    was_opened,
)
from app.services.load_bundles import refuse_what_is_damp
from app.services.loads import fill, freezer_by_id, load_by_code, load_by_id, lying_in, make_load, refold
from app.services.places import freezer_by_name
from app.services.sheets import take_step
from app.services.treating import unbag


def scan_load(desk: Desk, code: str) -> Answer:
    """A load's card: what is meant by it here, or how it stands and what may be done with it now."""
    load = load_by_code(desk.session, code)
    pending = desk.in_hand("pending") or {}
    desk.keep(pending=None, last_sheet_id=None)
    step = _meant(desk, load)
    if step is not None:
        return DEEDS[step](desk, load)
    if load["put_in_at"] is None:
        fill(desk, load)
        if pending.get("step") == Step.FREEZE and (row := sheet_by_number(desk.session, pending["code"])) is not None:
            return take_step(desk, row, standing_of(row), Step.FREEZE)
        return being_filled(desk, load)
    if load["opened_at"] is not None:
        return was_opened(desk, load)
    if load["out_at"] is None:
        return in_the_freezer(desk, load)
    return _outside(desk, load)


def new_load(desk: Desk) -> Answer:
    """The card: a load is begun, and what is scanned next goes in it."""
    somebody_is_here(desk)
    load = make_load(desk.session, desk.now)
    fill(desk, load)
    return begun(load)


def scan_freezer(desk: Desk, place: Place) -> Answer | None:
    """A freezer's code: the load in hand goes in it, or what happened to it is said. None for a cabinet that is none."""
    freezer = freezer_by_id(desk.session, place.cabinet_id) if place.cabinet_id is not None else None
    if freezer is None:
        return None
    if desk.request.step is not None:
        if desk.request.step not in EVENTS:
            raise Refused(bag_first(freezer))
        return freezer_event(desk, freezer, desk.request.step)
    pending = desk.in_hand("pending") or {}
    if "load" in pending:
        desk.keep(pending=None)
        return _put_in(desk, load_by_id(desk.session, pending["load"]), freezer)
    return freezer_state(desk, freezer)


def put_in(desk: Desk, load: RowMapping) -> Answer:
    """A load goes into the freezer that is named. Refused: no-cabinet, damp, wet-adhesive, load-empty, out-of-order."""
    freezer = freezer_by_name(desk.session, str(desk.request.facts.get("freezer", "")))
    return _put_in(desk, load, freezer)


def read_cold(desk: Desk, load: RowMapping) -> Answer:
    """A logger with the load shows that it is cold, from this moment on. Refused: not-cold, out-of-order."""
    somebody_is_here(desk)
    if load["put_in_at"] is None or (load["out_at"] is not None and not desk.is_late):
        raise Refused(out_of_order(load, say("It does not lie in a freezer.")))
    if desk.happened_at < load["put_in_at"] or (load["out_at"] is not None and desk.happened_at > load["out_at"]):
        raise Refused(out_of_order(load, say("It did not lie in the freezer then.")))
    if not desk.is_late and load["cold_at"] is not None and load["cold_at"] <= desk.happened_at:
        raise Refused(
            out_of_order(load, say("It counts as cold already. A reading of now would only begin its days later."))
        )
    found = reading(desk, "reading_c")
    if found > load["rule_c"]:
        words = say(
            "{degrees} is not cold enough: its days begin at {needed}.",
            degrees=celsius(found),
            needed=celsius(load["rule_c"]),
        )
        raise Refused(Refusal("not-cold", words, say("Leave it in, and look again later."), "not-yet"))
    entry_id = _enter(desk, load, Step.LOAD_COLD, {"reading_c": found})
    again = follow_load(desk, load["id"])
    lines = (say("{name} is cold: {degrees}.", name=load["name"], degrees=celsius(found)), *begins_again(desk, [again]))
    return Answer("done", say("Cold."), lines, "", step=Step.LOAD_COLD.value, entry=entry_id)


def take_load_out(desk: Desk, load: RowMapping) -> Answer:
    """A load comes out. Before its time that is answered with not yet, unless it is already out. Refused: out-of-order."""
    somebody_is_here(desk)
    if load["put_in_at"] is None or load["out_at"] is not None or load["opened_at"] is not None:
        raise Refused(out_of_order(load, say("It does not lie in a freezer by the log.")))
    due = enough_at(load)
    if not (desk.request.already_done or desk.is_late) and (due is None or due > desk.happened_at):
        return leave_it_in(desk, load, due)
    freezer_id, others = (
        load["freezer_id"],
        [row for row in lying_in(desk.session, load["freezer_id"]) if row["id"] != load["id"]],
    )
    entry_id = _enter(desk, load, Step.LOAD_OUT, {})
    freezer = freezer_by_id(desk.session, freezer_id)
    if others and freezer is not None:
        write_event(desk, freezer, Step.FREEZER_OPENED, {"for": load["id"]})
    again = follow_load(desk, load["id"])
    answer = replace(came_out(desk, again), step=Step.LOAD_OUT.value, entry=entry_id)
    return _with_others(desk, answer, freezer, others)


def open_load(desk: Desk, load: RowMapping) -> Answer:
    """The bag is opened, and what lay in it is treated if the load was. Before its time: not yet, unless it is open already."""
    somebody_is_here(desk)
    if load["put_in_at"] is None or load["opened_at"] is not None:
        raise Refused(out_of_order(load, say("It was not in the freezer, or is open already.")))
    opens = load["out_at"] + WARMS if load["out_at"] else None
    if not (desk.request.already_done or desk.is_late) and (opens is None or opens > desk.happened_at):
        return leave_it_in(desk, load, enough_at(load)) if opens is None else leave_it_closed(desk, load, opens)
    entry_id = _enter(desk, load, Step.LOAD_OPENED, {})
    again = refold(desk, load["id"])
    many = unbag(desk, again)
    return opened(desk, again, many, entry_id)


def _meant(desk: Desk, load: RowMapping) -> Step | None:
    """The deed that is meant with a load: the one that is named, or what the button or the field under its answer says."""
    step = desk.request.step
    if step in DEEDS:
        return step
    if step is not None and step is not Step.FREEZE:
        raise Refused(
            Refusal(
                "wrong-stage", say("That is not done with a load."), say("Scan its card alone, and see what it says.")
            )
        )
    if desk.request.facts.get("reading_c"):
        return Step.LOAD_COLD
    if desk.request.already_done and load["put_in_at"] is not None:
        return Step.LOAD_OUT if load["out_at"] is None else Step.LOAD_OPENED
    return None


def _put_in(desk: Desk, load: RowMapping, freezer: RowMapping) -> Answer:
    somebody_is_here(desk)
    if load["opened_at"] is not None or (load["put_in_at"] is not None and load["out_at"] is None):
        raise Refused(out_of_order(load, say("It lies in the freezer already, or was opened.")))
    refuse_what_is_damp(desk, load)
    others = lying_in(desk.session, freezer["id"])
    rule = rule_for(desk.house, freezer["freezes_to_c"])
    facts = {"freezer": freezer["id"], "freezer_name": freezer["name"], "freezes_to_c": freezer["freezes_to_c"],
             "rule_c": rule.c, "rule_days": rule.days}  # fmt: skip
    entry_id = _enter(desk, load, Step.LOAD_IN, facts)
    if others:
        write_event(desk, freezer, Step.FREEZER_OPENED, {"for": load["id"]})
    again = follow_load(desk, load["id"])
    return _with_others(desk, is_in(desk, again, freezer, rule, entry_id), freezer, others)


def _with_others(desk: Desk, answer: Answer, freezer: RowMapping | None, others: Sequence[RowMapping]) -> Answer:
    if not others or freezer is None:
        return answer
    lines = (
        *answer.lines,
        say("The freezer was opened, so the others in it start their days again."),
        *begins_again(desk, others),
    )
    return asked_for_reading(freezer, replace(answer, lines=lines), others, Step.FREEZER_OPENED)


def _outside(desk: Desk, load: RowMapping) -> Answer:
    due, opens = enough_at(load), load["out_at"] + WARMS
    if due is None or due > load["out_at"]:
        fill(desk, load)
        return replace(came_out(desk, load), kind="stop", word=WORDS["stop"])
    if opens > desk.happened_at:
        return leave_it_closed(desk, load, opens)
    choice = Choice(say("It is open now"), "step", Step.LOAD_OPENED.value)
    line = say(
        "{name} may be opened: it is warm since {since}.", name=load["name"], since=saying.desk_tell(desk)(opens)
    )
    return Answer("which-one", say("Ready."), (line,), say("Open it where the clean cabinet is near."), choices=(choice,),
                  carry={"code": load["code"]})  # fmt: skip


def _enter(desk: Desk, load: RowMapping, step: Step, facts: dict[str, Any]) -> int:
    last_matters = step is not Step.LOAD_COLD or not desk.is_late
    if last_matters and (late := behind(desk, load["last_at"])) is not None:
        raise Refused(late)
    if desk.told_late:
        facts = {**facts, "counts_from": desk.now.isoformat()}
    return enter_thing(
        desk, "load", load["id"], step, happened_at=desk.happened_at, facts=facts, reason=desk.request.reason
    )


DEEDS: dict[Step, Callable[[Desk, RowMapping], Answer]] = {
    Step.LOAD_IN: put_in,
    Step.LOAD_COLD: read_cold,
    Step.LOAD_OUT: take_load_out,
    Step.LOAD_OPENED: open_load,
}
EVENTS = frozenset({*WARMING, Step.FREEZER_RUNS, Step.STAYED_COLD})
