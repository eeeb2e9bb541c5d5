"""What comes in, how long it stays and how much is there hold together: Little's law on the room's own figures."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from app.db.engine import reading
from app.domain.stages import Stage, Step
from app.domain.stays import dwell_bucket_h
from app.queries.stays import stage_counts
from tests.databases import Rooms
from tests.queries.looking import board_of
from tests.room import Room
from tests.services.days import done, new_room

MINUTE = timedelta(minutes=1)
HISTORIES = max(settings().max_examples // 4, 15)
WATCHED = (Stage.INTAKE, Stage.READY, Stage.MOUNTED)
# Each sheet's way, and whether it leaves at once or is first put back once.
STEPS = ("comes", "is shelved", "is taken up", "is put back", "is taken up", "is mounted", "is pressed")
STRAIGHT = ("comes", "is shelved", "is taken up", "is mounted", "is pressed")


def time_average(counts: Sequence[tuple[Fraction, int]], ends_at: Fraction) -> Fraction:
    """The average of a count over time, told as (from when on, how many), until the end."""
    ends = [at for at, _ in counts[1:]] + [ends_at]
    whole = sum((end - at) * count for (at, count), end in zip(counts, ends, strict=True))
    return Fraction(whole) / (ends_at - counts[0][0])


def arrivals_times_stay(stays: Sequence[tuple[Fraction, Fraction]], began: Fraction, ended: Fraction) -> Fraction:
    """Arrivals per time, times the mean of what each stayed."""
    return len(stays) / (ended - began) * (sum((left - came for came, left in stays), Fraction(0)) / len(stays))


def test_the_worked_example_holds() -> None:
    # Five come at 0 1 2 4 7 and leave at 3 2 6 9 8, seen for 10: 0.5 a time, 2.8 long each, 1.4 there on average. The law
    # for a window that is empty at both ends: Little & Graves 2008, ch. 5 of Building Intuition; the numbers by hand.
    stays = [(Fraction(came), Fraction(left)) for came, left in ((0, 3), (1, 2), (2, 6), (4, 9), (7, 8))]
    times = sorted({Fraction(0), *(each for stay in stays for each in stay)})
    counts = [(at, sum(came <= at < left for came, left in stays)) for at in times]
    assert (
        time_average(counts, Fraction(10)) == arrivals_times_stay(stays, Fraction(0), Fraction(10)) == Fraction(14, 10)
    )
    assert len(stays) / Fraction(10) == Fraction(1, 2)


@dataclass(frozen=True)
class Event:
    """What happens to one of the sheets, some minutes after what happened before."""

    after_min: int
    which: int
    what: str


@st.composite
def histories(draw: st.DrawFn) -> list[Event]:
    """Up to four sheets, each on its way from intake to the press, in any order among each other."""
    ways = [list(draw(st.sampled_from((STEPS, STRAIGHT)))) for _ in range(draw(st.integers(1, 4)))]
    events = []
    while any(ways):
        which = draw(st.sampled_from([number for number, way in enumerate(ways) if way]))
        # Now and then a wait of weeks, so that days are counted and not only hours.
        gap = draw(st.one_of(st.integers(1, 600), st.sampled_from((60, 1440, 14 * 1440, 15 * 1440 + 7, 40 * 1440))))
        events.append(Event(gap, which, ways[which].pop(0)))
    return events


@settings(max_examples=HISTORIES)
@given(histories())
def test_the_board_the_log_and_the_sums_hold_together(rooms: Rooms, history: list[Event]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        room = new_room(rooms, Path(folder))
        try:
            _hold_together(room, history)
        finally:
            room.database.engine.dispose()


def _hold_together(room: Room, history: list[Event]) -> None:
    began, numbers = room.now, [room.new_number() for _ in range(max(event.which for event in history) + 1)]
    seen: dict[Stage, list[tuple[Fraction, int]]] = {stage: [(Fraction(0), 0)] for stage in WATCHED}
    for event in history:
        room.wait(minutes=event.after_min)
        _happens(room, numbers[event.which], event.what)
        for stage, count in _counts(room).items():
            seen[stage].append((_since(began, room.now), count))
    room.wait(minutes=60)
    ended = _since(began, room.now)
    for stage in WATCHED:
        stays = [
            (_since(began, came), _since(began, left))
            for number in numbers
            for came, left in _stays(room, number, stage)
        ]
        assert seen[stage][-1][1] == 0 and len(stays) == len(numbers)
        assert time_average(seen[stage], ended) == arrivals_times_stay(stays, Fraction(0), ended)
        _sums_are_near(room, stage, [left - came for came, left in stays])


def _sums_are_near(room: Room, stage: Stage, stays: Sequence[Fraction]) -> None:
    """The sums know each stay to its bucket: their mean is below the true one, by less than the widths of the buckets."""
    with reading(room.database) as session:
        counted = stage_counts(session, room.now, room.zone)[stage.value]
    assert counted.ended.total() == len(stays) and not counted.waiting
    below = sum(hours * number for hours, number in counted.ended.items())
    width = sum((1 if hours < 336 else 24) * number for hours, number in counted.ended.items())
    true_h = sum(stays) / 60
    assert below <= true_h < below + width
    assert sorted(counted.ended.elements()) == sorted(dwell_bucket_h(float(stay * 60)) for stay in stays)


def _happens(room: Room, number: str, what: str) -> None:
    deeds = {
        "comes": lambda: room.scans(number, "intake", step=Step.TAKE_IN),
        "is shelved": lambda: room.scans(number, "intake", step=Step.ARRIVE_DRY, facts={"dryness": True, "label": True},
                                         cabinet="M1", shelf="1"),
        "is taken up": lambda: room.scans(number, "table-1", step=Step.TAKE_UP),
        "is put back": lambda: room.scans(number, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1"),
        "is mounted": lambda: room.scans(number, "table-1", step=Step.MOUNT),
        "is pressed": lambda: room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"),
    }  # fmt: skip
    done(deeds[what]())


def _counts(room: Room) -> dict[Stage, int]:
    return {Stage(stage.slug): stage.count for stage in board_of(room).stages if stage.slug in WATCHED}


def _stays(room: Room, number: str, stage: Stage) -> list[tuple[datetime, datetime]]:
    """From when to when a sheet was in a stage, by its log."""
    moves = [entry for entry in room.log(number) if entry["from_stage"] != entry["to_stage"]]
    return [(came["happened_at"], left["happened_at"]) for came, left in zip(moves, moves[1:], strict=False)
            if came["to_stage"] == stage]  # fmt: skip


def _since(began: datetime, at: datetime) -> Fraction:
    """Minutes since it began, exactly."""
    return Fraction((at - began) // timedelta(microseconds=1), MINUTE // timedelta(microseconds=1))
