"""The deeds of the press station, whole: opening and filling a stack, weights and their mass, unloading, moving, what was forgotten."""

from __future__ import annotations

import pytest

from app.db.engine import transaction
from app.domain.answer import Answer
from app.domain.numbers import shown
from app.domain.offers import opened
from app.domain.stages import Step
from app.services import room as furnishing
from tests.queries.looking import stack_of
from tests.room import TQX, Room
from tests.services.days import card, codes, differences, done, minutes_left, pressed


def said(number: str) -> str:
    return shown(number, [TQX])


def presses(room: Room, answer: Answer, label: str, at: str = "press") -> Answer:
    """The button with this label is pressed: what it sends is what the station's form would send."""
    choice = next(each for each in answer.choices if each.label == label)
    sent = opened({**answer.carry, choice.name: choice.value})
    facts = {name[6:]: value for name, value in sent.items() if name.startswith("facts.")}
    if "counted" in facts:
        facts["counted"] = int(facts["counted"])  # type: ignore[assignment]
    step = Step(sent["step"]) if sent.get("step") else None
    return room.scans(sent["code"], at, step=step, stack=sent.get("stack", ""), facts=facts,
                      already_done=sent.get("already_done") == "1")  # fmt: skip


def labels(answer: Answer) -> list[str]:
    return [choice.label for choice in answer.choices]


def add_stack(room: Room, name: str, **more: float) -> None:
    with transaction(room.database) as session:
        room.stack[name] = furnishing.add_stack(session, name, room.now, **{"capacity": 8, "mass_kg": 12, **more})  # type: ignore[arg-type]


# -- opening and filling --------------------------------------------------------------------------------------------
def test_a_new_stack_is_opened_by_its_card_and_says_what_it_takes(room: Room) -> None:
    answer = done(room.weights("off", "P1"))
    # n sheets take n release papers, n foams and n + 1 boards: the design of the press room.
    assert answer.lines[0] == "P1 is open, and nothing lies in it."
    assert "Room for 8: 8 release papers, 8 foams and 9 boards." in answer.lines
    assert stack_of(room, "P1").state == "empty"


def test_limits_and_how_weights_are_lifted_are_said_before_they_go_on(room: Room) -> None:
    answer = done(room.weights("off", "P1"))
    assert (
        "Its weights: 12 kg in 4 pieces, 3 kg each. Lift one piece at a time, and never move a stack with its weights on."
        in answer.lines
    )
    assert "one piece at a time" in answer.next


def test_each_sheet_is_told_its_layer_and_what_goes_on_it(room: Room) -> None:
    room.weights("off", "P1")
    first, second = (done(room.scans(room.sheet_mounted(), "press")) for _ in range(2))
    assert first.next.startswith("Layer 1 of P1, on the base board: release paper, foam and a board on it.")
    assert second.next.startswith("Layer 2 of P1: release paper, foam and a board on it.")
    assert second.next.endswith("P1's clock is not running until the weights are on.")
    assert "Room for" not in second.next


def test_when_room_runs_short_what_one_more_takes_is_said_and_a_full_stack_is_closed(room: Room) -> None:
    add_stack(room, "P9", capacity=3)
    room.weights("off", "P9")
    nexts = [done(room.scans(room.sheet_mounted(), "press")).next for _ in range(3)]
    assert "Room for 2 more: 2 release papers, 2 foams and 2 boards." in nexts[0]
    assert "Room for 1 more: 1 release paper, 1 foam and 1 board." in nexts[1]
    assert "It is full: lid on, then the weights, one piece at a time." in nexts[2]
    over = room.scans(room.sheet_mounted(), "press")
    assert codes(over) == ["stack-full"] and "One more takes 1 release paper, 1 foam and 1 board." in over.lines[0]


def test_a_sheet_laid_back_in_its_own_full_stack_needs_no_more_room(room: Room) -> None:
    add_stack(room, "P9", capacity=1)
    room.weights("off", "P9")
    number = room.sheet_in("P9")
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P9"))
    assert codes(room.scans(room.sheet_mounted(), "press", step=Step.PUT_UNDER_WEIGHT, stack="P9")) == ["stack-full"]


