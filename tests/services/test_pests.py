"""A pest is seen: from any station, by whoever is there, on whatever it was; and what follows at once."""

from __future__ import annotations

import pytest

from app.db.engine import reading, transaction
from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from app.services.room import add_consignment
from tests.queries.looking import brought_dry, filed, label
from tests.room import STATIONS, Room
from tests.services.days import differences
from tests.services.pest_room import PEST, bundle, clean, is_clean, sighting, sightings

BAG = "Close it in a bag here. Do not carry it open through the room. Tell the manager."


@pytest.mark.parametrize("station", list(STATIONS))
def test_from_any_station_the_card_and_then_the_sheet(room: Room, station: str) -> None:
    number = room.sheet_ready()
    asked = room.scans(PEST, station)
    assert asked.kind == "which-one" and asked.next == BAG
    answer = room.scans(number, station)
    assert (answer.kind, answer.next) == ("stop", BAG)
    assert room.row(number)["holds"] == "quarantine" and room.steps(number)[-1] == Step.QUARANTINE
    assert [each.sheet_id for each in sightings(room)] == [room.row(number)["id"]]
    assert differences(room.database) == []


@pytest.mark.parametrize("station", list(STATIONS))
def test_the_sheet_and_then_the_card(room: Room, station: str) -> None:
    number = filed(room)
    room.scans(number, station)
    answer = room.scans(PEST, station)
    assert answer.kind == "stop" and room.row(number)["holds"] == "quarantine"
    assert room.stage(number) == "filed" and room.row(number)["cabinet_id"] is not None


def test_what_was_scanned_long_ago_is_asked_about_and_not_bagged(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1")
    room.wait(minutes=3)
    asked = room.scans(PEST, "table-1")
    assert asked.kind == "which-one" and room.row(number)["holds"] == ""
    answer = room.scans(COMMANDS["yes"], "table-1")
    assert answer.kind == "stop" and room.row(number)["holds"] == "quarantine"


def test_the_next_thing_after_a_sheet_and_its_card_is_asked_about(room: Room) -> None:
    one, other, third = room.sheet_ready(), room.sheet_ready(), room.sheet_ready()
    room.scans(one, "intake")
    room.scans(PEST, "intake")
    asked = room.scans(other, "table-1")
    assert asked.kind == "done"  # another station's work goes on
    asked = room.scans(third, "intake")
    assert asked.kind == "which-one" and len(asked.choices) == 2 and room.row(third)["holds"] == ""
    assert room.scans(third, "intake", facts={"pest_on": "yes"}).kind == "stop"
    assert room.row(third)["holds"] == room.row(one)["holds"] == "quarantine" and room.row(other)["holds"] == ""


def test_no_is_an_answer_and_the_work_goes_on(room: Room) -> None:
    one, other = room.sheet_ready(), room.sheet_ready()
    room.scans(one, "table-1")
    room.scans(PEST, "table-1")
    assert room.scans(other, "table-1").kind == "which-one"
    assert room.scans(other, "table-1", facts={"pest_on": "no"}).kind == "done"
    assert room.steps(other)[-1] == "take-up" and len(sightings(room)) == 1


def test_a_question_that_somebody_walked_away_from_bags_nothing(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(PEST, "table-1")
    room.wait(minutes=6)
    assert room.scans(number, "table-1").kind == "done" and sightings(room) == []


def test_nobody_there_is_told_to_bag_it_all_the_same(room: Room) -> None:
    with transaction(room.database) as session:
        from app.db.models import Attendance

        session.query(Attendance).delete()
    answer = room.scans(PEST, "table-1")
    assert answer.kind == "stop" and answer.next.startswith(BAG) and sightings(room) == []


def test_a_number_that_nobody_knows_is_kept_too(room: Room) -> None:
    room.scans(PEST, "intake")
    answer = room.scans(room.new_number(), "intake")
    assert (answer.kind, answer.next) == ("stop", BAG)
    assert sighting(room).sheet_id is None and "not been taken in" in sighting(room).what


def test_a_clean_cabinet_is_no_longer_clean_and_a_change_says_why(room: Room) -> None:
    number = filed(room)
    clean(room, "F1", "M1")
    answer = room.scans(number, "filing", step=Step.QUARANTINE)
    assert "F1 is no longer clean." in answer.lines
    assert is_clean(room, "F1") == (False, True) and is_clean(room, "M1") == (True, False)
    with reading(room.database) as session:
        from app.db.models import Change

        last = session.query(Change).order_by(Change.id.desc()).first()
        assert (last.what, last.old, last.new) == ("cleanness of F1", "clean", "not clean")
        assert last.why == "A pest was seen on it."


def test_a_sheet_on_a_table_takes_the_clean_from_where_it_was_fetched(room: Room) -> None:
    number = room.sheet_ready()
    clean(room, "M1")
    assert room.scans(number, "table-1").step == "take-up"
    room.scans(PEST, "table-1")
    assert room.row(number)["holds"] == "quarantine" and is_clean(room, "M1") == (False, True)


def test_a_shelf_holds_what_lies_on_it_and_a_cabinet_all_in_it(room: Room) -> None:
    on_one, on_two = room.sheet_ready(), room.sheet_ready()
    room.scans(on_two, "intake", step=Step.SHELVE, cabinet="M1", shelf="2")
    room.wait(minutes=5)
    room.scans(PEST, "press")
    answer = room.scans(room.code("shelf", "M1/2"), "press")
    assert answer.kind == "stop" and answer.moved == (on_two,) and room.row(on_one)["holds"] == ""
    from app.services.places import place_by_name

    with reading(room.database) as session:
        from sqlalchemy import select

        from app.db.models import Cabinet

        assert place_by_name(session, "M1", "").cabinet_id == sighting(room).cabinet_id
        code = session.execute(select(Cabinet.code).where(Cabinet.name == "M1")).scalar_one()
    room.wait(minutes=5)
    room.scans(PEST, "press")
    answer = room.scans(code, "press")
    assert answer.moved == (on_one,) and [each["number"] for each in answer.left] == [on_two]
    assert "in quarantine already" in answer.left[0]["why"]


def test_a_bundle_a_stack_and_a_consignment(room: Room) -> None:
    card, numbers = bundle(room, "Tray 4"), [room.new_number() for _ in range(3)]
    room.scans(card, "intake")
    for number in numbers:
        room.scans(number, "intake", step=Step.TAKE_IN)
    room.wait(minutes=5)
    room.scans(PEST, "drying")
    assert set(room.scans(card, "drying").moved) == set(numbers)
    laid = room.sheet_in("P1")
    room.wait(minutes=5)
    room.scans(PEST, "press")
    answer = room.weights("on", "P1")
    assert answer.moved == (laid,) and "straight into a bag" in answer.next
    assert room.row(laid)["stage"] == "under-press"
    with transaction(room.database) as session:
        consignment = add_consignment(session, "QM-7", "Quillmoor, trip 7")
    came = room.sheet_ready()
    label(room, came, consignment_id=consignment)
    room.wait(minutes=5)
    asked = room.scans(PEST, "intake")
    assert asked.ask is not None
    answer = room.scans(PEST, "intake", facts={asked.ask.name.removeprefix("facts."): "qm-7"})
    assert answer.kind == "stop" and answer.moved == (came,)
    assert sighting(room).consignment_id == consignment
    assert differences(room.database) == []


def test_an_inspection_may_end_with_stop_bag_it(room: Room) -> None:
    number = brought_dry(room)
    asked = room.scans(number, "inspection")
    assert "Stop, bag it: a pest" in [choice.label for choice in asked.choices]
    answer = room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "bag-it"})
    assert (answer.kind, answer.next) == ("stop", BAG)
    assert room.row(number)["holds"] == "quarantine" and room.row(number)["outcome"] is None
    assert len(sightings(room)) == 1


