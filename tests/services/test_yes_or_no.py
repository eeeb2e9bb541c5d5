"""The cards yes and no answer the question on the screen as its buttons do, and never one that nobody could have read."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import update

from app.db.engine import transaction
from app.db.models import Station
from app.domain.answer import Answer
from app.domain.stages import Step
from app.services import room as setting_up
from tests.room import TQX, Room
from tests.services.days import card, codes, differences, done


def says(room: Room, word: str, at: str, **more: object) -> Answer:
    """The card yes or no is scanned, a while after what came before it."""
    room.wait(seconds=40)
    return room.scans(card(word), at, **more)


@pytest.fixture
def tray(room: Room) -> list[str]:
    """A tray of six fresh plants."""
    with transaction(room.database) as session:
        setting_up.add_bundle(session, "Tray 6")
    room.scans(room.code("bundle", "Tray 6"), "intake")
    numbers = [room.new_number() for _ in range(6)]
    for number in numbers:
        done(room.scans(number, "intake", step=Step.TAKE_IN))
    room.scans(card("help"), "intake")
    room.wait(minutes=5)
    return numbers


def counted(room: Room) -> Answer:
    asked = room.scans(room.code("bundle", "Tray 6"), "drying")
    assert asked.kind == "which-one" and len(asked.choices) == 1
    return asked


def test_yes_moves_all_of_a_bundle(room: Room, tray: list[str]) -> None:
    counted(room)
    moved = done(says(room, "yes", "drying"))
    assert moved.moved == tuple(tray) and {room.stage(number) for number in tray} == {"drying"}
    assert room.station_row("drying")["pending"] is None and differences(room.database) == []


def test_yes_moves_the_rest_once_exceptions_were_scanned(room: Room, tray: list[str]) -> None:
    counted(room)
    room.scans(tray[2], "drying")
    room.scans(tray[4], "drying")
    moved = done(says(room, "yes", "drying"))
    assert len(moved.moved) == 4 and {each["number"] for each in moved.left} == {tray[2], tray[4]}
    assert room.stage(tray[2]) == "intake"


def test_yes_twice_moves_once_and_one_undo_takes_it_back(room: Room, tray: list[str]) -> None:
    counted(room)
    first = done(says(room, "yes", "drying"))
    room.wait(seconds=2)
    assert room.scans(card("yes"), "drying") == first, "the scanner's double read"
    assert codes(says(room, "yes", "drying")) == ["out-of-order"], "the question was answered"
    assert {tuple(room.steps(number)) for number in tray} == {("take-in", "lay-to-dry")}
    done(room.scans(card("undo"), "drying"))
    assert {room.stage(number) for number in tray} == {"intake"}


def test_no_drops_the_bundle_and_what_comes_next_does_not_go_in_it(room: Room, tray: list[str]) -> None:
    room.scans(room.code("bundle", "Tray 6"), "intake")
    dropped = done(says(room, "no", "intake"))
    assert (dropped.word, dropped.lines) == ("Left as it is.", ("Nothing was changed.",))
    row = room.station_row("intake")
    assert (row["pending"], row["bundle_id"]) == (None, None)
    number = room.new_number()
    done(room.scans(number, "intake", step=Step.TAKE_IN))
    assert room.row(number)["bundle_id"] is None and {room.stage(each) for each in tray} == {"intake"}
    again = says(room, "yes", "intake")
    assert again.kind == "which-one" and {room.stage(each) for each in (*tray, number)} == {"intake"}


def test_after_no_the_bundles_card_asks_again(room: Room, tray: list[str]) -> None:
    counted(room)
    says(room, "no", "drying")
    room.wait(seconds=40)
    counted(room)
    assert {room.stage(number) for number in tray} == {"intake"}


def test_a_whole_shelf_wants_a_shelf_and_not_a_yes(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(card("whole-shelf"), "intake")
    room.wait(seconds=40)
    room.scans(room.code("shelf", "M1/1"), "intake")
    again = says(room, "yes", "intake")
    assert (again.kind, again.status) == ("which-one", 200)
    assert again.lines == ("Yes is not enough here.", "M1, shelf 1: 1 sheet. Where do they go?")
    assert "the shelf they go on" in again.next
    assert says(room, "yes", "intake").lines == again.lines, "said once more, not longer"
    assert done(room.scans(room.code("shelf", "M1/2"), "intake")).moved == (number,), "the question still stood"


def test_no_leaves_a_whole_shelf_as_it_is(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(card("whole-shelf"), "intake")
    room.scans(room.code("shelf", "M1/1"), "intake")
    assert done(says(room, "no", "intake")).lines == ("Nothing was changed.",)
    assert done(room.scans(room.code("shelf", "M1/2"), "intake")).moved == ()
    assert room.steps(number)[-1] == "arrive-dry"


def test_yes_says_that_a_sheet_is_already_glued(room: Room) -> None:
    number = room.sheet_ready()
    refused = room.scans(number, "table-1", step=Step.MOUNT)
    assert refused.already_done == "It is already glued" and not refused.choices
    done(says(room, "yes", "table-1"))
    entry = room.log(number)[-1]
    assert (entry["step"], entry["after_the_fact"], room.stage(number)) == ("mount", True, "mounted")
    assert "against-a-rule" in room.row(number)["holds"]


def test_yes_says_that_a_sheet_is_already_out(room: Room) -> None:
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=2)
    assert room.scans(number, "press").kind == "not-yet"
    done(says(room, "yes", "press"))
    assert (room.steps(number)[-1], room.stage(number)) == ("found-out", "mounted")


def test_no_after_a_refusal_says_where_the_sheet_belongs(room: Room) -> None:
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=2)
    room.scans(number, "press")
    dropped = done(says(room, "no", "press"))
    assert dropped.lines == ("Nothing was changed.",) and "P1" in dropped.next
    assert dropped.sheet is not None and dropped.sheet.number == number
    assert room.steps(number)[-1] == "put-under-weight" and room.station_row("press")["pending"] is None
    assert codes(room.scans(card("already-done"), "press")) == ["out-of-order"]


def test_where_two_things_are_offered_yes_names_neither(room: Room) -> None:
    number = room.sheet_ready(label=False)
    refused = room.scans(number, "table-1")
    assert refused.already_done and len(refused.choices) == 1
    again = says(room, "yes", "table-1")
    assert again.kind == "which-one" and again.lines[0] == "Yes fits more than one of these."
    assert (again.choices, again.already_done, again.carry) == (refused.choices, refused.already_done, refused.carry)
    assert room.steps(number)[-1] == "arrive-dry" and again.entry is None


def test_yes_takes_the_one_worker_who_is_offered(room: Room) -> None:
    room.signs_in("piet", "press")
    number = room.sheet_ready()
    done(room.weights("off", "P1"))
    assert room.scans(number, "press").lines == ("Just glued? By whom?",)
    assert "M1, shelf 1" in done(says(room, "no", "press")).next and room.steps(number)[-1] == "arrive-dry"
    room.wait(minutes=1)
    assert [choice.label for choice in room.scans(number, "press").choices] == ["Piet Lindqvist"]
    done(says(room, "yes", "press"))
    assert room.steps(number)[-2:] == ["mount", "put-under-weight"]


def test_yes_says_that_the_count_is_right_and_no_leaves_the_weights_on(room: Room) -> None:
    room.sheet_in("P1")
    asked = room.weights("on", "P1")
    assert asked.choices[0].label == "Yes, 1"
    assert done(says(room, "yes", "press")).word == "Counted."
    room.weights("off", "P1")
    room.wait(seconds=40)
    assert room.weights("on", "P1").choices
    dropped = done(says(room, "no", "press"))
    assert dropped.lines == ("What was scanned before stays written.",)
    room.wait(seconds=40)
    assert room.weights("on", "P1").word == "Under weight."


def test_yes_confirms_the_one_sheet_that_a_part_of_a_number_may_mean(room: Room) -> None:
    number = room.sheet_ready()
    part = number[len(TQX.prefix) : -1].lstrip("0")
    asked = room.scans(part, "table-1")
    assert asked.kind == "which-one" and len(asked.choices) == 1
    assert done(says(room, "yes", "table-1")).word == "Taken up." and room.row(number)["table_id"] is not None


def test_the_next_question_is_not_answered_by_the_scanners_double_read(room: Room) -> None:
    number = room.sheet_ready()
    room.signs_in("piet", "press")
    asked = room.scans(number[len(TQX.prefix) : -1].lstrip("0"), "press")
    assert len(asked.choices) == 1
    room.wait(seconds=40)
    second = room.scans(card("yes"), "press")
    assert second.lines == ("Just glued? By whom?",)
    room.wait(seconds=1)
    assert room.scans(card("yes"), "press") == second and room.steps(number)[-1] == "arrive-dry"


@pytest.mark.parametrize("word", ["yes", "no"])
def test_where_nothing_is_asked_neither_does_anything(room: Room, word: str) -> None:
    number = room.sheet_ready()
    assert codes(room.scans(card(word), "filing")) == ["out-of-order"], "nothing was ever scanned here"
    done(room.scans(number, "table-1"))
    refused = says(room, word, "table-1")
    assert codes(refused) == ["out-of-order"] and refused.next and refused.status == 422
    assert codes(room.scans(card(word))) == ["unknown-station"]
    assert room.steps(number)[-1] == "take-up"


def test_a_question_that_somebody_walked_away_from_is_not_answered(room: Room, tray: list[str]) -> None:
    counted(room)
    room.wait(minutes=31)
    assert codes(room.scans(card("yes"), "drying")) == ["out-of-order"]
    assert {room.stage(number) for number in tray} == {"intake"}


def test_a_yes_that_was_scanned_before_its_question_could_be_read_answers_nothing(room: Room, tray: list[str]) -> None:
    done(room.scans(card("help"), "drying"))
    began = room.now
    # The line was down: the bundle's card and the yes were scanned blind, and both arrive an hour later.
    room.wait(hours=1)
    room.scans(room.code("bundle", "Tray 6"), "drying", held=1, happened_at=began + timedelta(minutes=1))
    blind = room.scans(card("yes"), "drying", held=0, happened_at=began + timedelta(minutes=2))
    assert codes(blind) == ["out-of-order"] and {room.stage(number) for number in tray} == {"intake"}


def test_a_yes_that_waited_after_its_question_was_read_still_answers_it(room: Room, tray: list[str]) -> None:
    counted(room)
    answered_at = room.now
    room.wait(seconds=85)
    late = room.scans(card("yes"), "drying", happened_at=answered_at + timedelta(seconds=30))
    assert len(done(late).moved) == 6


def test_whatever_was_scanned_in_between_is_on_the_screen_instead(room: Room, tray: list[str]) -> None:
    counted(room)
    room.wait(seconds=30)
    room.scans(room.code("badge", "piet"), "drying")
    assert codes(says(room, "yes", "drying")) == ["out-of-order"]
    assert {room.stage(number) for number in tray} == {"intake"}


def test_no_drops_that_somebody_was_to_be_named(room: Room) -> None:
    with transaction(room.database) as session:
        session.execute(update(Station).where(Station.slug == "table-1").values(pending={"not_me": 7}))
    done(says(room, "no", "table-1"))
    assert room.station_row("table-1")["pending"] is None
