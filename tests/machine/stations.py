"""What the design says of codes that are scanned at a station or sent for it: sheets, stacks' cards, badges, shelves, commands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

from tests.machine import freezer, parts
from tests.machine.counts import OF_CHECKS, asked, begin, count
from tests.machine.model import (
    DONE,
    DOUBLE_READ,
    DRY,
    DRYING,
    INTAKE,
    NUMBERS,
    READY,
    RETIRED,
    RIGHTS,
    UNDER_PRESS,
    UNDO_CARD,
    UNDO_WEIGHTS,
    Entry,
    Sheet,
    Stack,
    Station,
)  # fmt: skip
from tests.machine.steps import (
    DONE_SAID,
    STARTS,
    WHICH,
    Desk,
    Refuse,
    Said,
    after,
    behind,
    not_too_late,
    refusals,
    take,
    write,
)

BY_BUNDLE = frozenset({"take-in", "lay-to-dry", "papers-changed", "shelve"})
NEVER_BY_ITSELF = frozenset({"put-back", "shelve", "another-sheet", "re-glue", "back-to-table", "goes-unmounted"})
Code = tuple[
    str, ...
]  # ("sheet", number), ("on", stack), ("badge", who), ("shelf", cabinet, shelf), ("card", name), ("nonsense", text)


def scan(desk: Desk, code: Code, text: str) -> Said:
    """One code at one desk, from the double read on."""
    is_counting = desk.station is not None and desk.station.check is not None
    said = None if is_counting else _double_read(desk, text)
    if said is None:
        if desk.shelf is not None:
            desk.keep(shelf=desk.shelf)
        try:
            said = count(desk, code[0], code[1]) if is_counting else HANDLERS[code[0]](desk, *code[1:])
        except Refuse as refuse:
            said = refuse.said
    desk.keep(last_said=said)
    return said


def _double_read(desk: Desk, text: str) -> Said | None:
    station = desk.station
    if station is None or desk.step is not None or desk.facts or desk.already_done:
        desk.keep(last_code=None)
        return None
    last, station.last_code = station.last_code, (text, desk.happened_at)
    is_again = (
        last is not None and last[0] == text and 0 <= (desk.happened_at - last[1]).total_seconds() < DOUBLE_READ.seconds
    )
    said: Said | None = station.last_said if is_again else None
    return said


# -- sheets -------------------------------------------------------------------------------------------------------
def _sheet(desk: Desk, number: str) -> Said:
    sheet = desk.world.sheets.get(number)
    if sheet is None:
        _may_be_taken_in(desk)
        sheet = Sheet(number)
        desk.world.sheets[number] = sheet
    behind(desk, sheet)
    waits = (desk.station.pending if desk.station else None) or {}
    if _is_left_out(desk, sheet, waits):
        return WHICH
    if (said := parts.part_waits(desk, sheet, waits)) is not None:
        return said
    if desk.step == "another-sheet":
        return parts.another_sheet(desk, sheet)
    _what_waits_is_meant(desk, waits)
    desk.keep(last_sheet=number)
    return _take_what_is_meant(desk, sheet)


def _what_waits_is_meant(desk: Desk, waits: dict[str, Any]) -> None:
    """A bag that is filled here takes the sheet; else what was taken back at the wrong sheet is done with this one."""
    if desk.step == "take-out" and desk.already_done:
        desk.step = "found-out"
    if desk.step in (None, "freeze") and (load := freezer.filling(desk)) is not None:
        freezer.fill(desk, load)
        desk.step = "freeze"
    elif "bundle" not in waits:
        desk.keep(pending=None)
    if "next_step" in waits and desk.step is None:
        desk.step = waits["next_step"]


def _take_what_is_meant(desk: Desk, sheet: Sheet) -> Said:
    meant = [desk.step] if desk.step is not None else _meant(desk, sheet)
    if meant and not desk.by:
        raise Refuse(("not-signed-in", "stop"))
    if desk.step is None and sheet.stage == READY and meant == ["lay-to-dry"] and not sheet.is_closed:
        # Back to the dryer by a bare scan: it may only have been looked up.
        return WHICH
    if len(meant) == 1:
        return take(desk, sheet, meant[0])
    return WHICH if meant else _none_fits(desk, sheet)


def _is_left_out(desk: Desk, sheet: Sheet, waits: dict[str, Any]) -> bool:
    """While a bundle is asked about, a sheet of it that is scanned is an exception."""
    if "bundle" not in waits or sheet.bundle != waits["bundle"]:
        return False
    desk.keep(pending={**waits, "all_but": [*waits["all_but"], sheet.number]})
    return True


def _may_be_taken_in(desk: Desk) -> None:
    if desk.step != "take-in" and not (desk.step is None and "take-in" in DONE.get(desk.at or "", ())):
        raise Refuse(("unknown-number", "stop"))
    if not desk.by:
        raise Refuse(("not-signed-in", "stop"))
    not_too_late(desk, "take-in")


def _meant(desk: Desk, sheet: Sheet) -> list[str]:
    fitting = [
        each
        for each in DONE.get(desk.at or "", ())
        if sheet.stage in STARTS.get(each, ()) and each not in NEVER_BY_ITSELF
    ]
    if sheet.stage == READY and "mount" in fitting:
        is_here = sheet.table is not None and sheet.table == desk.at
        fitting = [each for each in fitting if each != ("take-up" if is_here else "mount") and each != "lay-to-dry"]
    in_hand = desk.stack_in_hand
    if sheet.stage == UNDER_PRESS and "take-out" in fitting and in_hand in (None, sheet.stack):
        fitting = [each for each in fitting if each != "put-under-weight"]
    return fitting[:1] if sheet.is_closed else fitting


def _none_fits(desk: Desk, sheet: Sheet) -> Said:
    steps = DONE.get(desk.at or "", ())
    if "put-under-weight" in steps and sheet.stage in (READY, DRY, INTAKE, DRYING):
        return take(desk, sheet, "put-under-weight")
    for step in steps:
        if step not in NEVER_BY_ITSELF:
            return take(desk, sheet, step)
    raise Refuse(("wrong-stage", "stop"))


# -- cards --------------------------------------------------------------------------------------------------------
def weights(desk: Desk, name: str, *, on: bool) -> Said:
    """One side of a stack's card; what waits for the stack goes in it when its weights are off."""
    said = _turned(desk, name, on)
    waits = (desk.station.pending if desk.station else None) or {}
    if said.kind != "done" or waits.get("step") != "put-under-weight" or on or waits.get("into", name) != name:
        return said
    desk.keep(pending=None, last_sheet=waits["code"])
    desk.step, desk.already_done = "put-under-weight", bool(waits.get("already_done"))
    return take(desk, desk.world.sheets[waits["code"]], "put-under-weight")


