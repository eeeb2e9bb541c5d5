"""One screen for all: each stage has its one step, and a person alone takes a sheet from intake to its cabinet there."""

from __future__ import annotations

import pytest

from app.db.engine import transaction
from app.domain.answer import Answer
from app.domain.meant import There, steps_meant
from app.domain.numbers import COMMANDS
from app.domain.sheet import Place, Standing
from app.domain.stages import Stage, Step
from app.domain.stations import KINDS, roams
from app.services.presets import set_one_person_room
from app.services.room import add_station, set_at_station, set_house_rule
from tests.room import Room

ALL = KINDS["roaming"][1]
AT = "small"


@pytest.fixture
def alone(room: Room) -> Room:
    """A room by the preset for one person, with one screen, at which Olwen works."""
    with transaction(room.database) as session:
        set_one_person_room(session, "nobody else is here", room.now)
        room.station[AT] = add_station(session, AT, "The table", ALL, room.now)
        set_at_station(session, room.station[AT], adhesive_id=1)
    room.signs_in("olwen", AT)
    return room


def scans(room: Room, code: str, **more: object) -> Answer:
    room.wait(seconds=40)
    return room.scans(code, AT, **more)


def presses(room: Room, answer: Answer, label: str) -> Answer:
    """A button under an answer is pressed: what it sends is sent."""
    from app.domain.offers import facts_in, opened

    choice = next(each for each in answer.choices if each.label.startswith(label))
    sent = opened({**answer.carry, choice.name: choice.value})
    step = Step(sent["step"]) if "step" in sent else None
    return scans(room, sent["code"], step=step, facts=facts_in(sent), stack=sent.get("stack", ""))


def labels(answer: Answer) -> list[str]:
    return [choice.label for choice in answer.choices]


def to_dry(room: Room) -> str:
    """A sheet that came dry and waits for mounting."""
    number = room.new_number()
    scans(room, number)
    presses(room, scans(room, number), "Arrives dry")
    presses(room, scans(room, number, step=Step.ARRIVE_DRY), "It is dry, the label is with it")
    assert room.stage(number) == "ready-for-mounting"
    return number


def out_of_the_press(room: Room) -> str:
    number = to_dry(room)
    for code in (number, number, room.code("off", "P1"), number, room.code("on", "P1")):
        scans(room, code)
    room.wait(hours=25)
    scans(room, room.code("off", "P1"))
    assert scans(room, number).word == "Taken out."
    return number


# -- which step is meant ------------------------------------------------------------------------------------------
def test_every_step_that_is_a_scan_is_done_at_one_screen() -> None:
    elsewhere = {step for kind, (_, steps) in KINDS.items() if kind != "roaming" for step in steps}
    assert elsewhere <= set(ALL)
    assert {Step.WEIGHTS_ON, Step.WEIGHTS_OFF} <= set(ALL)
    assert roams(ALL) and not any(roams(steps) for kind, (_, steps) in KINDS.items() if kind != "roaming")


@pytest.mark.parametrize(
    ("standing", "meant"),
    [
        (Standing(), [Step.TAKE_IN]),
        (Standing(Stage.INTAKE), [Step.LAY_TO_DRY, Step.ARRIVE_DRY, Step.ARRIVE_MOUNTED]),
        (Standing(Stage.DRYING), [Step.PAPERS_CHANGED, Step.PASS_AS_DRY]),
        (Standing(Stage.READY), [Step.TAKE_UP]),
        (Standing(Stage.READY, place=Place(table_id=7)), [Step.MOUNT]),
        (Standing(Stage.READY, place=Place(table_id=8)), [Step.TAKE_UP]),  # refused, and says on which table it is
        (Standing(Stage.MOUNTED), [Step.PUT_UNDER_WEIGHT]),
        (Standing(Stage.UNDER_PRESS, place=Place(stack_id=1)), [Step.TAKE_OUT]),
        (Standing(Stage.DRY), [Step.INSPECT]),
        (Standing(Stage.DRY, outcome="to-be-mended"), [Step.INSPECT]),
        (Standing(Stage.DRY, outcome="passed"), [Step.FILE]),
        (Standing(Stage.FILED), [Step.BRING_BACK]),
        (Standing(Stage.INTAKE, closed_as="sent in exchange"), [Step.LAY_TO_DRY]),
    ],
)
def test_each_stage_has_its_step_and_only_where_several_fit_it_is_asked(standing: Standing, meant: list[Step]) -> None:
    assert steps_meant(standing, There(ALL, 7)) == meant