# -- the weights and their mass -------------------------------------------------------------------------------------
@pytest.mark.parametrize(("typed", "kg"), [("14", 14), ("14.5", 14.5), ("14,5 kg", 14.5), (" 9 KG ", 9)])
def test_what_the_weights_weigh_may_be_said_after_the_count_and_is_remembered(
    room: Room, typed: str, kg: float
) -> None:
    pressed(room)
    counted = done(room.scans(room.code("on", "P1"), "press", step=Step.COUNT, facts={"counted": 1}))
    assert counted.ask is not None and counted.ask.name == "facts.mass_kg" and "12 kg" in counted.ask.label
    before = stack_of(room, "P1")
    room.wait(minutes=1)
    answer = done(room.scans(counted.carry["code"], "press", facts={"mass_kg": typed}))
    assert f"Its weights: {kg:g} kg in 4 pieces" in " ".join(answer.lines) and answer.choices == ()
    after = stack_of(room, "P1")
    assert (after.mass_kg, after.since) == (kg, before.since) and differences(room.database) == []
    room.wait(minutes=1)
    room.weights("off", "P1")
    room.weights("on", "P1")
    assert stack_of(room, "P1").mass_kg == kg


@pytest.mark.parametrize("typed", ["", "heavy", "-1", "201", "nan", "inf", "1_0", "١٢"])
def test_what_is_no_mass_is_refused_in_a_sentence_and_changes_nothing(room: Room, typed: str) -> None:
    pressed(room)
    answer = room.scans(room.code("on", "P1"), "press", facts={"mass_kg": typed})
    assert codes(answer) == ["misread-number"] and "in kilograms, from 0 to 200" in answer.lines[0]
    assert stack_of(room, "P1").mass_kg == 12


# The house's limits of 25 kg on a stack and 8 kg a piece: common practice, no source (domain/house.py).
@pytest.mark.parametrize(("kg", "pieces", "over"), [(25, 4, []), (25.1, 4, ["on one stack"]), (16, 2, []), (16.2, 2, ["to lift"]),
                                                    (40, 4, ["on one stack", "to lift"])])  # fmt: skip
def test_weights_over_a_limit_of_the_house_are_said_and_nothing_is_refused(
    room: Room, kg: float, pieces: int, over: list[str]
) -> None:
    add_stack(room, "P9", mass_kg=kg, pieces=pieces)
    room.weights("off", "P9")
    room.sheet_in("P9")
    answer = done(room.weights("on", "P9"))
    warned = [line for line in answer.lines if "more than the house's" in line]
    assert [any(word in line for line in warned) for word in ("on one stack", "to lift")] == [
        word in over for word in ("on one stack", "to lift")
    ]
    assert stack_of(room, "P9").heavy == tuple(warned)


# -- asked for at once when forgotten -------------------------------------------------------------------------------
def test_a_sheet_for_a_stack_with_its_weights_on_is_asked_which_deed_and_laid_in_by_one_button(room: Room) -> None:
    pressed(room)
    number = room.sheet_mounted()
    room.wait(minutes=5)
    asked = room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    assert codes(asked) == ["weights-on"] and labels(asked) == ["The weights of P1 are off now", "Stack P2", "Stack P3"]
    laid = done(presses(room, asked, "The weights of P1 are off now"))
    assert laid.step == "put-under-weight" and laid.next.startswith("Layer 2 of P1")
    assert not stack_of(room, "P1").weights_on and differences(room.database) == []


def test_or_the_card_of_the_stack_does_the_same_and_another_stacks_card_does_not(room: Room) -> None:
    pressed(room)
    number = room.sheet_mounted()
    room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    other = done(room.weights("off", "P2"))
    assert any(line.startswith(f"{said(number)} is not laid in yet") for line in other.lines)
    assert room.stage(number) == "mounted"
    laid = done(room.weights("off", "P1"))
    assert laid.step == "put-under-weight" and room.row(number)["stack_id"] == room.stack["P1"]