def _turned(desk: Desk, name: str, on: bool) -> Said:
    if not desk.by:
        raise Refuse(("not-signed-in", "stop"))
    stack = desk.world.stacks[name]
    desk.keep(stack=None if on else name)
    last = stack.last_at
    in_order = not desk.is_late and (last is None or desk.happened_at >= last)
    if in_order and stack.is_on == on and stack.turned_at is not None:
        return _seen(desk, stack, on)
    if last is not None and desk.happened_at < last and not desk.is_late:
        raise Refuse(("clock-behind", "stop"))
    moment = _moment(desk, stack, on)
    if on and in_order:
        stack.seen_on_at = moment
    step = "weights-on" if on else "weights-off"
    desk.world.write(Entry(("stack", name), step, frozenset(desk.by), desk.at, desk.scan, moment, desk.now))
    return DONE_SAID


def _seen(desk: Desk, stack: Stack, on: bool) -> Said:
    if on:
        stack.seen_on_at = max(desk.happened_at, stack.seen_on_at or desk.happened_at)
    return DONE_SAID


def _moment(desk: Desk, stack: Stack, on: bool) -> datetime:
    """Found off: it counts from the last moment at which anybody saw the weights on it."""
    if on or not desk.facts.get("found") or not stack.is_on:
        return desk.happened_at
    return min(stack.seen_on_at or stack.turned_at or desk.happened_at, desk.happened_at)