def test_under_press_with_another_stack_open_it_is_asked_whether_out_or_over() -> None:
    under = Standing(Stage.UNDER_PRESS, place=Place(stack_id=1))
    assert steps_meant(under, There(ALL, 7, stack_id=1)) == [Step.TAKE_OUT]
    assert steps_meant(under, There(ALL, 7, stack_id=2)) == [Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT]


def test_a_house_that_does_not_inspect_files_what_is_dry() -> None:
    assert steps_meant(Standing(Stage.DRY), There(ALL, 7, inspects=False)) == [Step.FILE]


def test_a_station_for_one_thing_means_that_one() -> None:
    assert steps_meant(Standing(Stage.READY), There(KINDS["drying"][1], 7)) == [Step.LAY_TO_DRY]
    assert steps_meant(Standing(Stage.DRY), There(KINDS["filing"][1], 7)) == [Step.FILE]
    assert steps_meant(Standing(Stage.DRY, outcome="passed"), There(KINDS["inspection"][1], 7)) == [Step.INSPECT]
    assert steps_meant(Standing(Stage.DRY), There(KINDS["freezer"][1], 7)) == [Step.FREEZE]


# -- the walk -----------------------------------------------------------------------------------------------------
def test_one_person_takes_a_sheet_from_intake_to_its_cabinet_at_one_screen(alone: Room) -> None:
    room, number = alone, alone.new_number()
    on, off = room.code("on", "P1"), room.code("off", "P1")
    answer = scans(room, number)
    assert (answer.word, answer.next) == (
        "Taken in.",
        "Keep slip and label in the fold with it. Put it on the intake shelf.",
    )
    answer = scans(room, number)
    assert labels(answer) == ["Lay to dry", "Arrives dry", "Arrives mounted"]
    answer = presses(room, answer, "Lay to dry")
    assert (answer.word, answer.next) == ("Laid to dry.", "Slip and label stay in the fold. Lay it in the dryer.")
    room.wait(days=1)
    answer = scans(room, number)
    assert labels(answer) == [
        "Papers changed",
        "It is dry, the label is with it",
        "It is dry, the label is to come",
        "Still damp",
    ]
    answer = presses(room, answer, "Papers changed")
    assert (answer.word, answer.next) == ("Papers changed.", "Tighten the straps and put it back in the dryer.")
    room.wait(days=8)
    answer = presses(room, scans(room, number), "It is dry, the label is with it")
    assert (answer.word, answer.next) == ("Passed as dry.", "Put it with what is ready for mounting.")
    answer = scans(room, room.code("shelf", "M1/2"))
    assert answer.word == "Put on a shelf." and "M1, shelf 2" in answer.next
    answer = scans(room, number)
    assert (answer.word, answer.next) == ("Taken up.", "Open the folder. Scan it again when it is mounted.")
    answer = scans(room, number)
    assert answer.word == "Mounted." and answer.next.startswith("Now put it in stack P1")
    answer = scans(room, number)
    assert answer.kind == "which-one" and "Stack P1" in labels(answer)
    answer = scans(room, off)
    assert answer.word == "Put under weight." and "P1's clock is not running" in answer.next
    answer = scans(room, on)
    assert (answer.word, answer.next) == ("Weights on.", "1 sheet in P1. Right?")
    assert scans(room, COMMANDS["yes"]).word == "Counted."
    assert "may come out Saturday" in " ".join(scans(room, number).lines)
    room.wait(hours=25)
    answer = scans(room, number)
    assert answer.kind == "not-yet" and answer.next.startswith("Lift the weights of P1")
    assert scans(room, off).word == "Weights off."
    answer = scans(room, number)
    assert (answer.word, answer.next) == ("Taken out.", "Put it on the inspection shelf.")
    answer = presses(room, scans(room, number), "Passed")
    assert answer.word == "Inspected." and answer.next.startswith("Scan the shelf that it is filed on")
    answer = scans(room, room.code("shelf", "F1/3"))
    assert (answer.word, answer.next) == ("Filed.", "It is in F1, shelf 3. Take the slip out and bring it back.")
    answer = scans(room, number)
    assert answer.kind == "which-one" and "It is filed in F1, shelf 3." in answer.lines
    assert answer.ask is not None and answer.next.startswith("Put it back there")
    assert room.steps(number) == [
        "take-in", "lay-to-dry", "papers-changed", "pass-as-dry", "shelve", "take-up", "mount", "put-under-weight",
        "take-out", "inspect", "file",
    ]  # fmt: skip


