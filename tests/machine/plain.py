"""The same rules drawn by plain chance, each deed as likely as it is in a room: what hypothesis rarely gets to in many turns."""

from __future__ import annotations

import random
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.databases import Rooms
from tests.machine.freezer import OF_FREEZER, OF_LOAD
from tests.machine.machine import MEANT, MOST_SHEETS, Machine
from tests.machine.model import BUNDLES, CABINETS, DONE, NUMBERS, STOPS
from tests.machine.written_up import EVENTS

Draw = Callable[[random.Random], Any]
SLUGS, STEPS, KINDS = [*DONE, "press", "press"], sorted(MEANT), sorted(STOPS)
CREWS = [("olwen",), ("piet",), ("hedda",), ("rosamund",), ("olwen", "piet"), ("tove",), ("ines",)]
SHELVES = [(name, shelf) for name in CABINETS for shelf in "12"]
SAID: dict[str, tuple[Any, ...]] = {
    "dryness": (True, True, False), "label": (True, False), "felt_again": (True,), "drying": ("heated", "unheated"),
    "adhesive": ("straps", "pva", "paste"), "bulk": ("bulky", "thin"), "outcome": ("passed", "passed", "to-be-mended", "mended-here"),
    "glued_by": ("W02", "W06", "W99"),
}  # fmt: skip


def _facts(chance: random.Random) -> dict[str, Any]:
    return {name: chance.choice(values) for name, values in SAID.items() if chance.random() < 0.4}


def _of(*values: Any) -> Draw:
    return lambda chance: chance.choice(values)


