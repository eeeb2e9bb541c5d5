"""What the design says of each step: from which stage, what stops it, and how the sheet stands afterwards."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from tests.machine.model import (
    ADHESIVE_AT,
    CABINETS,
    CAPACITY,
    DRY,
    DRYING,
    FILED,
    INTAKE,
    MANAGER_LIFTS,
    MOUNTED,
    NUMBERS,
    READY,
    RETIRED,
    RIGHTS,
    SAFE_LATE,
    STAGES,
    STILL_THERE,
    STOPS,
    UNDER_PRESS,
    Entry,
    Place,
    Sheet,
    Station,
    World,
    ends_stay,
    minimum_of,
)  # fmt: skip

Why = tuple[str, str]  # a refusal: its code, and the answer that it makes
ANY = frozenset(STAGES)
STARTS: dict[str, frozenset[str | None]] = {
    "take-in": frozenset({None}), "lay-to-dry": frozenset({INTAKE, READY}), "papers-changed": frozenset({DRYING}),
    "pass-as-dry": frozenset({DRYING}), "arrive-dry": frozenset({INTAKE}), "arrive-mounted": frozenset({INTAKE}),
    "take-up": frozenset({READY}), "put-back": frozenset({READY}), "mount": frozenset({READY}),
    "put-under-weight": frozenset({MOUNTED, UNDER_PRESS}), "take-out": frozenset({UNDER_PRESS}), "found-out": frozenset({UNDER_PRESS}),
    "goes-unmounted": frozenset({READY}), "re-glue": frozenset({DRY}), "back-to-table": frozenset({DRY}), "inspect": frozenset({DRY}),
    "file": frozenset({DRY}), "bring-back": frozenset({FILED}), "shelve": frozenset({INTAKE, READY, DRY, FILED}),
    "tie": frozenset({INTAKE, DRYING}), "freeze": ANY, "unbag": ANY, "treatment": ANY, "withdraw": ANY, "put-hold": ANY, "lift-hold": ANY,
}  # fmt: skip
LEADS = {"take-in": INTAKE, "lay-to-dry": DRYING, "pass-as-dry": READY, "arrive-dry": READY, "arrive-mounted": DRY, "mount": MOUNTED,
         "put-under-weight": UNDER_PRESS, "take-out": DRY, "found-out": MOUNTED, "goes-unmounted": DRY, "re-glue": MOUNTED,
         "back-to-table": READY, "file": FILED, "bring-back": DRY}  # fmt: skip
FELT = ("pass-as-dry", "arrive-dry", "arrive-mounted")
PUT_WHERE_IN_HAND = (
    "take-in",
    "arrive-mounted",
    "take-out",
    "inspect",
    "back-to-table",
    "bring-back",
    "goes-unmounted",
)
MAY_BE_GLUED = (INTAKE, DRYING, READY)
WEIGHT = {"stop": 3, "which-one": 2, "not-yet": 1}


@dataclass
class Desk:
    """One request: who, where, when, and what was sent with it. `station` is where things in hand are kept, if they are."""

    world: World
    now: datetime
    happened_at: datetime
    by: tuple[str, ...]
    at: str | None
    station: Station | None
    scan: str
    manages: bool = False
    is_late: bool = False
    told_late: bool = False
    is_held: bool = False
    step: str | None = None
    stack: str = ""
    shelf: tuple[str, str] | None = None
    facts: dict[str, Any] = field(default_factory=dict)
    early: bool = False
    already_done: bool = False
    reason: str = ""
    is_written_up: bool = False

    @property
    def shelf_in_hand(self) -> tuple[str, str] | None:
        return self.shelf or (self.station.shelf if self.station else None)

    @property
    def stack_in_hand(self) -> str | None:
        return self.stack or (self.station.stack if self.station else None)

    @property
    def bundle_in_hand(self) -> str | None:
        return self.station.bundle if self.station else None

    def keep(self, **values: Any) -> None:
        if self.station is not None:
            for name, value in values.items():
                setattr(self.station, name, value)

    def has(self, *rights: str) -> bool:
        return any(right in RIGHTS[who] for who in self.by for right in rights)


@dataclass(frozen=True)
class Said:
    """An answer as it is predicted: which of the four, and the codes of its refusals."""

    kind: str
    codes: frozenset[str] = frozenset()


class Refuse(Exception):
    """Refused, for these reasons."""

    def __init__(self, *why: Why) -> None:
        self.said = refused(why)


def refused(why: Any) -> Said:
    return Said(max((kind for _, kind in why), key=lambda kind: WEIGHT[kind]), frozenset(code for code, _ in why))


DONE_SAID, WHICH = Said("done"), Said("which-one")


def behind(desk: Desk, sheet: Sheet) -> None:
    """Nothing is written of a sheet before its last entry."""
    if sheet.last_at is not None and desk.happened_at < sheet.last_at:
        raise Refuse(("out-of-order" if desk.is_late or desk.told_late else "clock-behind", "stop"))


def not_too_late(desk: Desk, step: str) -> None:
    """What rests on a judgement of that moment, a station tells at once or not at all."""
    if desk.told_late and step not in SAFE_LATE and desk.now - desk.happened_at > STILL_THERE:
        raise Refuse(("too-old", "not-yet"))


def take(desk: Desk, sheet: Sheet, step: str) -> Said:
    """Take one step with one sheet, as far as it may be taken."""
    if not desk.by:
        raise Refuse(("not-signed-in", "stop"))
    not_too_late(desk, step)
    behind(desk, sheet)
    if not sheet.is_closed and (asked := _asks(desk, sheet, step)) is not None:
        return asked
    if step == "put-under-weight" and desk.stack:
        desk.keep(stack=desk.stack)
    why = refusals(desk, sheet, step)
    if not why:
        waits = (desk.station.pending if desk.station else None) or {}
        facts = {"load": waits["load"], "tied": None} if step == "freeze" else {}
        write(desk, sheet, step, after(desk, sheet, step), facts=facts)
        _waits_for_its_shelf(desk, desk.world.sheets[sheet.number], step)
        return DONE_SAID
    if desk.already_done and step == "mount" and sheet.stage in MAY_BE_GLUED and not sheet.is_closed:
        stands = after(desk, sheet, "mount")
        write(desk, sheet, "mount", replace(stands, holds=stands.holds | {"against-a-rule"}))
        return DONE_SAID
    return _refused_with_ways(desk, sheet, step, why)


def _asks(desk: Desk, sheet: Sheet, step: str) -> Said | None:
    if step == "put-under-weight" and sheet.stage in (INTAKE, DRYING, READY, DRY):
        return _just_glued(desk, sheet)
    if desk.at is None or desk.already_done or sheet.stage not in STARTS.get(step, ()):
        return None
    if step in FELT:
        if "dryness" not in desk.facts:
            return WHICH
        if desk.facts["dryness"] is False:
            raise Refuse(("damp", "not-yet"))
        return WHICH if step == "pass-as-dry" and _is_early(desk, sheet) and not desk.facts.get("felt_again") else None
    return WHICH if step == "inspect" and "outcome" not in desk.facts else None


def _is_early(desk: Desk, sheet: Sheet) -> bool:
    usual = timedelta(days=3 if sheet.method == "heated" else 7)
    return sheet.pressed_at is not None and desk.happened_at - sheet.pressed_at < usual


def _just_glued(desk: Desk, sheet: Sheet) -> Said:
    """The sheet in the hand wins: it is asked who glued it, and then it is written as glued and laid in."""
    if not desk.already_done:
        waits = {"code": sheet.number, "step": "put-under-weight", "already_done": True, "stack": desk.stack}
        desk.keep(pending=waits)
        return WHICH
    step, glues = "re-glue" if sheet.stage == DRY else "mount", replace(desk, by=_glued_by(desk, sheet))
    stands = _glued(glues, sheet, step)
    if step == "mount" and not (sheet.stage == READY and sheet.table is not None):
        stands = replace(stands, holds=stands.holds | {"against-a-rule"})
    # The gluing tells what was; the laying in, who has it in the hands now.
    write(glues, sheet, step, stands, finds=False)
    return _laid_or_refused(desk, desk.world.sheets[sheet.number])


def _laid_or_refused(desk: Desk, sheet: Sheet) -> Said:
    if desk.stack:
        desk.keep(stack=desk.stack)
    if why := refusals(desk, sheet, "put-under-weight"):
        return _refused_with_ways(desk, sheet, "put-under-weight", why)
    write(desk, sheet, "put-under-weight", after(desk, sheet, "put-under-weight"))
    return DONE_SAID


def _glued_by(desk: Desk, sheet: Sheet) -> tuple[str, ...]:
    named = desk.facts.get("glued_by")
    if named is None:
        return _took_it_up(desk.world, sheet) or desk.by
    hands = tuple(who for who, number in NUMBERS.items() if number == named and who not in RETIRED)
    if not hands:
        raise Refuse(("unknown-worker", "stop"))
    return hands


def _took_it_up(world: World, sheet: Sheet) -> tuple[str, ...]:
    if sheet.table is None:
        return ()
    ups = [each for each in world.log if each.subject == ("sheet", sheet.number) and each.step == "take-up"]
    who = sorted(ups[-1].by, key=lambda each: NUMBERS[each])[:1]
    return tuple(each for each in who if each not in RETIRED)


def refusals(desk: Desk, sheet: Sheet, step: str) -> list[Why]:
    """Every reason why a step may not be taken now."""
    if sheet.is_closed:
        return [("withdrawn", "stop")]
    if sheet.stage not in STARTS.get(step, ()):
        if sheet.stage is None:
            return [("unknown-number", "stop")]
        return [("number-taken" if step == "take-in" else "wrong-stage", "stop")]
    why: list[Why] = [("on-hold", "stop")] if any(step in STOPS[hold] for hold in sheet.holds) else []
    rule = RULES.get(step)
    return why + (rule(desk, sheet) if rule is not None else [])


def _felt(desk: Desk, sheet: Sheet) -> list[Why]:
    return [] if desk.facts.get("dryness") is True else [("damp", "not-yet")]


def _onto(stage: str) -> Callable[[Desk, Sheet], list[Why]]:
    def rule(desk: Desk, sheet: Sheet) -> list[Why]:
        return _felt(desk, sheet) + _fits(desk, stage)

    return rule


def _fits(desk: Desk, stage: str | None) -> list[Why]:
    shelf = desk.shelf_in_hand
    return [("wrong-cabinet", "stop")] if shelf is not None and CABINETS[shelf[0]] != stage else []


def _shelf(desk: Desk, stage: str | None) -> list[Why]:
    return [("no-cabinet", "which-one")] if desk.shelf_in_hand is None else _fits(desk, stage)


def _take_up(desk: Desk, sheet: Sheet) -> list[Why]:
    why: list[Why] = [("no-label", "stop")] if desk.facts.get("label") is False else []
    if desk.at is None:
        return [*why, ("unknown-station", "stop"), *_other_table(desk, sheet)]
    return [*why, *([("wrong-stage", "not-yet")] if sheet.table == desk.at else []), *_other_table(desk, sheet)]


def _other_table(desk: Desk, sheet: Sheet) -> list[Why]:
    return [("on-another-table", "stop")] if sheet.table not in (None, desk.at) else []


def _mount(desk: Desk, sheet: Sheet) -> list[Why]:
    return [("wrong-stage", "stop")] if sheet.table is None else _other_table(desk, sheet)


def _put_under_weight(desk: Desk, sheet: Sheet) -> list[Why]:
    name = desk.stack_in_hand
    if name is None:
        return [("no-stack", "which-one")]
    world = desk.world
    on: list[Why] = [("weights-on", "not-yet")] if world.stacks[name].was_on(desk.happened_at) else []
    lying = len(world.in_stack(name)) - (sheet.stack == name)
    return [*on, ("stack-full", "not-yet")] if lying >= CAPACITY else on


def _take_out(desk: Desk, sheet: Sheet) -> list[Why]:
    assert sheet.stack is not None and sheet.minimum is not None
    why: list[Why] = []
    if not desk.early and desk.world.under_weight(sheet, desk.happened_at) < sheet.minimum:
        why.append(("too-early", "not-yet"))
    if desk.world.stacks[sheet.stack].was_on(desk.happened_at):
        why.append(("weights-on", "not-yet"))
    if desk.early and not desk.has("manager"):
        why.append(("manager-only", "stop"))
    return why + (_reason(desk, sheet) if desk.early else [])


def _reason(desk: Desk, sheet: Sheet) -> list[Why]:
    return [] if desk.reason.strip() else [("reason-needed", "which-one")]


def _inspect(desk: Desk, sheet: Sheet) -> list[Why]:
    if desk.facts.get("outcome") not in ("passed", "to-be-mended", "mended-here"):
        return [("not-inspected", "which-one")]
    own = desk.facts["outcome"] == "passed" and set(desk.by) & (sheet.mounted_by | sheet.mended_by)
    return [("own-work", "stop")] if own else []


def _file(desk: Desk, sheet: Sheet) -> list[Why]:
    passed: list[Why] = [] if sheet.outcome == "passed" else [("not-inspected", "not-yet")]
    return passed + _shelf(desk, FILED)


def _withdraw(desk: Desk, sheet: Sheet) -> list[Why]:
    who: list[Why] = [] if desk.has("manager") else [("manager-only", "stop")]
    return who + _reason(desk, sheet)


def _put_hold(desk: Desk, sheet: Sheet) -> list[Why]:
    again: list[Why] = [("on-hold", "stop")] if desk.facts["hold"] in sheet.holds else []
    return again + _reason(desk, sheet)


def _lift_hold(desk: Desk, sheet: Sheet) -> list[Why]:
    kind = desk.facts["hold"]
    why: list[Why] = [] if kind in sheet.holds else [("on-hold", "stop")]
    return [*why, ("manager-only", "stop")] if kind in MANAGER_LIFTS and not desk.has("manager") else why


RULES: dict[str, Callable[[Desk, Sheet], list[Why]]] = {
    "pass-as-dry": _onto(READY), "arrive-dry": _onto(READY), "arrive-mounted": _felt, "take-up": _take_up, "mount": _mount,
    "put-back": lambda desk, sheet: _shelf(desk, sheet.stage), "shelve": lambda desk, sheet: _shelf(desk, sheet.stage),
    "put-under-weight": _put_under_weight, "take-out": _take_out, "inspect": _inspect, "back-to-table": _reason,
    "file": _file, "bring-back": _reason, "withdraw": _withdraw, "put-hold": _put_hold, "lift-hold": _lift_hold,
}  # fmt: skip


def _refused_with_ways(desk: Desk, sheet: Sheet, step: str, why: list[Why]) -> Said:
    """What waits at the station after a refusal: for a shelf, for a stack, or for somebody to say that it is done already."""
    codes, named = {code for code, _ in why}, desk.stack_in_hand if step == "put-under-weight" else None
    if codes in ({"no-cabinet"}, {"no-stack"}, {"no-load"}) or (named and codes in ({"stack-full"}, {"weights-on"})):
        into = {"into": named} if named and codes == {"weights-on"} else {}
        desk.keep(pending={"code": sheet.number, "step": step, **into})
    offered = _offered(sheet, step)
    if offered:
        desk.keep(pending={"code": sheet.number, "step": offered, "offer": True})
    return refused(why)


def _offered(sheet: Sheet, step: str) -> str:
    if step in ("mount", "take-up") and sheet.stage in MAY_BE_GLUED:
        return "mount"
    return "found-out" if step == "take-out" and sheet.stage == UNDER_PRESS else ""


def after(desk: Desk, sheet: Sheet, step: str) -> Sheet:
    """How a sheet stands when a step was taken with it."""
    stands = replace(sheet, stage=LEADS.get(step, sheet.stage))
    change = CHANGES.get(step)
    return change(desk, sheet, stands) if change is not None else stands


def _shelf_for(desk: Desk, stage: str | None) -> Place:
    """The shelf in hand, unless its cabinet is for another stage; one that was named with the sheet as it was said."""
    if desk.shelf is not None:
        return ("cabinet", *desk.shelf)
    in_hand = desk.shelf_in_hand
    return ("cabinet", *in_hand) if in_hand is not None and CABINETS[in_hand[0]] == stage else None


def _waits_for_its_shelf(desk: Desk, sheet: Sheet, step: str) -> None:
    """What was left without a place by a shelf of another stage goes on the shelf that is scanned next."""
    left_out = step in PUT_WHERE_IN_HAND and sheet.place is None and desk.shelf_in_hand is not None
    if left_out and not any("shelve" in STOPS[hold] for hold in sheet.holds):
        desk.keep(pending={"code": sheet.number, "step": "shelve"})


def _label_to_come(desk: Desk) -> frozenset[str]:
    return frozenset({"label-to-come"}) if desk.facts.get("label") is False else frozenset()


def _taken_in(desk: Desk, sheet: Sheet, stands: Sheet) -> Sheet:
    holds, bulk = sheet.holds | _label_to_come(desk), desk.facts.get("bulk") or sheet.bulk
    bundle = desk.bundle_in_hand
    return replace(
        stands, place=("bundle", bundle) if bundle else _shelf_for(desk, stands.stage), holds=holds, bulk=bulk
    )


def _laid_to_dry(desk: Desk, sheet: Sheet, stands: Sheet) -> Sheet:
    pressed = min(sheet.pressed_at or desk.happened_at, desk.happened_at)
    method = desk.facts.get("drying") or sheet.method or "unheated"
    bundle = desk.bundle_in_hand or sheet.bundle
    return replace(stands, place=("bundle", bundle) if bundle else None, method=method, pressed_at=pressed)


def _tied(desk: Desk, sheet: Sheet, stands: Sheet) -> Sheet:
    if desk.bundle_in_hand is None:
        raise Refuse(("out-of-order", "which-one"))
    return replace(stands, place=("bundle", desk.bundle_in_hand))


def _passed_as_dry(desk: Desk, sheet: Sheet, stands: Sheet) -> Sheet:
    came = {"label-to-come"} if desk.facts.get("label") is True else set()
    return replace(stands, place=_shelf_for(desk, stands.stage), holds=(sheet.holds | _label_to_come(desk)) - came)


def _found_out(desk: Desk, sheet: Sheet, stands: Sheet) -> Sheet:
    assert sheet.stack is not None
    until = min(desk.world.last_seen(sheet.stack, desk.happened_at), desk.happened_at)
    return replace(stands, place=None, stays=ends_stay(sheet, until))


def _on_the_shelf(desk: Desk, sheet: Sheet, stands: Sheet) -> Sheet:
    return replace(stands, place=_shelf_for(desk, stands.stage))


def _looked_at_anew(desk: Desk, sheet: Sheet, stands: Sheet) -> Sheet:
    return replace(stands, place=_shelf_for(desk, stands.stage), outcome=None)


CHANGES: dict[str, Callable[[Desk, Sheet, Sheet], Sheet]] = {
    "take-in": _taken_in, "lay-to-dry": _laid_to_dry, "tie": _tied, "pass-as-dry": _passed_as_dry, "arrive-dry": _passed_as_dry,
    "take-up": lambda desk, sheet, stands: replace(stands, place=("table", desk.at or "")),
    "mount": lambda desk, sheet, stands: _glued(desk, sheet, "mount"),
    "re-glue": lambda desk, sheet, stands: _glued(desk, sheet, "re-glue"),
    "put-under-weight": lambda desk, sheet, stands: _laid_in(desk, stands, sheet),
    "take-out": lambda desk, sheet, stands: replace(
        stands, place=_shelf_for(desk, stands.stage), stays=ends_stay(sheet, desk.happened_at)
    ),
    "found-out": _found_out, "inspect": lambda desk, sheet, stands: _inspected(desk, stands),
    "back-to-table": lambda desk, sheet, stands: replace(
        _looked_at_anew(desk, sheet, stands), glued_at=None, minimum=None
    ),
    "put-back": _on_the_shelf, "file": _on_the_shelf, "shelve": _on_the_shelf, "arrive-mounted": _on_the_shelf,
    "bring-back": _looked_at_anew, "goes-unmounted": _looked_at_anew,
    "withdraw": lambda desk, sheet, stands: replace(
        stands, place=None, is_closed=True, stays=ends_stay(sheet, desk.happened_at)
    ),
    "put-hold": lambda desk, sheet, stands: replace(stands, holds=sheet.holds | {desk.facts["hold"]}),
    "lift-hold": lambda desk, sheet, stands: replace(stands, holds=sheet.holds - {desk.facts["hold"]}),
}  # fmt: skip


def _glued(desk: Desk, sheet: Sheet, step: str) -> Sheet:
    adhesive = desk.facts.get("adhesive") or (ADHESIVE_AT.get(desk.at) if desk.at and not desk.is_written_up else None)
    hands = frozenset(desk.by)
    by = (
        {"mounted_by": hands, "mended_by": frozenset[str]()}
        if step == "mount"
        else {"mended_by": sheet.mended_by | hands}
    )
    place: Place = ("table", desk.at) if step == "mount" and desk.at else None
    return replace(sheet, stage=MOUNTED, place=place, adhesive=adhesive, bulk=desk.facts.get("bulk") or sheet.bulk, minimum=None,
                   glued_at=desk.happened_at, outcome=None, **by)  # fmt: skip


def _laid_in(desk: Desk, stands: Sheet, sheet: Sheet) -> Sheet:
    name = desk.stack_in_hand
    assert name is not None
    until = desk.happened_at
    if sheet.stack is not None and desk.world.stacks[sheet.stack].was_on(desk.happened_at):
        until = min(desk.world.last_seen(sheet.stack, desk.happened_at), desk.happened_at)
    # What a station tells late adds nothing to the time under weight: that runs from when it was heard.
    stays = (*ends_stay(sheet, until), (name, desk.now if desk.told_late else desk.happened_at, None))
    minimum = sheet.minimum or minimum_of(sheet.adhesive, sheet.bulk)
    return replace(stands, place=("stack", name), layer=desk.world.next_layer(), stays=stays, minimum=minimum)


def _inspected(desk: Desk, stands: Sheet) -> Sheet:
    outcome = desk.facts["outcome"]
    if desk.shelf_in_hand is not None:
        stands = replace(stands, place=_shelf_for(desk, stands.stage))
    mended = stands.mended_by | (frozenset(desk.by) if outcome == "mended-here" else frozenset())
    holds = stands.holds | {"to-be-repaired"} if outcome == "to-be-mended" else stands.holds - {"to-be-repaired"}
    return replace(stands, outcome=outcome, mended_by=mended, holds=holds)


def write(
    desk: Desk, sheet: Sheet, step: str, stands: Sheet, *, finds: bool = True, facts: dict[str, Any] | None = None
) -> None:
    """One entry; what was missing is found by it, unless only a hold is spoken of away from any station."""
    not_too_late(desk, step)
    is_only_said = desk.at is None and step in ("put-hold", "lift-hold")
    found = sheet.holds & {"not-found"} if finds and not is_only_said else frozenset()
    stands = replace(stands, last_at=desk.happened_at, holds=stands.holds - found)
    entry = Entry(
        ("sheet", sheet.number), step, frozenset(desk.by), desk.at, desk.scan, desk.happened_at, desk.now, sheet, stands,
        facts=facts or {},
    )  # fmt: skip
    desk.world.write(entry)