def test_own_work_is_looked_at_on_a_later_day_also_at_one_screen(alone: Room) -> None:
    room = alone
    with transaction(room.database) as session:
        set_house_rule(session, "press_straps_h", 2, "as before", room.now)
        set_at_station(session, room.station[AT], adhesive_id=4)
    number = to_dry(room)
    for code in (number, number, room.code("off", "P1"), number, room.code("on", "P1")):
        scans(room, code)
    room.wait(hours=3)
    scans(room, room.code("off", "P1"))
    assert scans(room, number).word == "Taken out."
    refused = presses(room, scans(room, number), "Passed")
    assert refused.refusals[0]["code"] == "own-work" and refused.kind == "not-yet"
    room.wait(days=1)
    assert presses(room, scans(room, number), "Passed").word == "Inspected."


def test_filed_and_brought_back_with_a_reason(alone: Room) -> None:
    room, number = alone, out_of_the_press(alone)
    presses(room, scans(room, number), "Passed")
    scans(room, room.code("shelf", "F1/1"))
    asked = scans(room, number)
    assert room.stage(number) == "filed" and asked.carry["step"] == "bring-back"
    assert scans(room, number, step=Step.BRING_BACK, reason="a leaf is loose").word == "Brought back."
    assert room.stage(number) == "dry"


# -- the hands ----------------------------------------------------------------------------------------------------
def test_a_shelf_in_hand_from_another_stage_is_put_down_and_stops_nothing(alone: Room) -> None:
    room = alone
    scans(room, room.code("shelf", "F1/1"))
    number = to_dry(room)
    assert room.row(number)["cabinet_id"] is None and room.station_row(AT)["shelf_id"] is None
    scans(room, number)
    scans(room, number)
    scans(room, room.code("off", "P1"))
    scans(room, number)
    # The shelf of the next plant is scanned while the last sheet lies in its stack: nothing is written by it.
    assert scans(room, room.code("shelf", "M1/1")).lines == ("What is scanned next goes in M1, shelf 1.",)
    scans(room, room.code("on", "P1"))
    room.wait(hours=25)
    scans(room, room.code("off", "P1"))
    assert scans(room, number).word == "Taken out."
    assert room.row(number)["cabinet_id"] is None, "it never lay on the shelf that was in hand"


def test_a_shelf_in_hand_of_the_right_stage_takes_one_after_the_other(alone: Room) -> None:
    room = alone
    both = [room.new_number(), room.new_number()]
    for number in both:
        scans(room, number)
    scans(room, room.code("shelf", "M1/4"))
    for number in both:
        scans(room, number, step=Step.ARRIVE_DRY, facts={"dryness": True, "label": True})
    assert {room.row(number)["shelf_id"] for number in both} == {room.station_row(AT)["shelf_id"]} != {None}


