"""Somebody who wants sheets out before their time, by every door and with any claim, never gets one dry."""

from __future__ import annotations

from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from app.db.engine import reading, transaction
from app.domain.errors import Refused
from app.domain.stages import Step
from app.services.crediting import credit_to
from app.services.desk import Desk, ScanRequest, workers_named
from app.services.scanning import once
from tests.databases import Rooms
from tests.room import Room
from tests.services.days import differences, new_room

MINUTE = timedelta(minutes=1)
Deed = tuple[str, dict[str, Any]]
HISTORIES = max(settings().max_examples // 3, 30)
HOURS = {"pva": 24, "straps": 2, "paste": 48, "mc": 48, None: 48}  # the house's own hours, written by hand
BULKY_HOURS = 24
_LOG = text("""
    SELECT id, subject_kind, subject_id, step, to_stack_id, recorded_at, facts, early_by_s FROM entry
    WHERE step <> 'correct' AND id NOT IN (SELECT corrects FROM entry WHERE corrects IS NOT NULL) ORDER BY id""")


@dataclass
class Bench:
    """The log as the server's own clock has it: what was said counts from the moment at which it was said, minute by minute."""

    rows: list[Any]
    told_at: dict[int, datetime]

    def minutes_under_weight(self, sheet_id: int, out: Any) -> int:
        """Whole minutes in which both the sheet lay in a stack and that stack's weights lay on it, since it was glued."""
        mine = [
            row for row in self.rows if row.subject_kind == "sheet" and row.subject_id == sheet_id and row.id < out.id
        ]
        glued = max((row.id for row in mine if row.step in ("mount", "re-glue")), default=0)
        lies = [(self.told_at[row.id], row.to_stack_id) for row in mine if row.id > glued]
        if not lies:
            return 0
        minute, end, lain = lies[0][0], self.told_at[out.id], 0
        while minute < end:
            stack = [stack for moment, stack in lies if moment <= minute][-1]
            lain += stack is not None and self._is_on(stack, minute)
            minute += MINUTE
        return lain

    def _is_on(self, stack: int, minute: datetime) -> bool:
        turns = [
            row for row in self.rows if row.subject_kind == "stack" and row.subject_id == stack and row.step != "count"
        ]
        told = [row for row in turns if self.told_at[row.id] <= minute]
        return bool(told) and told[-1].step == "weights-on"


def bench(room: Room) -> Bench:
    """The standing log now. What was written again for another worker was told when it was written first."""
    with reading(room.database) as session:
        rows = list(session.execute(_LOG.columns(**_TYPES)))
        every = {
            row.id: row for row in session.execute(text("SELECT id, recorded_at, facts FROM entry").columns(**_TYPES))
        }
    told_at = {}
    for row in rows:
        first = every[row.id]
        while "credits" in first.facts:
            first = every[first.facts["credits"]]
        told_at[row.id] = first.recorded_at
    return Bench(rows, told_at)


@dataclass
class Adversary:
    """A volunteer with two glued sheets, every station, every card, and no scruples."""

    room: Room
    sheets: list[str]
    came_out: Counter[str] = field(default_factory=Counter)

    def wait(self, minutes: int) -> None:
        self.room.wait(minutes=minutes)

    def scan(self, code: str, at: str, who: str | None, told: int | None, **more: Any) -> None:
        moment = None if told is None else self.room.now - told * MINUTE
        with suppress(Refused):
            self.room.scans(self._code(code), at, who=who, happened_at=moment, **more)

    def release(self, sheet: int) -> None:
        """The manager lets a sheet out early, marked; the one way that there is."""
        self.room.scans(self.sheets[sheet], "press", step=Step.TAKE_OUT, early=True, reason="a loan", who="hedda")

    def undo(self, back: int, at: str) -> None:
        self._correct(back, at, lambda entry: self.room.undoes(entry, at))

    def take_back(self, back: int, at: str) -> None:
        self._correct(back, at, lambda entry: self.room.takes_back(entry, "because I want to", who="olwen"))

    def not_me(self, at: str, who: str) -> None:
        request = ScanRequest(self.room.next_id(), "", self.room.station[at])

        def act(desk: Desk) -> Any:
            return credit_to(desk, workers_named(desk.session, (self.room.worker[who],), desk.house)[0])

        with transaction(self.room.database) as session:
            once(session, request, self.room.occasion, act, f"not me {who}")

    def check(self) -> None:
        """Whatever stands as dry or filed, and was glued, lay long enough by the server's clock, or bears the mark."""
        log = bench(self.room)
        for number in self.sheets:
            row = self.room.row(number)
            outs = [each for each in log.rows if each.step == "take-out" and each.subject_id == row["id"]]
            if row["stage"] not in ("dry", "filed") or row["glued_at"] is None:
                continue
            assert outs, f"{number} is dry and was never taken out: {self.room.steps(number)}"
            short_s = 60 * (_minimum_min(self.room, row) - log.minutes_under_weight(row["id"], outs[-1]))
            assert short_s <= (outs[-1].early_by_s or 0), (number, self.room.steps(number))
            self.came_out["early" if outs[-1].early_by_s else "in time"] += 1

    def _code(self, code: str) -> str:
        if code.isdigit():
            return self.sheets[int(code)]
        kind, _, name = code.partition(" ")
        return self.room.code(kind, name)

    def _correct(self, back: int, at: str, act: Any) -> None:
        entries = [row.id for row in bench(self.room).rows]
        with suppress(Refused):
            act(entries[-1 - back % len(entries)])


def _minimum_min(room: Room, row: Any) -> int:
    codes = {1: "pva", 2: "paste", 3: "mc", 4: "straps", None: None}
    return 60 * (HOURS[codes[row["adhesive_id"]]] + (BULKY_HOURS if row["bulk"] == "bulky" else 0))


_STATIONS = st.sampled_from(["press", "press", "press", "inspection", "table-1", "drying", "filing", "intake"])
_WHO = st.sampled_from([None, None, None, "olwen", "piet", ("olwen", "piet")])
_TOLD = st.sampled_from([None, None, None, 0, 1, 60, 119, 120, 1500, 3000, -5])
_CODES = st.sampled_from(
    ["0", "0", "1", "on P1", "off P1", "on P2", "off P2", "shelf D1/1", "shelf F1/2", "hedda hedda"]
)
_STEPS = st.sampled_from([None, None, Step.TAKE_OUT, Step.PUT_UNDER_WEIGHT, *Step])
_FACTS = st.fixed_dictionaries({}, optional={
    "found": st.just(True), "counted": st.integers(0, 9), "adhesive": st.sampled_from(["straps", "pva", "none"]),
    "glued_by": st.sampled_from(["W02", "W99"]), "outcome": st.sampled_from(["passed", "mended-here", "well"]),
    "dryness": st.booleans(), "hold": st.sampled_from(["quarantine", "against-a-rule", "no such"]),
    "bulk": st.sampled_from(["bulky", "thin"]), "unmounted": st.just("packet"), "all": st.just(True),
})  # fmt: skip
_SCAN = st.builds(
    lambda code, at, who, told, more: ("scan", {"code": code, "at": at, "who": who, "told": told, **more}),
    _CODES, _STATIONS, _WHO, _TOLD,
    st.fixed_dictionaries({}, optional={
        "step": _STEPS, "stack": st.sampled_from(["P1", "P2", "P9"]), "early": st.booleans(), "already_done": st.booleans(),
        "held": st.integers(0, 3), "reason": st.just("so"), "facts": _FACTS,
    }),
)  # fmt: skip
_LAY = st.builds(
    lambda sheet, told, held: ("scan", {"code": sheet, "at": "press", "who": None, "told": told, "held": held,
                                        "step": Step.PUT_UNDER_WEIGHT, "stack": "P1"}),
    st.sampled_from(["0", "1"]), _TOLD, st.integers(0, 2),
)  # fmt: skip
_OUT = st.builds(
    lambda sheet: ("scan", {"code": sheet, "at": "press", "who": None, "told": None, "step": Step.TAKE_OUT}),
    st.sampled_from(["0", "1"]),
)
_TURN = st.builds(
    lambda side, told, held: ("scan", {"code": f"{side} P1", "at": "press", "who": None, "told": told, "held": held}),
    st.sampled_from(["on", "off"]), _TOLD, st.integers(0, 2),
)  # fmt: skip
_DEEDS = st.one_of(
    st.builds(lambda minutes: ("wait", {"minutes": minutes}), st.sampled_from([1, 2, 58, 60, 119, 120, 1440])),
    _LAY, _OUT, _TURN, _SCAN, _SCAN,
    st.builds(lambda back, at: ("undo", {"back": back, "at": at}), st.integers(0, 2), _STATIONS),
    st.builds(lambda back, at: ("take_back", {"back": back, "at": at}), st.integers(0, 9), _STATIONS),
    st.builds(lambda at, who: ("not_me", {"at": at, "who": who}), _STATIONS, st.sampled_from(["piet", "olwen"])),
    st.builds(lambda sheet: ("release", {"sheet": sheet}), st.integers(0, 1)),
)  # fmt: skip


# One who lies about the time at the press and does nothing else; the station always claims to hold scans back.
_AT_PRESS: dict[str, Any] = {"at": "press", "who": None, "told": None, "held": 2}
A_MINUTE: Deed = ("wait", {"minutes": 1})
WAIT: Deed = ("wait", {"minutes": 120})
LAY: Deed = ("scan", {**_AT_PRESS, "code": "0", "step": Step.PUT_UNDER_WEIGHT, "stack": "P1"})
OUT: Deed = ("scan", {**_AT_PRESS, "code": "0", "step": Step.TAKE_OUT})
ON: Deed = ("scan", {**_AT_PRESS, "code": "on P1"})
OFF: Deed = ("scan", {**_AT_PRESS, "code": "off P1"})
NOT_ME: Deed = ("not_me", {"at": "press", "who": "piet"})


def backdated(deed: Deed, minutes: int = 120) -> Deed:
    return deed[0], {**deed[1], "told": minutes}


@settings(max_examples=HISTORIES)
@given(deeds=st.lists(_DEEDS, min_size=10, max_size=40))
def test_nobody_gets_a_sheet_dry_below_its_minimum_by_the_servers_clock(
    rooms: Rooms, tmp_path_factory: pytest.TempPathFactory, deeds: list[Deed]
) -> None:
    _try_everything(new_room(rooms, tmp_path_factory.mktemp("adversary")), deeds)


@settings(max_examples=HISTORIES)
@given(
    deeds=st.lists(st.sampled_from([WAIT, LAY, backdated(LAY), ON, backdated(ON), OFF, OUT]), min_size=5, max_size=20)
)
@example(deeds=[LAY, WAIT, backdated(ON), OFF, OUT])
@example(deeds=[A_MINUTE, ON, WAIT, OFF, backdated(LAY, 121), OUT])
@example(deeds=[A_MINUTE, ON, WAIT, OFF, backdated(LAY, 121), NOT_ME, OUT])
def test_nobody_gets_a_sheet_dry_by_lying_about_the_time(
    rooms: Rooms, tmp_path_factory: pytest.TempPathFactory, deeds: list[Deed]
) -> None:
    _try_everything(new_room(rooms, tmp_path_factory.mktemp("liar")), deeds)


def _try_everything(room: Room, deeds: list[Deed]) -> None:
    adversary = Adversary(room, [room.sheet_mounted(adhesive="straps"), room.sheet_mounted()])
    assert room.weights("off", "P1").kind == "done"  # the press station's last contact with nothing held
    for deed, how in deeds:
        getattr(adversary, deed)(**how)
        adversary.check()
    assert differences(room.database) == []
    room.database.engine.dispose()


def _types() -> dict[str, Any]:
    from app.db.models import Entry, table_of

    wanted = ("id", "subject_kind", "subject_id", "step", "to_stack_id", "recorded_at", "facts", "early_by_s")
    return {name: table_of(Entry).c[name].type for name in wanted}


_TYPES = _types()
