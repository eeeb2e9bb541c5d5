"""A day told as a story: twelve sheets through all stages, over the night in which the clocks go back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import update

from app.db.engine import Database, reading, transaction
from app.db.models import Stack
from app.domain.stages import Step
from app.services.custody import standing_of
from app.services.facts import press_clock, sheet_by_number
from tests.room import LONDON, Room
from tests.services.days import codes, differences, done, minutes_left

SECOND = timedelta(seconds=1)
# The clocks of Europe/London go back at 2:00 on 25 October 2026, a Sunday (the last of October; tzdata).
SATURDAY = datetime(2026, 10, 24, 9, 0, tzinfo=LONDON).astimezone(UTC)
# Adhesive, bulk, and the hours it asks for, written by hand from the house's defaults.
TWELVE = [
    ("pva", "ordinary", 24), ("pva", "thin", 24), ("pva", "bulky", 48), ("paste", "ordinary", 48), ("paste", "thin", 48),
    ("paste", "bulky", 72), ("mc", "ordinary", 48), ("mc", "bulky", 72), ("straps", "ordinary", 2), ("straps", "thin", 2),
    ("straps", "bulky", 26), ("not on the list", "ordinary", 48),
]  # fmt: skip


@dataclass
class Told:
    """What happened at one stack, second by second, in the words of somebody who noted it down."""

    turns: list[tuple[datetime, bool]] = field(default_factory=list)

    def seconds_under(self, laid_at: datetime, until: datetime) -> int:
        """Count the seconds from the laying in on in which the weights lay on the stack; one after the other."""
        return sum(self._is_on(moment) for moment in _seconds(laid_at, until))

    def ready_at(self, laid_at: datetime, hours: int) -> datetime:
        """The moment at which the counted seconds are enough, if the weights stay as they are."""
        left = hours * 3600
        for moment in _seconds(laid_at, laid_at + timedelta(days=8)):
            if left == 0:
                return moment
            left -= self._is_on(moment)
        raise AssertionError("never ready")

    def _is_on(self, moment: datetime) -> bool:
        state = False
        for turned_at, on in self.turns:
            if turned_at > moment:
                break
            state = on
        return state


def _seconds(begin: datetime, end: datetime) -> Iterator[datetime]:
    moment = begin
    while moment < end:
        yield moment
        moment += SECOND


@pytest.fixture
def room(database: Database) -> Room:
    """The usual room, on the Saturday before the clocks go back."""
    return Room(database, now=SATURDAY)


def turn(room: Room, told: Told, side: str) -> None:
    done(room.scans(room.code(side, "P1"), "press"))
    told.turns.append((room.now, side == "on"))


def test_twelve_sheets_go_from_intake_to_filed_over_the_night_in_which_the_clocks_go_back(room: Room) -> None:
    _widen(room)
    told, laid_at = Told(), {}
    numbers = [_prepared(room) for _ in TWELVE]
    turn(room, told, "off")
    for number, (adhesive, bulk, _) in zip(numbers, TWELVE, strict=True):
        _mounted(room, number, adhesive, bulk)
        room.wait(minutes=3, seconds=17)
        done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
        laid_at[number] = room.now
    turn(room, told, "on")
    _ready_as_counted(room, told, numbers, laid_at)
    _lifted_twice(room, told, numbers, laid_at)
    for number in _in_order_of_hours(numbers):
        _comes_out_when_counted(room, told, number, laid_at[number], dict(zip(numbers, TWELVE, strict=True))[number][2])
    for number in numbers:
        _inspected_and_filed(room, number)
    assert {room.stage(number) for number in numbers} == {"filed"}
    assert differences(room.database) == []


def _widen(room: Room) -> None:
    """A stack of a dozen layers."""
    with transaction(room.database) as session:
        session.execute(update(Stack).values(capacity=12))


def _prepared(room: Room) -> str:
    number = room.new_number()
    for station, step, facts in (
        ("intake", Step.TAKE_IN, {"fresh": True}),
        ("drying", Step.LAY_TO_DRY, {}),
        ("drying", Step.PASS_AS_DRY, {"dryness": True, "label": True, "felt_again": True}),
    ):
        done(room.scans(number, station, step=step, facts=facts))
        room.wait(seconds=20)
    return number


def _mounted(room: Room, number: str, adhesive: str, bulk: str) -> None:
    done(room.scans(number, "table-1", step=Step.TAKE_UP))
    room.wait(minutes=9)
    done(room.scans(number, "table-1", step=Step.MOUNT, facts={"adhesive": adhesive, "bulk": bulk}))


def _lifted_twice(room: Room, told: Told, numbers: list[str], laid_at: dict[str, datetime]) -> None:
    """Lifted in the evening for 25 minutes, and on Sunday at 1:30, in the hour that comes twice, until 1:10 of the second."""
    for local in (datetime(2026, 10, 24, 19, 0, tzinfo=LONDON), datetime(2026, 10, 25, 1, 30, tzinfo=LONDON)):
        room.now = local.astimezone(UTC)
        turn(room, told, "off")
        with reading(room.database) as session:
            row = sheet_by_number(session, numbers[0])
            assert row is not None
            clock = press_clock(session, row["id"], standing_of(row), room.now)
        assert clock is not None and clock.ready_at is None, "not running while the weights are off"
        room.wait(minutes=25 if local.day == 24 else 40)
        turn(room, told, "on")
        _ready_as_counted(room, told, numbers, laid_at)
    assert room.now == datetime(2026, 10, 25, 1, 10, tzinfo=LONDON, fold=1).astimezone(UTC)


def _ready_as_counted(room: Room, told: Told, numbers: list[str], laid_at: dict[str, datetime]) -> None:
    expected: dict[int, datetime] = {}
    with reading(room.database) as session:
        for number, (_, _, hours) in zip(numbers, TWELVE, strict=True):
            row = sheet_by_number(session, number)
            assert row is not None
            clock = press_clock(session, row["id"], standing_of(row), room.now)
            assert clock is not None and clock.minimum == timedelta(hours=hours)
            # All lie from before the weights first went on, so those with the same hours are ready together.
            if hours not in expected:
                expected[hours] = told.ready_at(laid_at[number], hours)
            assert clock.ready_at == expected[hours], (number, hours)
            assert laid_at[number] <= told.turns[1][0]


def _in_order_of_hours(numbers: list[str]) -> list[str]:
    return [number for number, _ in sorted(zip(numbers, TWELVE, strict=True), key=lambda pair: pair[1][2])]


def _comes_out_when_counted(room: Room, told: Told, number: str, laid_at: datetime, hours: int) -> None:
    """A second before it is ready the weights are lifted: not yet. They lie a second more: it comes out."""
    ready = told.ready_at(laid_at, hours)
    if ready - SECOND > room.now:
        room.now = ready - SECOND
        turn(room, told, "off")
        early = room.takes_out(number)
        assert codes(early) == ["too-early"] and minutes_left(early) == 1
        turn(room, told, "on")
        room.wait(seconds=1)
        turn(room, told, "off")
        assert told.seconds_under(laid_at, room.now) == hours * 3600
    elif told.turns[-1][1]:
        turn(room, told, "off")
    done(room.takes_out(number))
    room.wait(seconds=5)
    turn(room, told, "on")


def _inspected_and_filed(room: Room, number: str) -> None:
    room.wait(minutes=2)
    done(room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}))
    done(room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="2"))


def test_what_is_said_of_that_night_names_the_hour_by_the_wall_clock(room: Room) -> None:
    """24 hours under weight from Saturday 12:00 end at 11:00 on Sunday: the clocks went back in between."""
    _widen(room)
    room.now = datetime(2026, 10, 24, 12, 0, tzinfo=LONDON).astimezone(UTC)
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    done(room.weights("on", "P1"))
    room.wait(hours=2)
    refused = room.takes_out(number)
    assert "may come out" in refused.lines[0] and "11:00" in refused.lines[0], refused.lines
    assert refused.refusals[0]["ready_at"] == "2026-10-25T11:00:00+00:00"
    room.now = datetime(2026, 10, 25, 11, 0, tzinfo=UTC)
    room.weights("off", "P1")
    assert room.takes_out(number).kind == "done"