def test_a_learner_who_may_not_inspect_may_say_that_there_is_a_pest(room: Room) -> None:
    with transaction(room.database) as session:
        from app.services.room import set_house_rule

        set_house_rule(session, "sign_offs", 1, "we teach", room.now)
    number = brought_dry(room)
    assert room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}, who="piet").kind == "stop"
    answer = room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "bag-it"}, who="piet")
    assert answer.word == "Stop. Bag it." and room.row(number)["holds"] == "quarantine"


def test_the_treatment_of_before_no_longer_counts_and_undo_gives_it_back(room: Room) -> None:
    number = room.sheet_ready()
    treat(room, number)
    before = room.row(number)["treated_until"]
    answer = room.scans(number, "press", step=Step.QUARANTINE)
    row = room.row(number)
    assert (row["treated_until"], row["treated_left_s"], row["holds"]) == (None, None, "quarantine")
    assert answer.entry is not None
    room.undoes(answer.entry, "press")
    row = room.row(number)
    assert (row["treated_until"], row["holds"]) == (before, "")
    assert differences(room.database) == []


def test_what_is_missing_is_found_by_it(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "not-found"}, reason="not on its shelf")
    answer = room.scans(number, "press", step=Step.QUARANTINE)
    assert room.row(number)["holds"] == "quarantine"
    assert answer.kind == "stop" and differences(room.database) == []


def test_a_glued_sheet_still_goes_under_weight_and_is_told_to_come_out_into_a_bag(room: Room) -> None:
    number = room.sheet_mounted()
    answer = room.scans(number, "press", step=Step.QUARANTINE)
    assert "under weight" in answer.next
    assert room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1").kind == "done"
    room.weights("on", "P1")
    room.wait(hours=25)
    room.weights("off", "P1")
    out = room.takes_out(number)
    assert out.kind == "done" and "bag" in out.next and room.stage(number) == "dry"


def treat(room: Room, number: str) -> None:
    """It has been through the freezer: written by an entry, as the log is folded from nothing else."""
    from datetime import timedelta

    from app.services.custody import Writing, enter, standing_of
    from app.services.desk import ScanRequest
    from app.services.facts import sheet_by_number
    from app.services.opening import open_desk

    with transaction(room.database) as session:
        desk, _ = open_desk(session, ScanRequest("", "", room.station["intake"]), room.occasion)
        row = sheet_by_number(session, number)
        assert row is not None
        standing = standing_of(row)
        sets = {"treated_until": room.now + timedelta(days=30), "treated_left_s": 36000}
        enter(desk, row["id"], standing, Writing(Step.UNBAG, standing.stage, standing.place, sets))
