"""Time under weight for any history, against a count minute by minute that knows nothing of spans and stays."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.db.engine import reading
from app.domain.stages import Step
from app.services.custody import standing_of
from app.services.facts import press_clock, sheet_by_number
from tests.databases import Rooms
from tests.room import Room
from tests.services.days import differences, new_room

MINUTE = timedelta(minutes=1)
HISTORIES = max(settings().max_examples // 3, 20)
STACKS = ("P1", "P2", "P3")
ADHESIVES = ("straps", "pva")
MINIMUM_MIN = (2 * 60, 24 * 60)


@dataclass
class Watcher:
    """Somebody who stands beside the press with a watch, and adds a minute for each sheet that lies under weights."""

    room: Room
    sheets: list[str]
    lies_in: list[str | None] = field(default_factory=lambda: [None, None])
    weights_on: dict[str, bool] = field(default_factory=lambda: dict.fromkeys(STACKS, False))
    lain: list[int] = field(default_factory=lambda: [0, 0])
    waits: tuple[int, str] | None = None  # a sheet in the hand, and the stack whose weights it waits for

    def wait(self, minutes: int, _: str) -> None:
        for _minute in range(minutes):
            for sheet, stack in enumerate(self.lies_in):
                self.lain[sheet] += stack is not None and self.weights_on[stack]
        self.room.wait(minutes=minutes)

    def on(self, _: int, stack: str) -> None:
        assert self.room.weights("on", stack).kind == "done"
        self.weights_on[stack] = True

    def off(self, _: int, stack: str) -> None:
        assert self.room.weights("off", stack).kind == "done"
        self.weights_on[stack] = False
        if self.waits is not None and self.waits[1] == stack:
            self.lies_in[self.waits[0]], self.waits = stack, None

    def lay(self, which: int, stack: str) -> None:
        own = self.lies_in[which]
        if own is not None and self.weights_on[own]:
            self.off(0, own)  # nobody takes a sheet from under its weights
        glued = self.room.stage(self.sheets[which]) in ("mounted", "under-press")
        self.waits = (which, stack) if self.weights_on[stack] and glued else None
        answer = self.room.scans(self.sheets[which], "press", step=Step.PUT_UNDER_WEIGHT, stack=stack)
        if answer.kind == "done":
            assert not self.weights_on[stack]
            self.lies_in[which] = stack

    def take_out(self, which: int, _: str) -> None:
        long_enough = self.lain[which] >= MINIMUM_MIN[which]
        stack, self.waits = self.lies_in[which], None
        may_come_out = stack is not None and not self.weights_on[stack] and long_enough
        assert (self.room.takes_out(self.sheets[which]).kind == "done") == may_come_out
        if may_come_out:
            self.lies_in[which] = None

    def glue(self, which: int, _: str) -> None:
        facts = {"adhesive": ADHESIVES[which]}
        if self.room.scans(self.sheets[which], "inspection", step=Step.RE_GLUE, facts=facts).kind == "done":
            self.lain[which] = 0

    def agrees(self) -> None:
        for which, number in enumerate(self.sheets):
            with reading(self.room.database) as session:
                row = sheet_by_number(session, number)
                assert row is not None
                clock = press_clock(session, row["id"], standing_of(row), self.room.now)
            assert (row["stage"] == "under-press") == (self.lies_in[which] is not None)
            if clock is not None:
                assert clock.under_weight == self.lain[which] * MINUTE
                still_runs = clock.ready_at is not None and clock.remaining
                assert not still_runs or clock.ready_at == self.room.now + clock.remaining


DEEDS = st.one_of(
    st.tuples(st.just("wait"), st.sampled_from([1, 7, 59, 60, 61, 119, 120, 600, 1440]), st.just("")),
    st.tuples(st.sampled_from(["on", "off"]), st.just(0), st.sampled_from(STACKS)),
    st.tuples(st.sampled_from(["lay", "lay", "take_out", "glue"]), st.integers(0, 1), st.sampled_from(STACKS)),
)


@settings(max_examples=HISTORIES)
@given(deeds=st.lists(DEEDS, min_size=8, max_size=40))
def test_time_under_weight_is_what_a_count_minute_by_minute_gives(
    rooms: Rooms, tmp_path_factory: pytest.TempPathFactory, deeds: list[tuple[str, int, str]]
) -> None:
    room = new_room(rooms, tmp_path_factory.mktemp("watched"))
    watcher = Watcher(room, [room.sheet_mounted(adhesive=adhesive) for adhesive in ADHESIVES])
    for deed, which, stack in deeds:
        getattr(watcher, deed)(which, stack)
        watcher.agrees()
    assert differences(room.database) == []
    room.database.engine.dispose()


def test_the_watcher_sees_sheets_come_out(rooms: Rooms, tmp_path: Path) -> None:
    """The count above is worth nothing if no history ever gets a sheet through the press."""
    room = new_room(rooms, tmp_path)
    watcher = Watcher(room, [room.sheet_mounted(adhesive=adhesive) for adhesive in ADHESIVES])
    story = [("off", 0, "P1"), ("lay", 0, "P1"), ("lay", 1, "P1"), ("on", 0, "P1"), ("wait", 119, ""), ("off", 0, "P1"),
             ("take_out", 0, ""), ("on", 0, "P1"), ("wait", 1, ""), ("off", 0, "P1"), ("take_out", 0, ""), ("glue", 0, ""),
             ("lay", 0, "P2"), ("on", 0, "P2"), ("wait", 60, "")]  # fmt: skip
    for deed, which, stack in story:
        getattr(watcher, deed)(which, stack)
        watcher.agrees()
    assert room.steps(watcher.sheets[0])[-3:] == ["take-out", "re-glue", "put-under-weight"] and watcher.lain == [
        60,
        120,
    ]