def badge(desk: Desk, who: str) -> Said:
    """A badge signs in, or answers by whom a sheet was glued; nobody's who has left, or who only reads."""
    if who in RETIRED:
        raise Refuse(("unknown-worker", "stop"))
    station = desk.station
    assert station is not None
    waits = station.pending or {}
    if waits.get("not_me"):
        if RIGHTS[who] == {"reader"}:
            raise Refuse(("unknown-worker", "stop"))
        station.pending = None
        _credit(desk, station, who)
        sign_in(desk, who, "")
        return DONE_SAID
    if waits.get("step") == "put-under-weight" and waits.get("already_done"):
        station.pending = None
        desk.facts, desk.already_done, desk.stack = (
            {**desk.facts, "glued_by": NUMBERS[who]},
            True,
            waits.get("stack", ""),
        )
        return take(desk, desk.world.sheets[waits["code"]], "put-under-weight")
    sign_in(desk, who, "")
    return DONE_SAID


def sign_in(desk: Desk, who: str, how: str) -> None:
    """In here and out everywhere else: alone, together with whoever is here, or learning beside them."""
    station = desk.station
    assert station is not None
    if who in RETIRED or RIGHTS[who] == {"reader"}:
        raise Refuse(("unknown-worker", "stop"))
    others = [each for each, _ in station.here if each != who]
    if how:
        if len(others) >= 2 or (how == "beside" and not others):
            raise Refuse(("not-signed-in", "stop"))
    else:
        desk.world.end_idle(desk.now, [(station.slug, each) for each, _ in station.here])
        station.go([each for each, _ in station.here], desk.now)
    here = [each for each in desk.world.stations.values() if who in [worker for worker, _ in each.here]]
    desk.world.end_idle(desk.now, [(each.slug, who) for each in here])
    for each in here:
        each.go([who], desk.now)
    station.here.append((who, others[0] if how == "beside" else None))
    station.came[who] = desk.now


def _credit(desk: Desk, station: Station, who: str) -> None:
    """Not me: what was done with sheets here, since those who are here came, was done by somebody else's hands."""
    world = desk.world
    since = max((station.came[each] for each, _ in station.here), default=desk.now)
    is_theirs = lambda each: each.at == station.slug and each.recorded_at >= since  # noqa: E731
    for subject in dict.fromkeys(each.subject for each in world.log if each.subject[0] == "sheet" and is_theirs(each)):
        rows = world.of(subject)
        tail = rows[next((place for place, each in enumerate(rows) if is_theirs(each)), len(rows)) :]
        if all(each.at == station.slug for each in tail):
            world.take_back(tail, _correction(desk))
            for each in tail:
                _credited(desk, each, frozenset({who}) if each.by & set(desk.by) else each.by)


def _credited(desk: Desk, entry: Entry, by: frozenset[str]) -> None:
    was, stands = desk.world.sheets[entry.subject[1]], entry.after
    assert stands is not None
    mended = entry.step == "re-glue" or (entry.step == "inspect" and stands.outcome == "mended-here")
    hands = {"mounted_by": was.mounted_by, "mended_by": was.mended_by | (by if mended else frozenset())}
    hands = {"mounted_by": by, "mended_by": frozenset()} if entry.step == "mount" else hands
    desk.world.write(replace(entry, by=by, scan=desk.scan, recorded_at=desk.now, before=was, after=replace(stands, **hands), stands=True,
                             id=0))  # fmt: skip


