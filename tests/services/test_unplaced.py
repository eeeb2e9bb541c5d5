"""The shelf in hand is no place for a sheet of another stage: the deed is written, no place is, and the next shelf is its own."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.domain.answer import Answer
from app.domain.stages import Step
from tests.room import Room


def has_in_hand(room: Room, at: str, shelf: str) -> None:
    room.wait(seconds=30)
    # It may be the wrong one for the sheet that was scanned last: it is in hand all the same.
    room.scans(room.code("shelf", shelf), at)
    room.wait(seconds=30)


def fresh(room: Room) -> str:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    return number


def set_hard(room: Room) -> str:
    number = room.sheet_in("P1", adhesive="straps")
    room.weights("on", "P1")
    room.wait(hours=3)
    room.weights("off", "P1")
    return number


def dry(room: Room) -> str:
    number = set_hard(room)
    room.takes_out(number, cabinet="D1", shelf="3")
    room.wait(minutes=5)
    return number


def filed(room: Room) -> str:
    number = dry(room)
    room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    assert room.scans(number, who="rosamund", step=Step.FILE, cabinet="F1", shelf="1").kind == "done"
    return number


def lines(answer: Answer) -> list[str]:
    return [each for each in answer.lines if "no place was written" in each]


DRY_WORDS = "so no place was written: put it on a shelf for dry, and scan that shelf."
CASES = [
    ("intake", lambda room: room.new_number(), "M1/2", {"step": Step.TAKE_IN}, "A1/1",
     "M1, shelf 2 is for ready for mounting, so no place was written: put it on a shelf for intake, and scan that shelf."),
    ("intake", fresh, "A1/1", {"step": Step.ARRIVE_MOUNTED, "facts": {"dryness": True}}, "D1/1", f"A1, shelf 1 is for intake, {DRY_WORDS}"),
    ("press", set_hard, "M1/2", {"step": Step.TAKE_OUT}, "D1/1", f"M1, shelf 2 is for ready for mounting, {DRY_WORDS}"),
    ("inspection", dry, "M1/2", {"step": Step.INSPECT, "facts": {"outcome": "passed"}}, "D1/1", f"M1, shelf 2 is for ready for mounting, {DRY_WORDS}"),
    ("inspection", dry, "D1/2", {"step": Step.BACK_TO_TABLE, "reason": "crooked"}, "M1/1",
     "D1, shelf 2 is for dry, so no place was written: put it on a shelf for ready for mounting, and scan that shelf."),
    ("filing", filed, "F1/2", {"step": Step.BRING_BACK, "reason": "damage seen"}, "D1/1", f"F1, shelf 2 is for filed, {DRY_WORDS}"),
    ("table-1", lambda room: room.sheet_ready(), "M1/2", {"step": Step.GOES_UNMOUNTED}, "D1/1", f"M1, shelf 2 is for ready for mounting, {DRY_WORDS}"),
]  # fmt: skip


@pytest.mark.parametrize(("at", "made", "in_hand", "deed", "own", "words"), CASES)
def test_the_deed_is_written_without_a_place_and_its_own_shelf_is_scanned_next(
    room: Room, at: str, made: object, in_hand: str, deed: dict[str, object], own: str, words: str
) -> None:
    number = made(room)  # type: ignore[operator]
    has_in_hand(room, at, in_hand)
    answer = room.scans(number, at, **deed)
    assert answer.kind == "done" and lines(answer) == [words]
    row = room.row(number)
    assert (row["cabinet_id"], row["shelf_id"]) == (None, None) and room.steps(number)[-1] == str(deed["step"])
    room.wait(seconds=30)
    put = room.scans(room.code("shelf", own), at)
    assert put.kind == "done" and room.steps(number)[-1] == "shelve"
    assert room.row(number)["shelf_id"] == room.station_row(at)["shelf_id"]


@pytest.mark.parametrize(("at", "made", "in_hand", "deed", "own", "words"), CASES)
def test_a_shelf_of_its_stage_and_one_that_was_named_are_written(
    room: Room, at: str, made: object, in_hand: str, deed: dict[str, object], own: str, words: str
) -> None:
    number, other = made(room), made(room)  # type: ignore[operator]
    has_in_hand(room, at, own)
    fits = room.scans(number, at, **deed)
    assert fits.kind == "done" and not lines(fits)
    assert room.row(number)["shelf_id"] == room.station_row(at)["shelf_id"] is not None
    cabinet, shelf = in_hand.split("/")
    named = room.scans(other, at, cabinet=cabinet, shelf=shelf, **deed)
    assert named.kind == "done" and not lines(named)
    assert room.row(other)["shelf_id"] == room.station_row(at)["shelf_id"] is not None


def test_the_next_sheet_that_is_scanned_ends_the_waiting_for_a_shelf(room: Room) -> None:
    number, other = set_hard(room), room.sheet_mounted()
    has_in_hand(room, "press", "M1/2")
    assert lines(room.takes_out(number))
    room.scans(other, "press", step=Step.PUT_UNDER_WEIGHT, stack="P2")
    has_in_hand(room, "press", "D1/1")
    assert room.steps(number)[-1] == "take-out" and room.steps(other)[-1] == "put-under-weight"


def test_what_is_in_quarantine_is_told_of_no_shelf(room: Room) -> None:
    number = set_hard(room)
    assert (
        room.scans(number, who="hedda", step=Step.PUT_HOLD, reason="moths", facts={"hold": "quarantine"}).kind == "done"
    )
    has_in_hand(room, "press", "M1/2")
    answer = room.takes_out(number)
    assert lines(answer) == ["M1, shelf 2 is for ready for mounting, so no place was written."]
    assert answer.next.startswith("It is in quarantine: close it in a bag") and not room.station_row("press")["pending"]


@pytest.mark.parametrize(("comes_as", "in_hand", "is_placed"), [
    ("loose", "A1/1", True), ("loose", "D1/1", False), ("mounted", "D1/1", True), ("mounted", "A1/1", False),
])  # fmt: skip
def test_one_that_comes_again_lies_where_it_stands_now(
    room: Room, comes_as: str, in_hand: str, is_placed: bool
) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", step=Step.WITHDRAW, reason="sent in exchange")
    room.now += timedelta(hours=1)
    room.signs_in("hedda", "intake")
    has_in_hand(room, "intake", in_hand)
    answer = room.scans(number, "intake", step=Step.COME_AGAIN, reason="it came back", facts={"comes_as": comes_as})
    assert answer.kind == "done" and bool(lines(answer)) is not is_placed
    assert (room.row(number)["shelf_id"] is not None) is is_placed