def test_at_a_station_for_filing_a_wrong_shelf_is_still_said(room: Room) -> None:
    # There the shelf in hand is the one that was just scanned for these sheets.
    number = room.sheet_ready()
    room.scans(room.code("shelf", "M1/1"), "filing")
    room.wait(seconds=30)
    refused = room.scans(number, "filing", step=Step.FILE)
    assert "wrong-stage" in [each["code"] for each in refused.refusals]
    assert room.station_row("filing")["shelf_id"] is not None


def test_what_passed_is_filed_by_its_shelf_and_what_did_not_is_not(alone: Room) -> None:
    room, number = alone, out_of_the_press(alone)
    answer = scans(room, room.code("shelf", "F1/1"))
    assert room.stage(number) == "dry" and answer.lines == ("What is scanned next goes in F1, shelf 1.",)
    answer = scans(room, number)
    assert answer.lines == ("How is it?",)
    presses(room, answer, "Passed")
    # The shelf for filing was put down by the inspection: it is asked for anew.
    asked = scans(room, number)
    assert asked.lines == ("Where to?",) and labels(asked) == ["Look at it once more first"]
    assert scans(room, room.code("shelf", "F1/1")).word == "Filed."


def test_a_passed_sheet_can_be_looked_at_once_more(alone: Room) -> None:
    room, number = alone, out_of_the_press(alone)
    presses(room, scans(room, number), "Passed")
    again = presses(room, scans(room, number), "Look at it once more first")
    assert again.lines == ("How is it?",) and "Glued again" in labels(again)
    assert presses(room, again, "Glued again").word == "Re-glued."
    assert room.stage(number) == "mounted"


def test_put_back_another_sheet_and_unmounted_are_done_at_the_same_screen(alone: Room) -> None:
    room = alone
    number, other = to_dry(room), to_dry(room)
    scans(room, number)
    assert scans(room, room.code("shelf", "M1/3")).word == "Put back."
    scans(room, number)
    assert presses(room, scans(room, COMMANDS["another-sheet"]), "Yes").word == "Another sheet made."
    scans(room, number)
    assert room.stage(number) == "mounted"
    scans(room, other)
    assert presses(room, scans(room, COMMANDS["unmounted"]), "It goes in a packet").word == "Kept unmounted."
    assert room.stage(other) == "dry"


def test_one_that_was_passed_too_soon_goes_back_to_dry_by_its_card(alone: Room) -> None:
    room, number = alone, to_dry(alone)
    scans(room, number)
    assert scans(room, COMMANDS["damp"]).word == "Laid to dry."
    assert room.stage(number) == "drying" and room.row(number)["table_id"] is None
    again = scans(room, COMMANDS["damp"])
    assert again.kind == "not-yet" and "drying already" in again.lines[0]
    room.wait(days=9)
    presses(room, scans(room, number), "It is dry, the label is with it")
    scans(room, number)
    scans(room, number)
    glued = scans(room, COMMANDS["damp"])
    assert glued.kind == "stop" and room.stage(number) == "mounted"


def test_the_damp_card_wants_a_sheet_and_a_place_where_plants_are_dried(room: Room) -> None:
    assert "Scan the sheet first." in room.scans(COMMANDS["damp"], "table-2").lines
    room.scans(room.sheet_ready(), "table-1")
    assert "Nothing is laid to dry at this place." in room.scans(COMMANDS["damp"], "table-1").lines


def test_a_withdrawn_sheet_is_stopped_whatever_could_be_meant(alone: Room) -> None:
    room, number = alone, alone.new_number()
    scans(room, number)
    room.scans(number, who="hedda", step=Step.WITHDRAW, reason="sent in exchange")
    answer = scans(room, number)
    assert answer.kind == "stop" and answer.refusals[0]["code"] == "withdrawn"


def test_still_damp_is_said_in_the_same_question(alone: Room) -> None:
    room, number = alone, alone.new_number()
    scans(room, number)
    presses(room, scans(room, number), "Lay to dry")
    room.wait(days=8)
    answer = presses(room, scans(room, number), "Still damp")
    assert answer.kind == "not-yet" and answer.next.startswith("Lay it back to dry") and room.stage(number) == "drying"