def _place(desk: Desk, cabinet: str, shelf: str) -> Said:
    station = desk.station
    assert station is not None
    waits = station.pending or {}
    if waits.get("check"):
        return begin(desk, (cabinet, shelf))
    station.shelf = (cabinet, shelf)
    if "bundle" in waits:
        return DONE_SAID
    if waits.get("step") in ("file", "put-back", "shelve"):
        station.pending = None
        return _put(desk, waits["code"], waits["step"])
    if station.last_sheet is not None and (step := _goes_there(station, desk.world.sheets[station.last_sheet])):
        return _put(desk, station.last_sheet, step)
    return DONE_SAID


def _put(desk: Desk, number: str, step: str) -> Said:
    desk.keep(last_sheet=None)
    return take(desk, desk.world.sheets[number], step)


def _goes_there(station: Station, sheet: Sheet) -> str:
    steps, is_here = DONE[station.slug], sheet.table == station.slug
    if sheet.stage == READY and is_here and "put-back" in steps:
        return "put-back"
    return "shelve" if "shelve" in steps and sheet.stage in (INTAKE, READY, DRY) and not is_here else ""


def _card(desk: Desk, name: str) -> Said:
    station = desk.station
    assert station is not None
    if name == "done":
        station.put_down()
        station.go([each for each, _ in station.here], desk.now)
        return DONE_SAID
    if name in BEGINS:
        return BEGINS[name](desk, station)
    if name == "undo":
        since = desk.now - UNDO_CARD
        mine = [each for each in desk.world.standing() if each.at == station.slug and each.recorded_at >= since]
        if not mine:
            raise Refuse(("not-last", "stop"))
        return undo(desk, max(mine, key=lambda each: each.id))
    waits = station.pending or {}
    if not waits.get("offer"):
        raise Refuse(("out-of-order", "stop"))
    station.pending = None
    desk.already_done = True
    return take(desk, desk.world.sheets[waits["code"]], waits["step"])


# -- bundles ------------------------------------------------------------------------------------------------------
def _bundle(desk: Desk, name: str) -> Said:
    """A bundle's card: how many lie in it is shown first, then all move that may; exceptions stay."""
    if (frozen := freezer.bundle_in(desk, name)) is not None:
        return frozen
    here, done_here = (
        [each for each in desk.world.sheets.values() if each.bundle == name and not each.is_closed],
        DONE.get(desk.at or "", ()),
    )
    desk.keep(bundle=name)
    fit = [each for each in done_here if each in BY_BUNDLE and (each != "shelve" or desk.shelf_in_hand)]
    steps = [desk.step] if desk.step else [each for each in fit if any(sheet.stage in STARTS[each] for sheet in here)]
    if not here:
        return DONE_SAID
    waits = (desk.station.pending if desk.station else None) or {}
    if len(steps) == 1 and (desk.at is None or desk.facts.get("all") or waits.get("bundle") == name):
        desk.keep(pending=None, bundle=None)
        return _all_of(desk, here, steps[0], {*waits.get("all_but", ()), *desk.facts.get("all_but", ())})
    if steps:
        desk.keep(pending={"bundle": name, "step": steps[0] if len(steps) == 1 else "", "all_but": []})
        return WHICH
    if not {"take-in", "lay-to-dry"} & set(done_here):
        desk.keep(bundle=None)
    return DONE_SAID


def _all_of(desk: Desk, here: list[Sheet], step: str, left_out: set[str]) -> Said:
    if step not in BY_BUNDLE:
        raise Refuse(("wrong-stage", "stop"))
    if not desk.by:
        raise Refuse(("not-signed-in", "stop"))
    going = [each for each in here if each.number not in left_out and "not-found" not in each.holds
             and not refusals(desk, each, step) and (each.last_at is None or each.last_at <= desk.happened_at)]  # fmt: skip
    for sheet in going:
        write(desk, sheet, step, after(desk, sheet, step))
    return DONE_SAID if going else Said("stop")


