"""Random people who do random things at all doors of a room; the model says beforehand what each of them is answered."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from tests.databases import Rooms
from tests.machine import written_up
from tests.machine.checks import all_agrees
from tests.machine.crew import Crew
from tests.machine.freezer import OF_FREEZER, OF_LOAD, times_of
from tests.machine.model import (
    BUNDLES,
    CABINETS,
    DONE,
    DRY,
    DRYING,
    FILED,
    INTAKE,
    MOUNTED,
    NUMBERS,
    READY,
    STOPS,
    UNDER_PRESS,
    Entry,
    Sheet,
)  # fmt: skip
from tests.machine.steps import STARTS
from tests.services.days import new_room

MOST_SHEETS = 12
STATIONS = st.sampled_from([*DONE, "press", "press"])
WHO = st.sampled_from([("olwen",), ("piet",), ("hedda",), ("rosamund",), ("olwen", "piet"), ("tove",), ("ines",)])
HANDS = st.sampled_from([("olwen",), ("piet",), ("hedda",), ("rosamund",)])
WHICH = st.integers(0, MOST_SHEETS - 1)
STACKS = st.sampled_from(["P1", "P2", "P3"])
SHELVES = st.sampled_from([(name, shelf) for name in CABINETS for shelf in "12"])
MEANT = {step for steps in DONE.values() for step in steps} - {"another-sheet", "weights-on", "weights-off"} | {
    "tie",
    "freeze",
}
STEPS = st.sampled_from(sorted(MEANT))
REASONS = st.sampled_from(["", "it has to be", "  "])
BUNDLE_AT = st.sampled_from(["intake", "drying", "filing", "table-1"])
BUNDLE_STEPS = st.sampled_from([None, None, "lay-to-dry", "papers-changed", "shelve", "take-up"])
FACTS = st.fixed_dictionaries({}, optional={
    "dryness": st.booleans(), "label": st.booleans(), "felt_again": st.just(True), "drying": st.sampled_from(["heated", "unheated"]),
    "adhesive": st.sampled_from(["straps", "pva", "paste"]), "bulk": st.sampled_from(["bulky", "thin"]),
    "outcome": st.sampled_from(["passed", "to-be-mended", "mended-here"]), "glued_by": st.sampled_from(["W02", "W06", "W99"]),
})  # fmt: skip
MINUTES = st.sampled_from([0.1, 0.2, 1, 3, 45, 119, 121, 600, 1445, 2890, 4400])
BACK, AGO = st.sampled_from([1, 30, 700]), st.sampled_from([0, 2, 90, 600, 3000, 9000, -5])
BAG_AT, FROZEN_IN = (
    st.sampled_from(["filing", "intake", "press"]),
    st.sampled_from(["Freezer", "Freezer", "Deep", "Kitchen"]),
)
LOAD_STEPS, DEGREES = (
    st.sampled_from([None, None, *OF_LOAD, "freeze", "file"]),
    st.sampled_from([-31.5, -21.0, -20.0, -17.5]),
)
# The next step of a sheet in each stage, where it is done, and what has to be said with it.
ONWARD: dict[str, list[tuple[str, str, dict[str, Any]]]] = {
    INTAKE: [("intake", "arrive-dry", {"dryness": True}), ("intake", "lay-to-dry", {"drying": "heated"}),
             ("intake", "arrive-mounted", {"dryness": True})],
    DRYING: [("drying", "pass-as-dry", {"dryness": True, "felt_again": True})],
    READY: [("table-1", "take-up", {}), ("table-1", "mount", {"adhesive": "straps"}), ("table-2", "take-up", {}), ("table-2", "mount", {})],
    MOUNTED: [("press", "put-under-weight", {})], UNDER_PRESS: [("press", "take-out", {})],
    DRY: [("inspection", "inspect", {"outcome": "passed"}), ("filing", "file", {})],
    FILED: [("filing", "bring-back", {})],
}  # fmt: skip
IN_ALL = Counter[str]()


class Machine(RuleBasedStateMachine):
    """One room, worked in for a while."""

    rooms: Rooms
    folder: Path
    count = 0

    @initialize()
    def opens(self) -> None:
        Machine.count += 1
        folder = self.folder / str(Machine.count)
        folder.mkdir()
        self.crew = Crew(new_room(self.rooms, folder), folder)
        self.numbers: list[str] = []
        self.some_are_here()

    def some_are_here(self) -> None:
        """The room is in the middle of its work: a few sheets in every stage up to the press."""
        crew = self.crew
        for which in range(8):
            crew.scans("manager", "intake", ("sheet", self.number(which)), by=("rosamund",), step="take-in")
        for which in range(6):
            crew.scans("page", "intake", ("sheet", self.number(which)), step="arrive-dry", facts={"dryness": True})
        for which in range(4):
            crew.scans("key", "table-1", ("sheet", self.number(which)))
            crew.scans("page", "table-1", ("sheet", self.number(which)), step="mount", facts={"adhesive": "straps"})
        crew.scans("page", "press", ("off", "P1"))
        for which in range(2):
            crew.scans("page", "press", ("sheet", self.number(which)))
        crew.scans("page", "press", ("on", "P1"))
        # Whoever asks too early is told so in every history, not only where chance brings it; later than a double read.
        crew.room.now += timedelta(minutes=3)
        for which in range(2):
            crew.scans("page", "press", ("sheet", self.number(which)))

    def teardown(self) -> None:
        if hasattr(self, "crew"):
            try:
                all_agrees(self.crew.room, self.crew.world, self.crew.doors)
                IN_ALL.update(self.crew.done)
            finally:
                self.crew.room.database.engine.dispose()

    def number(self, which: int) -> str:
        while len(self.numbers) <= min(which, MOST_SHEETS - 1):
            self.numbers.append(self.crew.new_number())
        return self.numbers[which]

    def sheet(self, which: int) -> Sheet:
        number = self.number(which)
        return self.crew.world.sheets.get(number, Sheet(number))

    # -- time ---------------------------------------------------------------------------------------------------
    @rule(minutes=MINUTES)
    def time_passes(self, minutes: float) -> None:
        self.crew.room.now += timedelta(minutes=minutes)

    @rule(minutes=BACK, chance=st.integers(0, 5))
    def clock_is_set_back(self, minutes: int, chance: int) -> None:
        if not chance:
            self.crew.room.now -= timedelta(minutes=minutes)

    # -- what goes on as it should ------------------------------------------------------------------------------
    @rule(which=WHICH, way=st.integers(0, 3), hands=HANDS, stack=STACKS)
    def goes_on(self, which: int, way: int, hands: tuple[str, ...], stack: str) -> None:
        sheet = self.sheet(which)
        if sheet.stage is None:
            self.crew.scans("manager", "intake", ("sheet", sheet.number), by=hands, step="take-in")
            return
        slug, step, facts = ONWARD[sheet.stage][way % len(ONWARD[sheet.stage])]
        if sheet.stage == READY and sheet.table is not None:
            slug, step = sheet.table, "mount"
        if sheet.stage == DRY and sheet.outcome == "passed":
            slug, step, facts = "filing", "file", {}
        more: dict[str, Any] = {"stack": stack} if step == "put-under-weight" else {}
        more |= {"shelf": ("F1", "1")} if step == "file" else {"reason": "damage seen"} if step == "bring-back" else {}
        self.crew.scans("manager", slug, ("sheet", sheet.number), by=hands, step=step, facts=facts, **more)

    @rule(which=WHICH, way=st.integers(0, 3), on_page=st.booleans(), says=st.booleans())
    def goes_on_at_a_station(self, which: int, way: int, on_page: bool, says: bool) -> None:
        sheet = self.sheet(which)
        slug, step, facts = (
            ONWARD[sheet.stage][way % len(ONWARD[sheet.stage])] if sheet.stage else ("intake", "take-in", {})
        )
        more: dict[str, Any] = {"step": step, "facts": facts} if says else {}
        self.crew.scans("page" if on_page else "key", slug, ("sheet", sheet.number), **more)

    @rule(stack=STACKS, minutes=st.sampled_from([30, 125, 1441, 2881]))
    def press_works(self, stack: str, minutes: int) -> None:
        """What is glued is laid in, the weights go on, time passes, the weights come off, and all is tried."""
        self.crew.scans("page", "press", ("off", stack))
        for sheet in [each for each in self.crew.world.sheets.values() if each.stage == MOUNTED][:3]:
            self.crew.scans("page", "press", ("sheet", sheet.number), step="put-under-weight", stack=stack)
        self.crew.scans("key", "press", ("on", stack))
        self.crew.room.now += timedelta(minutes=minutes)
        self.crew.scans("page", "press", ("off", stack))
        for sheet in self.crew.world.in_stack(stack):
            self.crew.scans("page", "press", ("sheet", sheet.number), step="take-out")

    # -- what begins where a sheet stands, said in any way ------------------------------------------------------
    @rule(
        which=WHICH,
        pick=st.integers(0, 9),
        slug=STATIONS,
        facts=FACTS,
        done=st.booleans(),
        stack=st.one_of(st.just(""), STACKS),
    )
    def a_fitting_button(self, which: int, pick: int, slug: str, facts: dict[str, Any], done: bool, stack: str) -> None:
        number, step = self._fitting(which, pick)
        slug = next((each for each, steps in DONE.items() if step in steps), slug)
        self.crew.scans("page", slug, number, step=step, facts=facts, already_done=done, stack=stack)

    @rule(which=WHICH, pick=st.integers(0, 9), slug=STATIONS, facts=FACTS, by=st.one_of(st.none(), WHO), reason=REASONS,
          shelf=st.one_of(st.none(), SHELVES), stack=st.one_of(st.just(""), STACKS), late=st.sampled_from([None, None, 0, 90]))  # fmt: skip
    def a_fitting_script(self, which: int, pick: int, slug: str, facts: dict[str, Any], by: tuple[str, ...] | None, reason: str,
                         shelf: tuple[str, str] | None, stack: str, late: int | None) -> None:  # fmt: skip
        number, step = self._fitting(which, pick)
        more: dict[str, Any] = {"facts": facts, "reason": reason, "shelf": shelf, "stack": stack, "late_min": late}
        self.crew.scans("manager", slug, number, by=by, step=step, **more)

    @rule(which=WHICH, on_page=st.booleans())
    def out_of_the_press(self, which: int, on_page: bool) -> None:
        lying = [sheet for sheet in self.crew.world.sheets.values() if sheet.stage == UNDER_PRESS]
        if lying:
            code = ("sheet", lying[which % len(lying)].number)
            self.crew.scans("page" if on_page else "key", "press", code, step=None if on_page else "take-out")

    def _fitting(self, which: int, pick: int) -> tuple[tuple[str, str], str]:
        sheet = self.sheet(which)
        steps = sorted(step for step, starts in STARTS.items() if sheet.stage in starts and step in MEANT)
        return ("sheet", sheet.number), steps[pick % len(steps)]

    # -- anything at all ----------------------------------------------------------------------------------------
    @rule(door=st.sampled_from(["page", "key"]), slug=STATIONS, which=WHICH)
    def a_sheet_is_scanned(self, door: str, slug: str, which: int) -> None:
        self.crew.scans(door, slug, ("sheet", self.number(which)))

    @rule(slug=STATIONS, which=WHICH, step=STEPS, facts=FACTS, done=st.booleans(), stack=st.one_of(st.just(""), STACKS))
    def a_button_is_pressed(
        self, slug: str, which: int, step: str, facts: dict[str, Any], done: bool, stack: str
    ) -> None:
        self.crew.scans(
            "page", slug, ("sheet", self.number(which)), step=step, facts=facts, already_done=done, stack=stack
        )

    @rule(slug=STATIONS, which=WHICH, step=STEPS, facts=FACTS, by=st.one_of(st.none(), WHO), shelf=st.one_of(st.none(), SHELVES),
          early=st.booleans(), reason=REASONS)  # fmt: skip
    def a_scanner_sends(self, slug: str, which: int, step: str, facts: dict[str, Any], by: tuple[str, ...] | None,
                        shelf: tuple[str, str] | None, early: bool, reason: str) -> None:  # fmt: skip
        number = ("sheet", self.number(which))
        self.crew.scans("key", slug, number, step=step, facts=facts, by=by, shelf=shelf, early=early, reason=reason)

    @rule(slug=STATIONS, which=WHICH, pick=st.integers(0, 9), says=st.booleans(), facts=FACTS, done=st.booleans(), stack=st.one_of(st.just(""), STACKS),
          seconds=st.sampled_from([0, 5, 59, 61, 400, 8000, -5]), passes=st.sampled_from([0, 0, 6, 30, 400]))  # fmt: skip
    def a_station_tells_late(self, slug: str, which: int, pick: int, says: bool, facts: dict[str, Any], done: bool, stack: str, seconds: int,
                             passes: int) -> None:  # fmt: skip
        """A scan that a station had kept while the line was down; who was there is not asked where one may have been idle."""
        self.crew.room.now += timedelta(seconds=passes)
        number, step = self._fitting(which, pick)
        slug = next((each for each, steps in DONE.items() if step in steps), slug) if pick % 2 else slug
        if self.crew.world.idle is None:
            self.crew.scans(
                "key",
                slug,
                number,
                step=step if says else None,
                facts=facts,
                already_done=done,
                stack=stack,
                kept_s=seconds,
            )

    @rule(slug=STATIONS, which=WHICH, step=STEPS, facts=FACTS, by=WHO, shelf=st.one_of(st.none(), SHELVES), done=st.booleans(),
          stack=st.one_of(st.just(""), STACKS), reason=REASONS, late=st.sampled_from([None, None, 0, 2, 90, 3000, -5]))  # fmt: skip
    def a_script_sends(self, slug: str, which: int, step: str, facts: dict[str, Any], by: tuple[str, ...],
                       shelf: tuple[str, str] | None, done: bool, stack: str, reason: str, late: int | None) -> None:  # fmt: skip
        self.crew.scans("manager", slug, ("sheet", self.number(which)), step=step, facts=facts, by=by, shelf=shelf, stack=stack,
                        already_done=done, reason=reason, late_min=late)  # fmt: skip

    # -- cards --------------------------------------------------------------------------------------------------
    @rule(door=st.sampled_from(["page", "key"]), slug=st.sampled_from(["press", "press", "table-1"]), side=st.sampled_from(["on", "off"]),
          stack=STACKS)  # fmt: skip
    def a_card_of_a_stack(self, door: str, slug: str, side: str, stack: str) -> None:
        self.crew.scans(door, slug, (side, stack))

    @rule(key=st.sampled_from(["manager", "press"]), stack=STACKS, on=st.booleans(), found=st.booleans(), by=st.one_of(st.none(), WHO),
          late=st.sampled_from([None, None, 3, 70]))  # fmt: skip
    def weights_by_a_script(
        self, key: str, stack: str, on: bool, found: bool, by: tuple[str, ...] | None, late: int | None
    ) -> None:
        self.crew.weights_by_key(key, stack, on=on, found=found and late is None, by=by, late_min=late)

    @rule(door=st.sampled_from(["page", "key"]), slug=STATIONS, who=st.sampled_from(sorted(NUMBERS)))
    def a_badge(self, door: str, slug: str, who: str) -> None:
        self.crew.scans(door, slug, ("badge", who))

    @rule(slug=STATIONS, who=st.sampled_from(sorted(NUMBERS)), how=st.sampled_from(["", "together", "beside"]))
    def a_name(self, slug: str, who: str, how: str) -> None:
        self.crew.signs_in(slug, who, how)

    @rule(slug=st.sampled_from(["intake", "table-1", "filing", "inspection"]), shelf=SHELVES)
    def a_shelf(self, slug: str, shelf: tuple[str, str]) -> None:
        self.crew.scans("page", slug, ("shelf", *shelf))

    @rule(
        slug=st.sampled_from(["intake", "filing"]),
        shelf=SHELVES,
        others=st.lists(WHICH, max_size=2),
        overlooked=st.integers(0, 3),
    )
    def a_shelf_is_checked(self, slug: str, shelf: tuple[str, str], others: list[int], overlooked: int) -> None:
        """What lies on a shelf is counted, all but one perhaps, with what lies elsewhere by the log."""
        lies_in = {stage: name for name, stage in CABINETS.items()}
        for sheet in [each for each in self.crew.world.sheets.values() if each.stage in (INTAKE, READY, DRY)][
            overlooked : overlooked + 2
        ]:
            to = (lies_in[sheet.stage or ""], "1")
            self.crew.scans("manager", "", ("sheet", sheet.number), by=("rosamund",), step="shelve", shelf=to)
        places = [
            each.place
            for each in self.crew.world.sheets.values()
            if each.place is not None and each.place[0] == "cabinet"
        ]
        # Mostly a shelf on which something lies; where it lies is not always known.
        shelf = (places[overlooked % len(places)][1], places[overlooked % len(places)][2]) if places else shelf
        lying = [each.number for each in self.crew.world.sheets.values() if each.place == ("cabinet", *shelf)]
        self.crew.checks(
            slug,
            shelf,
            [*(each for place, each in enumerate(lying[:4]) if place != overlooked), *map(self.number, others)],
        )

    # -- bundles ------------------------------------------------------------------------------------------------
    @rule(
        door=st.sampled_from(["page", "key"]),
        slug=BUNDLE_AT,
        bundle=st.sampled_from(BUNDLES),
        step=BUNDLE_STEPS,
        all_of_it=st.booleans(),
    )
    def a_bundle(self, door: str, slug: str, bundle: str, step: str | None, all_of_it: bool) -> None:
        self.crew.scans(door, slug, ("bundle", bundle), step=step, facts={"all": True} if all_of_it else {})

    @rule(slug=st.sampled_from(["", "drying", "filing"]), bundle=st.sampled_from(BUNDLES), step=BUNDLE_STEPS, by=WHO, but=st.lists(WHICH, max_size=2),
          shelf=st.one_of(st.none(), SHELVES), all_of_it=st.booleans())  # fmt: skip
    def a_bundle_by_a_script(self, slug: str, bundle: str, step: str | None, by: tuple[str, ...], but: list[int],
                             shelf: tuple[str, str] | None, all_of_it: bool) -> None:  # fmt: skip
        facts = {"all_but": [self.number(each) for each in but]} | ({"all": True} if all_of_it else {})
        self.crew.scans("manager", slug, ("bundle", bundle), by=by, step=step, shelf=shelf, facts=facts)

    @rule(
        bundle=st.sampled_from(BUNDLES),
        slug=st.sampled_from(["intake", "drying"]),
        first=WHICH,
        many=st.integers(1, 3),
        ends=st.integers(0, 5),
    )
    def a_bundle_is_filled(self, bundle: str, slug: str, first: int, many: int, ends: int) -> None:
        """Its card, then its sheets; and perhaps the card once more, an exception, a shelf, and again the card."""
        self.crew.scans("page", slug, ("bundle", bundle))
        for which in range(first, min(first + many, MOST_SHEETS)):
            step = "take-in" if self.sheet(which).stage is None else "lay-to-dry" if ends % 2 else "tie"
            self.crew.scans("page", slug, ("sheet", self.number(which)), step=step)
        at = ("drying", "intake", "filing")[ends % 3]
        if at == "filing":
            self.crew.scans("page", at, ("shelf", "A1", "1"))
        for code in [("bundle", bundle), *([("sheet", self.number(first))] if ends > 1 else []), *([("shelf", "A1", "2")] if ends > 3 else []),
                     ("bundle", bundle)]:  # fmt: skip
            self.crew.room.now += timedelta(seconds=25)
            self.crew.scans("page", at, code)

    # -- specimens on several sheets -----------------------------------------------------------------------------
    @rule(which=WHICH, at=st.sampled_from(["page", "key", "manager"]), is_taken_up=st.booleans(), slug=STATIONS)
    def a_plant_needs_another_sheet(self, which: int, at: str, is_taken_up: bool, slug: str) -> None:
        sheet = self.sheet(which)
        if is_taken_up and sheet.stage == READY and sheet.table is None:
            self.crew.scans("page", "table-1", ("sheet", sheet.number), step="take-up")
        slug, known = self.sheet(which).table or slug, len(self.crew.world.sheets)
        self.crew.scans(
            at, slug, ("sheet", sheet.number), step="another-sheet", by=("piet",) if at == "manager" else None
        )
        for number in [*self.crew.world.sheets][known:]:
            if number not in self.numbers:
                self.numbers[len(self.numbers) - 1 - which % 3] = number

    @rule(slug=STATIONS, first=WHICH, second=WHICH, seconds=st.sampled_from([0, 25, 25, 2000]))
    def two_sheets_are_one_specimen(self, slug: str, first: int, second: int, seconds: int) -> None:
        self.crew.scans("page", slug, ("sheet", self.number(first)))
        self.crew.room.now += timedelta(seconds=25)
        self.crew.scans("page", slug, ("card", "same-specimen"))
        self.crew.room.now += timedelta(seconds=seconds)
        self.crew.scans("page", slug, ("sheet", self.number(second)))

    # -- the freezer --------------------------------------------------------------------------------------------
    @rule(
        slug=BAG_AT,
        first=WHICH,
        many=st.integers(1, 3),
        freezer=FROZEN_IN,
        bundle=st.sampled_from([None, None, *BUNDLES]),
        ends=st.integers(0, 5),
    )
    def a_bag_is_filled(self, slug: str, first: int, many: int, freezer: str, bundle: str | None, ends: int) -> None:
        """A bag is begun, or one that nobody has put in yet is gone on with; mostly it goes into the freezer then."""
        waiting = [name for name in self.crew.world.loads if times_of(self.crew.world, name).put_in_at is None]
        may = [sheet.number for sheet in self.crew.world.sheets.values() if sheet.stage in (READY, DRY, FILED)]
        self.crew.room.now += timedelta(seconds=25)
        self.crew.scans("page", slug, ("load", waiting[0]) if waiting else ("card", "new-load"))
        for which in range(many):
            number = may[(first + which) % len(may)] if may and ends else self.number(first)
            self.crew.scans("page", slug, ("sheet", number))
        if bundle is not None:
            self.crew.scans("page", slug, ("bundle", bundle))
        if ends > 1:
            self.crew.scans("page", slug, ("freezer", freezer))

    @rule(door=st.sampled_from(["page", "page", "manager"]), slug=BAG_AT, pick=st.integers(0, 5), step=LOAD_STEPS, done=st.booleans(), freezer=FROZEN_IN,
          reading=DEGREES, late=st.sampled_from([None, None, 0, 90, 3000]))  # fmt: skip
    def a_bag_s_card(
        self,
        door: str,
        slug: str,
        pick: int,
        step: str | None,
        done: bool,
        freezer: str,
        reading: float,
        late: int | None,
    ) -> None:
        loads = self.crew.world.loads[-3:]
        if not loads:
            return
        code = ("load", loads[pick % len(loads)])
        if door == "manager":
            self.crew.scans("manager", slug if pick else "", code, already_done=done, late_min=late if done else None)
            return
        facts = (
            {"reading_c": str(reading)} if step == "load-cold" else {"freezer": freezer} if step == "load-in" else {}
        )
        self.crew.scans("page", slug, code, step=step, facts=facts, already_done=done)

    @rule(
        slug=BAG_AT,
        freezer=FROZEN_IN,
        step=st.sampled_from([None, *OF_FREEZER, "stayed-cold", "shelve"]),
        reading=DEGREES,
    )
    def a_freezer(self, slug: str, freezer: str, step: str | None, reading: float) -> None:
        facts = {"highest_c": str(reading)} if step == "stayed-cold" else {}
        self.crew.scans("page", slug, ("freezer", freezer), step=step, facts=facts)

    @rule(
        slug=BAG_AT,
        pick=st.integers(0, 5),
        days=st.sampled_from([2, 4, 8, 9]),
        warms=st.sampled_from([3, 24, 30]),
        done=st.booleans(),
    )
    def a_bag_comes_out(self, slug: str, pick: int, days: int, warms: int, done: bool) -> None:
        """Days pass, it is taken out as its card says, it warms and is opened."""
        lying = [name for name in self.crew.world.loads if times_of(self.crew.world, name).is_inside]
        if lying:
            for hours, step in ((24 * days, "load-out"), (warms, "load-opened")):
                self.crew.room.now += timedelta(hours=hours)
                self.crew.scans("page", slug, ("load", lying[pick % len(lying)]), step=step, already_done=done)

    @rule(slug=STATIONS, card=st.sampled_from(["undo", "already-done", "already-done", "done"]))
    def a_command(self, slug: str, card: str) -> None:
        self.crew.scans("page", slug, ("card", card))

    # -- taking back --------------------------------------------------------------------------------------------
    @rule(back=st.integers(0, 5), slug=STATIONS, why=st.sampled_from(["wrong-sheet", "not-done-yet", "not-me"]), on_page=st.booleans(),
          is_there=st.booleans())  # fmt: skip
    def a_scan_is_undone(self, back: int, slug: str, why: str, on_page: bool, is_there: bool) -> None:
        if (entry := self._entry(back)) is not None:
            slug = entry.at if is_there and entry.at else slug
            self.crew.undoes("page" if on_page else "key", slug, entry, why)

    @rule(
        slug=STATIONS,
        first=st.sampled_from(sorted(NUMBERS)),
        pick=st.integers(0, 9),
        second=st.sampled_from(sorted(NUMBERS)),
        door=st.sampled_from(["page", "key"]),
    )
    def it_was_not_me(self, slug: str, first: str, pick: int, second: str, door: str) -> None:
        """Somebody works under another's name, says so, and the badge of whoever it was is scanned."""
        if (entry := self._entry(0)) is None:
            return
        self.crew.scans("page", slug, ("badge", first))
        for which in range(pick % 3):
            number, step = self._fitting(which + pick, pick)
            self.crew.scans(
                "page", slug, number, step=step, facts={"dryness": True, "felt_again": True, "outcome": "mended-here"}
            )
        self.crew.undoes("page", slug, entry, "not-me")
        self.crew.scans(door, slug, ("badge", second))

    @rule(minutes=st.sampled_from([0, 0, 20, 120, 700]))
    def the_manager_says_when_one_is_idle(self, minutes: int) -> None:
        self.crew.sets_idle(minutes)

    @rule(back=st.integers(0, 5))
    def a_script_undoes(self, back: int) -> None:
        if (entry := self._entry(back)) is not None:
            self.crew.undoes("key", "manager", entry)

    @rule(back=st.integers(0, 9), who=st.sampled_from(["hedda", "hedda", "rosamund", "ines"]))
    def the_manager_takes_back(self, back: int, who: str) -> None:
        entry = self._entry(back)
        if entry is not None and entry.subject[0] == "sheet":
            self.crew.takes_back(entry, "it was another one", who)

    # -- pages --------------------------------------------------------------------------------------------------
    @rule(which=WHICH, who=st.sampled_from(["hedda", "rosamund", "olwen", "ines"]), step=st.sampled_from(["put-hold", "put-hold", "lift-hold"]),
          kind=st.sampled_from(sorted(STOPS)))  # fmt: skip
    def a_hold_on_its_page(self, which: int, who: str, step: str, kind: str) -> None:
        sheet = self.sheet(which)
        if sheet.stage is not None:
            kind = sorted(sheet.holds)[0] if step == "lift-hold" and sheet.holds else kind
            self.crew.on_its_page(who, sheet.number, step, reason="looked at", facts={"hold": kind})

    @rule(who=st.sampled_from(["hedda", "hedda", "rosamund", "olwen"]), step=st.sampled_from(["put-hold", "lift-hold"]), kind=st.sampled_from(sorted(STOPS)),
          many=st.lists(WHICH, min_size=1, max_size=6))  # fmt: skip
    def many_are_held(self, who: str, step: str, kind: str, many: list[int]) -> None:
        held = sorted({each for which in many for each in self.sheet(which).holds})
        kind = held[many[0] % len(held)] if held and step == "lift-hold" else kind
        written_up.many_held(self.crew, who, step, kind, [self.number(each) for each in many], "looked through")

    @rule(
        which=WHICH,
        by=WHO,
        step=st.sampled_from(["put-hold", "lift-hold"]),
        kind=st.sampled_from(sorted(STOPS)),
        reason=REASONS,
    )
    def a_hold_by_a_script(self, which: int, by: tuple[str, ...], step: str, kind: str, reason: str) -> None:
        self.crew.scans(
            "manager", "", ("sheet", self.number(which)), by=by, step=step, facts={"hold": kind}, reason=reason
        )

    @rule(which=WHICH, who=st.sampled_from(["hedda", "hedda", "rosamund", "ines"]), step=st.sampled_from(["take-out", "take-out", "withdraw"]),
          chance=st.integers(0, 2))  # fmt: skip
    def the_manager_decides(self, which: int, who: str, step: str, chance: int) -> None:
        sheet = self.sheet(which)
        if sheet.stage is not None and (step == "take-out" or not chance):
            self.crew.on_its_page(who, sheet.number, step, reason="a loan")

    @rule(which=WHICH, pick=st.integers(0, 9), by=st.sampled_from(["olwen", "piet", "hedda", "ines"]), facts=FACTS, slug=st.one_of(st.just(""), STATIONS),
          stack=st.one_of(st.just(""), STACKS), shelf=st.one_of(st.none(), SHELVES), minutes=AGO)  # fmt: skip
    def the_manager_writes_up(self, which: int, pick: int, by: str, facts: dict[str, Any], slug: str, stack: str, shelf: tuple[str, str] | None,
                              minutes: int) -> None:  # fmt: skip
        sheet = self.sheet(which)
        if sheet.number not in self.crew.world.sheets and (by == "ines" or minutes < 0):
            # A sheet that is nowhere has no page on which it could be said why.
            return
        steps = [step for step in written_up.STEPS if sheet.stage in STARTS[step]] or ["take-in"]
        slug = (
            next((each for each, done in DONE.items() if steps[pick % len(steps)] in done), slug) if pick % 3 else slug
        )
        at = self.crew.room.now - timedelta(minutes=minutes)
        written_up.of_sheet(
            self.crew, sheet.number, steps[pick % len(steps)], by, at, slug=slug, stack=stack, shelf=shelf, facts=facts
        )

    @rule(
        pick=st.integers(0, 5),
        step=st.sampled_from(OF_LOAD),
        by=st.sampled_from(["olwen", "hedda", "ines"]),
        into=FROZEN_IN,
        reading=DEGREES,
        minutes=AGO,
    )
    def the_manager_writes_up_a_load(
        self, pick: int, step: str, by: str, into: str, reading: float, minutes: int
    ) -> None:
        if loads := self.crew.world.loads[-3:]:
            at = self.crew.room.now - timedelta(minutes=minutes)
            written_up.of_load(self.crew, loads[pick % len(loads)], step, by, at, into=into, reading=reading)

    @rule(freezer=FROZEN_IN, step=st.sampled_from(written_up.EVENTS), minutes=AGO, lasts=st.sampled_from([None, 0, 30]))
    def the_manager_writes_up_a_freezer(self, freezer: str, step: str, minutes: int, lasts: int | None) -> None:
        at = self.crew.room.now - timedelta(minutes=minutes)
        written_up.of_freezer(
            self.crew, freezer, step, at, at + timedelta(minutes=lasts) if lasts is not None else None
        )

    # -- many at once, and twice --------------------------------------------------------------------------------
    @rule(which=st.integers(0, 200), otherwise=st.booleans())
    def sent_again(self, which: int, otherwise: bool) -> None:
        self.crew.again(which, otherwise=otherwise)

    @rule(first=WHICH, many=st.integers(1, 3))
    def a_list(self, first: int, many: int) -> None:
        self.crew.lists(self._unknown(first, many))

    @rule(first=WHICH, many=st.integers(1, 3), bad=st.booleans(), chance=st.integers(0, 3))
    def a_file(self, first: int, many: int, bad: bool, chance: int) -> None:
        if not chance:
            self.crew.imports(self._unknown(first, many), bad)

    def _unknown(self, first: int, many: int) -> list[str]:
        """Numbers that nobody has taken in: what is here already is another sheet to a list."""
        numbers = [self.number(each) for each in range(first, min(first + many, MOST_SHEETS))]
        return [each for each in numbers if each not in self.crew.world.sheets]

    def _entry(self, back: int) -> Entry | None:
        log = self.crew.world.log
        return log[-1 - back % len(log)] if log else None


def work(rooms: Rooms, folder: Path, histories: int, deeds: int, **more: Any) -> str:
    """Let so many rooms be worked in with so many turns each; what was done in all. AssertionError where room and model differ."""
    Machine.rooms, Machine.folder, Machine.count = rooms, folder, 0
    IN_ALL.clear()
    # What explains a failure takes longer than finding it.
    phases = [phase for phase in Phase if phase is not Phase.explain]
    plan = settings(max_examples=histories, stateful_step_count=deeds, deadline=None, suppress_health_check=list(HealthCheck),
                    report_multiple_bugs=False, **{"phases": phases, **more})  # fmt: skip
    run_state_machine_as_test(Machine, settings=plan)
    return f"{sum(IN_ALL.values()):,} deeds in {Machine.count:,} rooms, no difference: {dict(IN_ALL)}"
