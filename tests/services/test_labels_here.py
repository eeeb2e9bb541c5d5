"""Labels that come later: one scan of the card, then of each sheet, and the hold of each is lifted."""

from __future__ import annotations

from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from tests.room import Room
from tests.services.days import differences

CARD, DONE = COMMANDS["label-here"], COMMANDS["done"]


def test_the_card_and_then_each_sheet_until_done(room: Room) -> None:
    held = [room.sheet_ready(label=False) for _ in range(3)]
    other = room.sheet_ready()
    asked = room.scans(CARD, "table-1")
    assert asked.kind == "which-one" and "for which sheets?" in asked.lines[0]
    first = room.scans(held[0], "table-1")
    assert first.kind == "done" and first.step == Step.LIFT_HOLD and "1 label handed out." in first.lines
    stranger = room.scans(other, "table-1")
    assert stranger.kind == "not-yet" and "does not wait for a label" in stranger.lines[0]
    assert room.row(other)["table_id"] is None
    assert "2 labels handed out." in room.scans(held[1], "table-1").lines
    ended = room.scans(DONE, "table-1")
    assert ended.word == "Labels done." and ended.lines == ("2 labels handed out.",)
    assert [room.row(each)["holds"] for each in held] == ["", "", "label-to-come"]
    # Nobody was signed out, and a sheet scanned now is taken up again.
    assert room.scans(held[0], "table-1").step == Step.TAKE_UP
    assert differences(room.database) == []


def test_the_sheet_first_and_then_the_card(room: Room) -> None:
    number = room.sheet_ready(label=False)
    assert room.scans(number, "table-1").kind == "stop"
    room.wait(seconds=40)
    answer = room.scans(CARD, "table-1")
    assert answer.kind == "done" and room.row(number)["holds"] == ""


def test_a_sheet_that_somebody_walked_away_from_is_not_meant(room: Room) -> None:
    number = room.sheet_ready(label=False)
    assert room.scans(number, "table-1").kind == "stop"
    room.wait(minutes=3)
    assert room.scans(CARD, "table-1").kind == "which-one"
    assert room.row(number)["holds"] == "label-to-come"


def test_a_run_that_somebody_walked_away_from_lifts_nothing(room: Room) -> None:
    number = room.sheet_ready(label=False)
    room.scans(CARD, "table-1")
    room.wait(minutes=31)
    assert room.scans(number, "table-1").kind == "stop"
    assert room.row(number)["holds"] == "label-to-come"


def test_the_card_again_ends_the_run_and_undo_puts_the_hold_back(room: Room) -> None:
    number = room.sheet_ready(label=False)
    room.scans(CARD, "table-1")
    lifted = room.scans(number, "table-1")
    room.wait(seconds=30)
    assert room.scans(CARD, "table-1").word == "Labels done."
    assert room.row(number)["holds"] == ""
    assert lifted.entry is not None and room.undoes(lifted.entry).kind == "done"
    assert room.row(number)["holds"] == "label-to-come"
    assert differences(room.database) == []


def test_the_same_scan_again_lifts_once(room: Room) -> None:
    number = room.sheet_ready(label=False)
    room.scans(CARD, "table-1")
    first = room.scans(number, "table-1", scan_id="one-scan")
    assert room.scans(number, "table-1", scan_id="one-scan") == first
    assert room.steps(number).count(Step.LIFT_HOLD) == 1


def test_away_from_a_station_and_with_nobody_signed_in_it_is_refused(room: Room) -> None:
    number = room.sheet_ready(label=False)
    assert room.scans(CARD, who="olwen").refusals[0]["code"] == "unknown-station"
    room.scans(DONE, "table-1")
    assert room.scans(CARD, "table-1").refusals[0]["code"] == "not-signed-in"
    assert room.row(number)["holds"] == "label-to-come"


def test_a_button_under_the_refusal_says_it_too(room: Room) -> None:
    number = room.sheet_ready(label=False)
    refused = room.scans(number, "table-1", step=Step.TAKE_UP)
    assert [choice.label for choice in refused.choices] == ["The label is here"]
    lifted = room.scans(number, "table-1", step=Step.LIFT_HOLD, facts={"hold": "label-to-come"})
    assert lifted.kind == "done" and room.row(number)["holds"] == ""


def test_a_step_that_is_named_is_done_all_the_same_and_ends_the_run(room: Room) -> None:
    number = room.sheet_ready()
    held = room.sheet_ready(label=False)
    room.scans(CARD, "table-1")
    assert room.scans(number, "table-1", step=Step.TAKE_UP).word == "Taken up."
    assert room.scans(held, "table-1").kind == "stop"
