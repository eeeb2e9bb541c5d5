"""Sixty at once: one scan of a bundle's card moves all in it but the exceptions, and undoes as one."""

from __future__ import annotations

import pytest

from app.db.engine import transaction
from app.domain.stages import Step
from app.services import room as setting_up
from tests.room import Room
from tests.services.days import codes, differences, done


@pytest.fixture
def press(room: Room) -> list[str]:
    """A plant press of sixty fresh plants, each taken in into it."""
    with transaction(room.database) as session:
        setting_up.add_bundle(session, "Plant press 12")
    room.scans(room.code("bundle", "Plant press 12"), "intake")
    numbers = [room.new_number() for _ in range(60)]
    for number in numbers:
        done(room.scans(number, "intake", step=Step.TAKE_IN))
    room.wait(minutes=5)
    return numbers


def test_sixty_sheets_are_moved_by_one_card_with_two_exceptions(room: Room, press: list[str]) -> None:
    card = room.code("bundle", "Plant press 12")
    asked = room.scans(card, "drying")
    assert asked.kind == "which-one" and asked.lines == ("Plant press 12: 60 sheets. All of them?",)
    for left, number in enumerate((press[7], press[31]), 1):
        assert f"{60 - left} others" in room.scans(number, "drying").lines[0]
    moved = done(room.scans(card, "drying"))
    assert len(moved.moved) == 58 and {each["number"] for each in moved.left} == {press[7], press[31]}
    assert [room.stage(number) for number in (press[7], press[31], press[0])] == ["intake", "intake", "drying"]
    assert len({room.log(number)[-1]["scan_id"] for number in moved.moved}) == 1, "an entry for each under one scan"
    assert differences(room.database) == []


def test_what_one_card_moved_is_undone_as_one(room: Room, press: list[str]) -> None:
    card = room.code("bundle", "Plant press 12")
    entry = done(room.scans(card, "drying", step=Step.LAY_TO_DRY, facts={"all": True})).entry
    answer = done(room.undoes(entry, "drying"))
    assert "60 entries" in answer.lines[0]
    assert {room.stage(number) for number in press} == {"intake"}
    assert differences(room.database) == []


def test_once_one_of_them_went_on_the_card_is_not_undone_as_one(room: Room, press: list[str]) -> None:
    card = room.code("bundle", "Plant press 12")
    entry = done(room.scans(card, "drying", step=Step.LAY_TO_DRY, facts={"all": True})).entry
    room.wait(days=8)
    done(room.scans(press[3], "drying", step=Step.PASS_AS_DRY, facts={"dryness": True, "label": True}))
    undo = room.undoes(entry, "drying", worker_ids=(room.worker["hedda"],), manages=True)
    assert codes(undo) == ["not-last"]
    assert {room.stage(number) for number in press} == {"drying", "ready-for-mounting"}
    assert differences(room.database) == []


def test_those_that_may_not_go_are_named_and_the_others_go(room: Room, press: list[str]) -> None:
    card = room.code("bundle", "Plant press 12")
    done(room.scans(press[5], "drying", step=Step.LAY_TO_DRY))
    moved = done(room.scans(card, "drying", step=Step.LAY_TO_DRY, facts={"all": True}))
    assert len(moved.moved) == 59 and [each["number"] for each in moved.left] == [press[5]]
    assert "is drying" in moved.left[0]["why"]
    assert differences(room.database) == []


@pytest.mark.parametrize("step", [Step.PASS_AS_DRY, Step.TAKE_UP, Step.MOUNT, Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT,
                                  Step.INSPECT, Step.FILE])  # fmt: skip
def test_what_is_judged_is_never_done_by_the_bundle(room: Room, press: list[str], step: Step) -> None:
    refused = room.scans(room.code("bundle", "Plant press 12"), "drying", step=step, facts={"all": True})
    assert codes(refused) == ["wrong-stage"] and {room.steps(number)[-1] for number in press} == {"take-in"}


def test_another_shelf_while_a_bundle_is_asked_about_is_where_all_of_it_goes(room: Room, press: list[str]) -> None:
    card = room.code("bundle", "Plant press 12")
    room.scans(room.code("shelf", "A1/1"), "filing")
    assert room.scans(card, "filing").kind == "which-one"
    room.wait(seconds=30)
    answer = done(room.scans(room.code("shelf", "A1/2"), "filing"))
    assert answer.lines == ("What is scanned next goes in A1, shelf 2.",) and "the card again" in answer.next
    assert room.steps(press[0]) == ["take-in"]
    moved = done(room.scans(card, "filing"))
    assert len(moved.moved) == 60
    assert {room.row(number)["shelf_id"] for number in press} == {room.station_row("filing")["shelf_id"]}
    assert differences(room.database) == []