def test_weights_that_go_on_while_a_sheet_waits_for_a_stack_do_not_make_it_forgotten(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    number = room.sheet_mounted()
    room.scans(card("done"), "press")
    room.signs_in("hedda", "press")
    assert codes(room.scans(number, "press")) == ["no-stack"]
    answer = done(room.weights("on", "P1"))
    assert f"{said(number)} is not laid in yet: scan it again at the stack that it goes in." in answer.lines


def test_going_on_to_the_next_stack_says_whose_clock_stands_and_asks_for_its_weights_at_once(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    opened_next = done(room.weights("off", "P2"))
    assert "P1's clock is not running: 1 sheet without weights. Put them on first." in opened_next.lines
    assert labels(opened_next) == ["The weights of P1 are on"]
    assert done(presses(room, opened_next, "The weights of P1 are on")).word == "Weights on."
    assert stack_of(room, "P1").weights_on


def test_laying_the_next_sheet_in_another_stack_by_name_asks_too(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    laid = done(room.scans(room.sheet_mounted(), "press", step=Step.PUT_UNDER_WEIGHT, stack="P2"))
    assert "P1's clock is not running: 1 sheet without weights. Put them on first." in laid.lines
    assert labels(laid) == ["The weights of P1 are on"]


def test_a_stack_left_open_that_was_under_weight_is_said_to_whoever_comes_next(room: Room) -> None:
    pressed(room)
    room.wait(minutes=30)
    room.weights("off", "P1")
    room.scans(card("done"), "press")
    room.signs_in("piet", "press")
    assert (
        "P1's clock is not running: 1 sheet without weights. Put them on first."
        in done(room.weights("off", "P2")).lines
    )


def test_one_that_is_only_being_filled_and_an_empty_one_ask_nothing(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.weights("off", "P3")
    room.scans(card("done"), "press")
    room.signs_in("piet", "press")
    answer = done(room.weights("off", "P2"))
    assert answer.choices == () and not [line for line in answer.lines if "P1" in line or "P3" in line]


def test_on_the_round_no_card_asks_for_another_stack(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    done(room.scans(card("round"), "press"))
    answer = done(room.weights("off", "P2"))
    assert answer.choices == () and not [line for line in answer.lines if line.startswith("P1")]


def test_while_the_weights_are_off_every_answer_about_the_stack_ends_with_its_clock(room: Room) -> None:
    ready, stays = pressed(room, adhesive="straps"), room.sheet_mounted()
    room.wait(hours=3)
    off = done(room.weights("off", "P1"))
    laid = done(room.scans(stays, "press"))
    out = done(room.takes_out(ready))
    early = room.takes_out(stays)
    assert off.lines[-1] == out.lines[-1] == "P1's clock is not running."
    assert laid.next.endswith("P1's clock is not running until the weights are on.")
    assert "the clock of P1 is not running" in early.lines[0]


# -- unloading ------------------------------------------------------------------------------------------------------
def a_mixed_stack(room: Room) -> list[str]:
    """Six layers after three hours: straps (2 h) in layers 1 and 3, what stays in the others, weights still on."""
    room.weights("off", "P1")
    kinds = ("straps", "pva", "straps", "paste", "pva", "paste")
    numbers = [room.sheet_in("P1", adhesive=adhesive) for adhesive in kinds]
    room.weights("on", "P1")
    room.wait(hours=3)
    return numbers


def test_a_ready_sheet_under_others_says_what_is_lifted_off_and_goes_back_before_anybody_lifts(room: Room) -> None:
    numbers = a_mixed_stack(room)
    answer = room.takes_out(numbers[2])
    assert codes(answer) == ["weights-on"]
    reach = f"To reach {said(numbers[2])} (layer 3), lift off layers 4 to 6. They must go back, and their clock stands while the weights are off."
    assert reach in answer.lines
    assert "one piece at a time" in answer.next


def test_opening_a_stack_says_what_may_come_out_and_how_the_lowest_is_reached(room: Room) -> None:
    numbers = a_mixed_stack(room)
    answer = done(room.weights("off", "P1"))
    assert answer.lines[0] == f"2 of 6 may come out: {said(numbers[0])} and {said(numbers[2])}."
    assert answer.lines[1] == (
        f"To reach {said(numbers[0])} (layer 1), lift off layers 2 to 6. Layers 2 and 4 to 6 must go back, "
        "and their clock stands while the weights are off."
    )
    assert stack_of(room, "P1").to_reach == answer.lines[1]


def test_what_came_out_from_below_says_what_is_laid_back(room: Room) -> None:
    numbers = a_mixed_stack(room)
    room.weights("off", "P1")
    out = done(room.takes_out(numbers[2]))
    assert f"Lay back what lay above it: {', '.join(map(said, numbers[3:5]))} and {said(numbers[5])}." in out.lines
    top = pressed(room, "P2", adhesive="straps")
    room.wait(hours=3)
    room.weights("off", "P2")
    assert done(room.takes_out(top)).lines == ("Nothing lies in P2 any more.",)


def test_from_the_top_nothing_is_lifted_off(room: Room) -> None:
    room.weights("off", "P1")
    below, top = room.sheet_in("P1", adhesive="paste"), room.sheet_in("P1", adhesive="straps")
    room.weights("on", "P1")
    room.wait(hours=3)
    assert room.takes_out(top).lines == ("Ready. The weights are on P1.",)
    opened_now = done(room.weights("off", "P1"))
    assert opened_now.lines[0] == f"1 of 2 may come out: {said(top)}." and "To reach" not in " ".join(opened_now.lines)
    assert done(room.takes_out(top)).lines == ("P1's clock is not running.",)
    assert room.row(below)["stack_id"] == room.stack["P1"]


# -- moving ---------------------------------------------------------------------------------------------------------
def moved_by_scan(room: Room) -> tuple[str, Answer]:
    """Six hours in P1 of 24; P1 is opened, then P2, and the sheet is scanned there and moved."""
    number = pressed(room)
    room.wait(hours=6)
    room.weights("off", "P1")
    room.wait(minutes=1)
    room.weights("off", "P2")
    asked = room.scans(number, "press")
    assert asked.kind == "which-one" and labels(asked) == ["Move it to stack P2", "Take it out of stack P1"]
    return number, presses(room, asked, "Move it to stack P2")


def test_a_sheet_is_moved_by_scanning_it_where_another_stack_is_open(room: Room) -> None:
    number, answer = moved_by_scan(room)
    assert done(answer).lines[0] == "Moved from P1: it takes 6 h under weight along; 18 h more are needed."
    entry = room.log(number)[-1]
    assert (entry["step"], entry["from_stack_id"], entry["to_stack_id"]) == (
        "put-under-weight", room.stack["P1"], room.stack["P2"])  # fmt: skip
    assert entry["minimum_s"] == room.row(number)["minimum_s"] == 24 * 3600
    room.weights("on", "P2")
    room.wait(hours=17, minutes=59)
    room.weights("off", "P2")
    assert minutes_left(room.takes_out(number)) == 1 and differences(room.database) == []


def test_or_with_a_reason_which_stays_in_its_log(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=6)
    room.weights("off", "P1")
    room.weights("off", "P2")
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P2", reason="P1 is needed for the bulky ones"))
    assert room.log(number)[-1]["reason"] == "P1 is needed for the bulky ones"


def test_a_sheet_moved_out_from_under_weights_that_nobody_took_off_keeps_only_what_was_seen(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=2)
    done(room.weights("on", "P1"))  # seen on
    room.wait(hours=4)
    room.weights("off", "P2")
    answer = done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P2"))
    assert answer.lines == (
        "Moved from P1: it takes 2 h under weight along; 22 h more are needed.",
        "By the log the weights are on P1, so its time there counts up to 11:00, when they were last seen.",
    )
    assert labels(answer) == ["The weights of P1 are off"]
    done(presses(room, answer, "The weights of P1 are off"))
    assert not stack_of(room, "P1").weights_on
    room.weights("on", "P2")
    room.wait(hours=21, minutes=59)
    room.weights("off", "P2")
    assert minutes_left(room.takes_out(number)) == 1 and differences(room.database) == []


# -- which stack ----------------------------------------------------------------------------------------------------
def test_which_stack_offers_those_that_fit_best_first_and_never_a_full_one(room: Room) -> None:
    add_stack(room, "P4", capacity=1)
    for stack, adhesive in (("P2", "pva"), ("P3", "paste"), ("P4", "pva")):
        room.scans(room.sheet_mounted(adhesive=adhesive), "press", step=Step.PUT_UNDER_WEIGHT, stack=stack)
    room.scans(card("done"), "press")
    room.signs_in("hedda", "press")
    number = room.sheet_mounted(adhesive="pva")
    asked = room.scans(number, "press")
    assert codes(asked) == ["no-stack"]
    assert [(each.label, each.detail) for each in asked.choices] == [
        ("Stack P2", ""), ("Stack P1", ""), ("Stack P3", "Its sheets need 48 h."),
    ]  # fmt: skip
    laid = done(presses(room, asked, "Stack P2"))
    assert laid.next.startswith("Layer 2 of P2") and room.row(number)["stack_id"] == room.stack["P2"]


def test_a_flat_sheet_is_not_sent_onto_a_bulky_one_and_an_unloading_stack_comes_last(room: Room) -> None:
    pressed(room, "P1")
    room.wait(hours=1)
    room.weights("off", "P1")
    room.scans(room.sheet_mounted(adhesive="straps", bulk="bulky"), "press", step=Step.PUT_UNDER_WEIGHT, stack="P2")
    room.scans(card("done"), "press")
    room.signs_in("hedda", "press")
    add_stack(room, "P4")
    asked = room.scans(room.sheet_mounted(adhesive="pva"), "press")
    assert [(each.label, each.detail) for each in asked.choices][:2] == [("Stack P3", ""), ("Stack P4", "")]
    assert {each.label: each.detail for each in asked.choices} == {
        "Stack P3": "", "Stack P4": "", "Stack P1": "Its sheets have lain under weight already.", "Stack P2": "Its sheets need 26 h.",
    }  # fmt: skip


def test_the_table_sends_a_glued_sheet_to_the_same_stack_that_the_press_proposes(room: Room) -> None:
    room.scans(room.sheet_mounted(adhesive="paste"), "press", step=Step.PUT_UNDER_WEIGHT, stack="P2")
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    told = done(room.scans(number, "table-1", step=Step.MOUNT, facts={"adhesive": "paste"}))
    assert told.next == "Now put it in stack P2, top layer."


def test_an_empty_stack_with_its_weights_on_is_offered_with_what_comes_first(room: Room) -> None:
    for stack in ("P1", "P2", "P3"):
        room.weights("off", stack)
        room.weights("on", stack)
    room.scans(card("done"), "press")
    room.signs_in("hedda", "press")
    asked = room.scans(room.sheet_mounted(), "press")
    assert [(each.label, each.detail) for each in asked.choices][0] == ("Stack P1", "Lift its weights first.")


def test_by_whom_it_was_glued_carries_the_stack_that_was_named_only_with_the_scan(room: Room) -> None:
    by_button, by_badge = room.sheet_ready(), room.sheet_ready()
    asked = room.scans(by_button, "press", stack="P2")
    assert asked.lines == ("Just glued? By whom?",) and asked.carry["stack"] == "P2"
    done(presses(room, asked, "Olwen Tarrant"))
    room.scans(by_badge, "press", stack="P3")
    done(room.scans(room.code("badge", "piet"), "press"))
    assert [room.row(each)["stack_id"] for each in (by_button, by_badge)] == [room.stack["P2"], room.stack["P3"]]
    assert room.row(by_badge)["mounted_by"] == [room.worker["piet"]]


def test_one_glued_unscanned_without_a_stack_is_asked_for_one_with_buttons(room: Room) -> None:
    number = room.sheet_ready()
    asked = room.scans(number, "press")
    told = presses(room, asked, "Olwen Tarrant")
    assert told.lines[0] == "It is written as glued." and labels(told) == ["Stack P1", "Stack P2", "Stack P3"]
    done(presses(room, told, "Stack P2"))
    assert room.steps(number)[-2:] == ["mount", "put-under-weight"]
    assert room.row(number)["stack_id"] == room.stack["P2"]


def test_a_stack_that_is_named_with_a_sheet_of_another_stack_is_as_good_as_one_that_is_open(room: Room) -> None:
    """Nobody means "take it out" who names where it goes; it is asked, as at a press where that stack is open."""
    number = pressed(room)
    room.wait(hours=30)
    room.weights("off", "P1")
    room.wait(seconds=30)
    room.scans(room.code("on", "P1"), "press")
    assert room.station_row("press")["stack_id"] is None
    asked = room.scans(number, "press", stack="P2")
    assert asked.kind == "which-one" and room.stage(number) == "under-press"
    assert labels(asked)[0].startswith("Move it to") or "Put under weight" in labels(asked)
