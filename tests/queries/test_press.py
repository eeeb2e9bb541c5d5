"""The press room as it is drawn: layers from the bottom, what may come out, and what must stay above it."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.db.engine import reading
from app.domain.stages import Step
from app.queries.press import press_room
from tests.queries.looking import label, page_of, stack_of
from tests.queries.plans import statements_of
from tests.room import Room

SECOND = timedelta(seconds=1)


def _filled(room: Room, *adhesives: str) -> list[str]:
    """A stack with one sheet for each adhesive, the first at the bottom, its weights on from now."""
    room.weights("off", "P1")
    numbers = [room.sheet_in("P1", adhesive=adhesive) for adhesive in adhesives]
    room.weights("on", "P1")
    return numbers


def test_layers_are_counted_from_the_bottom(room: Room) -> None:
    numbers = _filled(room, "pva", "paste", "pva")
    layers = stack_of(room, "P1").layers
    assert [(layer.place, layer.number) for layer in layers] == list(enumerate(numbers, start=1))
    assert page_of(room, numbers[1]).place == "stack P1, layer 2 of 3 from the bottom"


def test_what_is_taken_out_leaves_no_gap_in_the_count(room: Room) -> None:
    first, second = _filled(room, "pva", "paste")
    room.wait(hours=24)
    room.weights("off", "P1")
    room.takes_out(first)
    assert [(layer.place, layer.number) for layer in stack_of(room, "P1").layers] == [(1, second)]


@pytest.mark.parametrize(("apart", "state"), [(-SECOND, "not-yet"), (0 * SECOND, "ready"), (SECOND, "ready")])
def test_a_sheet_is_ready_at_its_minimum_and_not_a_second_before(room: Room, apart: timedelta, state: str) -> None:
    number = _filled(room, "pva")[0]
    now = room.now + timedelta(hours=24) + apart
    layer = stack_of(room, "P1", now).layers[0]
    assert layer.state == state and layer.ready_at == room.now + timedelta(hours=24)
    clock = page_of(room, number, now).clock
    assert clock is not None and clock.is_ready is (state == "ready") and clock.ready_at == layer.ready_at


def test_two_that_may_come_out_lie_under_one_that_must_stay(room: Room) -> None:
    _filled(room, "pva", "pva", "paste")
    now = room.now + timedelta(hours=25)
    stack = stack_of(room, "P1", now)
    assert stack.ready_now == 2
    assert stack.words == (
        "Two may come out, under one that must stay until Friday 09:00. Lifting the weights stops the clock of all three."
    )
    assert stack.short_words == "2 now, last Friday 09:00"


def test_what_lies_on_top_comes_out_without_lifting_the_rest(room: Room) -> None:
    _filled(room, "paste", "pva")
    stack = stack_of(room, "P1", room.now + timedelta(hours=24))
    assert stack.ready_now == 1 and stack.words.startswith("One may come out; the last Friday 09:00.")


def test_when_all_are_ready_all_may_come_out(room: Room) -> None:
    _filled(room, "pva", "pva")
    stack = stack_of(room, "P1", room.now + timedelta(days=2))
    assert stack.words == "Both may come out."
    assert stack.short_words == "All may come out"


def test_while_the_weights_are_off_no_clock_runs(room: Room) -> None:
    number = _filled(room, "pva")[0]
    room.wait(hours=4)
    room.weights("off", "P1")
    stack = stack_of(room, "P1", room.now + timedelta(hours=1))
    assert [layer.state for layer in stack.layers] == ["waiting"]
    assert stack.layers[0].under_weight == timedelta(hours=4) and stack.layers[0].out_words == "not running"
    assert stack.words == "It may not come out yet. The weights are off since 13:00: its clock is not running."
    assert (stack.state, stack.pressure_pa) == ("unloading", 0)
    clock = page_of(room, number).clock
    assert clock is not None and clock.ready_at is None


def test_a_stack_is_filling_before_its_weights_were_ever_on(room: Room) -> None:
    room.sheet_in("P1")
    stack = stack_of(room, "P1")
    assert (stack.state, stack.short_words) == ("filling", "Weights are not on yet")
    assert stack_of(room, "P2").state == "empty" and stack_of(room, "P2").words == "Nothing lies in it."


def test_twelve_kilograms_press_on_every_sheet_alike(room: Room) -> None:
    _filled(room, "pva", "pva")
    # p = m g / A by hand: 12 kg x 9.80665 m/s2 (3rd CGPM, 1901) on 0.29210 m x 0.41910 m.
    assert stack_of(room, "P1").pressure_pa == pytest.approx(961.3, abs=0.1)


@pytest.mark.parametrize(("apart", "too_long"), [(-SECOND, False), (0 * SECOND, False), (SECOND, True)])
def test_a_stack_with_sheets_may_stand_an_hour_without_weights(room: Room, apart: timedelta, too_long: bool) -> None:
    room.sheet_in("P1")
    stack = stack_of(room, "P1", room.now + timedelta(hours=1) + apart)
    assert stack.off_too_long is too_long and stack.bare_since == room.now


def test_sheets_lie_bare_from_when_the_weights_went_off_or_from_when_they_were_laid_in(room: Room) -> None:
    _filled(room, "pva")
    room.wait(hours=4)
    room.weights("off", "P1")
    assert stack_of(room, "P1").bare_since == room.now
    room.weights("on", "P2")
    room.weights("off", "P2")
    room.wait(hours=2)
    room.sheet_in("P2")
    assert stack_of(room, "P2").bare_since == room.now


def test_a_new_gluing_begins_its_time_under_weight_at_nothing(room: Room) -> None:
    number = _filled(room, "pva")[0]
    room.wait(hours=24)
    room.weights("off", "P1")
    room.takes_out(number)
    room.wait(minutes=5)
    room.scans(number, "inspection", step=Step.RE_GLUE, facts={"adhesive": "pva"})
    room.wait(minutes=5)
    room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    room.wait(minutes=1)
    room.weights("on", "P1")
    room.wait(hours=3)
    assert stack_of(room, "P1").layers[0].under_weight == timedelta(hours=3)
    clock = page_of(room, number).clock
    assert clock is not None and clock.under_weight == timedelta(hours=3)


def test_an_empty_stack_needs_no_weights(room: Room) -> None:
    room.weights("on", "P1")
    room.weights("off", "P1")
    stack = stack_of(room, "P1", room.now + timedelta(days=9))
    assert not stack.off_too_long and stack.bare_since is None


def test_another_number_counted_shows_as_a_difference(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.weights("on", "P1", facts={"counted": 2})
    stack = stack_of(room, "P1")
    assert (stack.counted, stack.counted_of, stack.count_differs) == (2, 1, True)


def test_the_label_of_each_layer_is_there(room: Room) -> None:
    number = _filled(room, "pva")[0]
    label(room, number, plant="Geranium sylvaticum")
    layer = stack_of(room, "P1").layers[0]
    assert (layer.plant, layer.adhesive, layer.needs_words) == ("Geranium sylvaticum", "PVA, acid-free", "24 h")


def test_the_whole_press_room_takes_as_many_statements_as_one_stack(room: Room) -> None:
    _filled(room, "pva")
    with reading(room.database) as session:
        press_room(session, room.now, room.zone)
    one = _asked(room)
    _filled(room, *["pva"] * 6)
    room.weights("off", "P2")
    for _ in range(5):
        room.sheet_in("P2")
    assert _asked(room) == one


def _asked(room: Room) -> int:
    with statements_of(room.database) as sent, reading(room.database) as session:
        press_room(session, room.now, room.zone)
    return len(sent)