# -- taking back --------------------------------------------------------------------------------------------------
def undo(desk: Desk, entry: Entry) -> Said:
    """The last standing entry of its subject is taken back, with all that was written by the same scan."""
    _may_be_corrected(entry)
    together = [each for each in desk.world.standing() if each.scan == entry.scan] if entry.scan else [entry]
    for each in together:
        if each.step in OF_CHECKS:
            raise Refuse(("not-last", "stop"))
        _may_undo(desk, each)
    tails = {each.subject: [one for one in together if one.subject == each.subject] for each in together}
    for subject, mine in tails.items():
        if desk.world.of(subject)[-len(mine) :] != mine:
            raise Refuse(("not-last", "stop"))
    things = {"load", "cabinet"} & {kind for kind, _ in tails}
    before = freezer.treated(desk.world) if things else {}
    for mine in tails.values():
        desk.world.take_back(mine, _correction(desk))
        parts.leaves(desk.world, mine)
    freezer.hear_again(desk, before, frozenset(name for kind, name in tails if kind == "sheet"))
    return DONE_SAID


def take_back(desk: Desk, entry: Entry) -> Said:
    """The manager takes back an entry and all that followed it."""
    rows = desk.world.of(entry.subject)
    if not desk.reason.strip():
        raise Refuse(("reason-needed", "stop"))
    if entry.corrects is not None:
        raise Refuse(("not-last", "stop"))
    if entry not in rows:
        raise Refuse(("already-corrected", "stop"))
    desk.world.take_back(rows[rows.index(entry) :], _correction(desk))
    parts.leaves(desk.world, rows[rows.index(entry) :])
    return DONE_SAID


def _may_be_corrected(entry: Entry) -> None:
    if entry.corrects is not None or entry.step in OF_CHECKS:
        raise Refuse(("not-last", "stop"))
    if not entry.stands:
        raise Refuse(("already-corrected", "stop"))


def _correction(desk: Desk) -> Entry:
    return Entry(("", ""), "correct", frozenset(desk.by), desk.at, desk.scan, desk.now, desk.now)


def _may_undo(desk: Desk, entry: Entry) -> None:
    world = desk.world
    if entry.subject[0] == "stack":
        later = [
            each for each in world.log if each.id > entry.id and _moves(each, entry.subject[1]) and _is_effective(each)
        ]
        if desk.now - entry.recorded_at > UNDO_WEIGHTS or later:
            raise Refuse(("undo-too-late", "stop"))
    if desk.manages:
        return
    if not entry.by & set(desk.by):
        raise Refuse(("manager-only", "stop"))
    if entry.recorded_at.astimezone(world.zone).date() != desk.now.astimezone(world.zone).date():
        raise Refuse(("undo-too-late", "stop"))


def _is_effective(entry: Entry) -> bool:
    return entry.stands and entry.corrects is None


def _moves(entry: Entry, stack: str) -> bool:
    """Whether a sheet was laid into a stack or came out of it by this entry."""
    if (
        entry.before is None
        or entry.after is None
        or entry.before.layer == entry.after.layer
        and entry.before.stack == entry.after.stack
    ):
        return False
    return stack in (entry.before.stack, entry.after.stack)


BEGINS: dict[str, Callable[[Desk, Station], Said]] = {
    "check": lambda desk, station: asked(desk), "new-load": lambda desk, station: freezer.new_load(desk),
    "same-specimen": lambda desk, station: parts.asked(desk, station.last_sheet),
}  # fmt: skip
HANDLERS: dict[str, Any] = {
    "sheet": _sheet, "on": lambda desk, name: weights(desk, name, on=True), "off": lambda desk, name: weights(desk, name, on=False),
    "badge": badge, "shelf": _place, "card": _card, "bundle": _bundle, "load": freezer.scan_load, "freezer": freezer.scan_freezer,
}  # fmt: skip