WHICH, BOOL = _of(*range(MOST_SHEETS)), _of(True, False)
WHO, SLUG, STACK, STACK_OR_NOT = (
    _of(None, *CREWS[:4], *CREWS),
    _of(*SLUGS),
    _of("P1", "P2", "P3"),
    _of("", "P1", "P2", "P3"),
)
SHELF, REASON, LATE = (
    _of(None, None, *SHELVES),
    _of("", "it has to be", "it has to be", "  "),
    _of(None, None, None, None, 0, 2, 90, 3000, -5),
)
BAG, FREEZER, DEGREES = (
    _of("filing", "intake", "press"),
    _of("Freezer", "Freezer", "Deep", "Kitchen"),
    _of(-31.5, -21.0, -20.0, -17.5),
)
AGO = _of(0, 2, 90, 600, 3000, 9000, -5)
BUNDLE_STEP = _of(None, None, None, "lay-to-dry", "papers-changed", "shelve", "take-up")
DEEDS: dict[str, tuple[int, dict[str, Draw]]] = {
    "time_passes": (6, {"minutes": _of(0.1, 0.2, 1, 3, 45, 119, 121, 600, 1445, 2890, 4400)}),
    "clock_is_set_back": (1, {"minutes": _of(1, 30, 700), "chance": _of(0, 1)}),
    "goes_on": (10, {"which": WHICH, "way": _of(0, 1, 2, 3), "hands": _of(*CREWS[:4]), "stack": STACK}),
    "goes_on_at_a_station": (8, {"which": WHICH, "way": _of(0, 1, 2, 3), "on_page": BOOL, "says": BOOL}),
    "press_works": (1, {"stack": STACK, "minutes": _of(30, 125, 1441, 2881)}),
    "a_fitting_button": (8, {"which": WHICH, "pick": _of(*range(10)), "slug": SLUG, "facts": _facts, "done": BOOL, "stack": STACK_OR_NOT}),
    "a_fitting_script": (6, {"which": WHICH, "pick": _of(*range(10)), "slug": SLUG, "facts": _facts, "by": WHO, "reason": REASON,
                             "shelf": SHELF, "stack": STACK_OR_NOT, "late": LATE}),
    "out_of_the_press": (4, {"which": WHICH, "on_page": BOOL}),
    "a_sheet_is_scanned": (8, {"door": _of("page", "key"), "slug": SLUG, "which": WHICH}),
    "a_button_is_pressed": (3, {"slug": SLUG, "which": WHICH, "step": _of(*STEPS), "facts": _facts, "done": BOOL, "stack": STACK_OR_NOT}),
    "a_scanner_sends": (3, {"slug": SLUG, "which": WHICH, "step": _of(*STEPS), "facts": _facts, "by": WHO, "shelf": SHELF, "early": _of(False, False, True),
                            "reason": REASON}),
    "a_station_tells_late": (3, {"slug": SLUG, "which": WHICH, "pick": _of(*range(10)), "says": BOOL, "facts": _facts, "done": BOOL, "stack": STACK_OR_NOT,
                                 "seconds": _of(0, 5, 59, 61, 400, 8000, -5), "passes": _of(0, 0, 6, 30, 400)}),
    "a_script_sends": (2, {"slug": SLUG, "which": WHICH, "step": _of(*STEPS), "facts": _facts, "by": _of(*CREWS), "shelf": SHELF, "done": BOOL,
                           "stack": STACK_OR_NOT, "reason": REASON, "late": LATE}),
    "a_card_of_a_stack": (6, {"door": _of("page", "key"), "slug": _of("press", "press", "table-1"), "side": _of("on", "off"), "stack": STACK}),
    "weights_by_a_script": (2, {"key": _of("manager", "press"), "stack": STACK, "on": BOOL, "found": BOOL, "by": WHO, "late": LATE}),
    "a_badge": (3, {"door": _of("page", "key"), "slug": SLUG, "who": _of(*NUMBERS)}),
    "a_name": (2, {"slug": SLUG, "who": _of(*NUMBERS), "how": _of("", "together", "beside")}),
    "a_shelf": (3, {"slug": _of("intake", "table-1", "filing", "inspection"), "shelf": _of(*SHELVES)}),
    "a_shelf_is_checked": (1, {"slug": _of("intake", "filing"), "shelf": _of(*SHELVES), "overlooked": _of(0, 1, 2, 3),
                               "others": lambda chance: [chance.randrange(MOST_SHEETS) for _ in range(chance.randrange(3))]}),
    "a_bundle": (3, {"door": _of("page", "key"), "slug": _of("intake", "drying", "filing", "table-1"), "bundle": _of(*BUNDLES), "step": BUNDLE_STEP,
                     "all_of_it": BOOL}),
    "a_bundle_by_a_script": (1, {"slug": _of("", "drying", "filing"), "bundle": _of(*BUNDLES), "step": BUNDLE_STEP, "by": _of(*CREWS),
                                 "but": lambda chance: [chance.randrange(MOST_SHEETS) for _ in range(chance.randrange(3))], "shelf": SHELF, "all_of_it": BOOL}),
    "a_bundle_is_filled": (3, {"bundle": _of(*BUNDLES), "slug": _of("intake", "drying"), "first": WHICH, "many": _of(1, 2, 3), "ends": _of(*range(6))}),
    "a_plant_needs_another_sheet": (2, {"which": WHICH, "at": _of("page", "key", "manager"), "is_taken_up": BOOL, "slug": SLUG}),
    "two_sheets_are_one_specimen": (2, {"slug": SLUG, "first": WHICH, "second": WHICH, "seconds": _of(0, 25, 25, 2000)}),
    "a_bag_is_filled": (3, {"slug": BAG, "first": WHICH, "many": _of(1, 2, 3), "freezer": FREEZER, "bundle": _of(None, None, *BUNDLES), "ends": _of(*range(6))}),
    "a_bag_s_card": (4, {"door": _of("page", "page", "manager"), "slug": BAG, "pick": _of(*range(6)), "step": _of(None, None, *OF_LOAD, "freeze", "file"),
                         "done": BOOL, "freezer": FREEZER, "reading": DEGREES, "late": _of(None, None, 0, 90, 3000)}),
    "a_freezer": (2, {"slug": BAG, "freezer": FREEZER, "step": _of(None, *OF_FREEZER, "stayed-cold", "shelve"), "reading": DEGREES}),
    "a_bag_comes_out": (2, {"slug": BAG, "pick": _of(*range(6)), "days": _of(2, 4, 8, 9), "warms": _of(3, 24, 30), "done": BOOL}),
    "a_command": (3, {"slug": SLUG, "card": _of("undo", "already-done", "already-done", "done")}),
    "a_scan_is_undone": (3, {"back": _of(0, 0, 0, 1, 2, 3), "slug": SLUG, "why": _of("wrong-sheet", "not-done-yet", "not-me"), "on_page": BOOL, "is_there": _of(True, True, False)}),
    "it_was_not_me": (3, {"slug": SLUG, "first": _of(*NUMBERS), "pick": _of(*range(10)), "second": _of(*NUMBERS), "door": _of("page", "key")}),
    "the_manager_says_when_one_is_idle": (1, {"minutes": _of(0, 0, 20, 120, 700)}),
    "a_script_undoes": (1, {"back": _of(0, 0, 1, 2)}),
    "the_manager_takes_back": (1, {"back": _of(*range(10)), "who": _of("hedda", "hedda", "rosamund", "ines")}),
    "the_manager_writes_up": (3, {"which": WHICH, "pick": _of(*range(10)), "by": _of("olwen", "olwen", "piet", "hedda", "ines"), "facts": _facts, "slug": _of("", *SLUGS),
                                  "stack": STACK_OR_NOT, "shelf": SHELF, "minutes": AGO}),
    "the_manager_writes_up_a_load": (2, {"pick": _of(*range(6)), "step": _of(*OF_LOAD), "by": _of("olwen", "hedda", "hedda", "ines"), "into": FREEZER, "reading": DEGREES,
                                         "minutes": AGO}),
    "the_manager_writes_up_a_freezer": (1, {"freezer": FREEZER, "step": _of(*EVENTS), "minutes": AGO, "lasts": _of(None, 0, 30)}),
    "many_are_held": (2, {"who": _of("hedda", "hedda", "rosamund", "olwen"), "step": _of("put-hold", "lift-hold"), "kind": _of(*KINDS),
                          "many": lambda chance: [chance.randrange(MOST_SHEETS) for _ in range(chance.randrange(1, 7))]}),
    "a_hold_on_its_page": (2, {"which": WHICH, "who": _of("hedda", "rosamund", "olwen", "ines"), "step": _of("put-hold", "lift-hold", "lift-hold"), "kind": _of(*KINDS)}),
    "a_hold_by_a_script": (1, {"which": WHICH, "by": _of(*CREWS), "step": _of("put-hold", "lift-hold"), "kind": _of(*KINDS), "reason": REASON}),
    "the_manager_decides": (2, {"which": WHICH, "who": _of("hedda", "hedda", "rosamund", "ines"), "step": _of("take-out", "take-out", "withdraw"), "chance": _of(0, 1, 2, 3)}),
    "sent_again": (2, {"which": _of(*range(200)), "otherwise": BOOL}),
    "a_list": (1, {"first": WHICH, "many": _of(1, 2, 3)}),
    "a_file": (1, {"first": WHICH, "many": _of(1, 2, 3), "bad": BOOL, "chance": _of(0, 1)}),
}  # fmt: skip


def work_plainly(rooms: Rooms, folder: Path, histories: int, deeds: int, seed: int) -> str:
    """Let so many rooms be worked in by chance; what was done, and how many rooms differed, with their deeds shown."""
    Machine.rooms, Machine.folder, Machine.count = rooms, folder, 0
    done, differed = Counter[str](), 0
    for history in range(histories):
        chance, machine, told = random.Random(seed + history), Machine(), list[str]()
        try:
            machine.opens()
            for _ in range(deeds):
                _one(machine, chance, told)
            machine.teardown()
        except Exception:
            differed += 1
            print(f"seed {seed + history}, after:", *told[-12:], traceback.format_exc(), sep="\n", flush=True)
            machine.crew.room.database.engine.dispose()
        done.update(machine.crew.done)
    return f"{done.total():,} deeds in {histories:,} rooms, of which {differed} differed: {dict(done)}"


def _one(machine: Machine, chance: random.Random, told: list[str]) -> None:
    name = chance.choices([*DEEDS], [weight for weight, _ in DEEDS.values()])[0]
    given = {argument: draw(chance) for argument, draw in DEEDS[name][1].items()}
    told.append(f"{name}({given})")
    getattr(machine, name)(**given)
