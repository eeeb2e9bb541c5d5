"""No number, one number twice, one specimen on two sheets, two plants in one fold: each walked to its end, with no pencil."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Hazard, Specimen, table_of
from app.domain.answer import Answer
from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from app.services.room import add_consignment, add_hazard, set_at_station
from tests.queries.looking import found_by, label, page_of
from tests.room import Room
from tests.services.days import card, codes, differences, done


def says(room: Room, name: str, at: str, **facts: str) -> Answer:
    """A command card is scanned, or what it asked is answered."""
    return room.scans(card(name), at, facts=facts)


# -- without a number -------------------------------------------------------------------------------------------------


def test_a_sheet_without_a_number_is_found_among_the_missing_first(room: Room) -> None:
    seen, missing, other = (room.sheet_ready() for _ in range(3))
    for number, plant in ((seen, "Geranium sylvaticum"), (missing, "Geranium sylvaticum"), (other, "Poa annua")):
        label(room, number, plant=plant, collector="A. Brackwater", record_number="118")
    room.scans(missing, who="hedda", step=Step.PUT_HOLD, facts={"hold": "not-found"}, reason="not on its shelf")
    room.wait(hours=1)
    assert says(room, "no-number", "table-1").ask is not None
    asked = says(room, "no-number", "table-1", on_label="Geranium sylvatcum")
    assert [choice.value for choice in asked.choices] == [missing, seen, "new"]
    assert asked.choices[0].detail.startswith("not found") and asked.carry["facts.on_label"] == "Geranium sylvatcum"
    found = done(says(room, "no-number", "table-1", on_label="Geranium sylvatcum", **{"is": missing}))
    assert found.word == "Found." and found.slip == missing and "Print the slip" in found.next
    assert room.row(missing)["holds"] == "" and room.log(missing)[-1]["facts"]["read_with_help"]
    assert differences(room.database) == []


def test_one_that_was_not_missing_is_known_again_and_nothing_is_written(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, plant="Poa annua", collector="A. Brackwater", record_number="118")
    entries = len(room.log(number))
    room.wait(minutes=5)
    known = done(says(room, "no-number", "filing", on_label="Brackwater 118", **{"is": number}))
    assert known.word == "Known." and "M1, shelf 1" in known.lines[0] and known.slip == number
    assert len(room.log(number)) == entries and page_of(room, number).seen_where == "Filing"


@pytest.mark.parametrize("said", ["Poa annua", "poa anua", "Brackwater 118", "118", "Brackwater", "Poa annua 118"])
def test_the_label_may_say_a_name_a_collector_or_a_field_number(room: Room, said: str) -> None:
    number = room.sheet_ready()
    label(room, number, plant="Poa annua", collector="A. Brackwater", record_number="118")
    label(room, room.sheet_ready(), plant="Viola riviniana", collector="T. Oxley", record_number="9")
    asked = says(room, "no-number", "intake", on_label=said)
    assert [choice.value for choice in asked.choices] == [number, "new"]


def test_where_nothing_can_be_read_what_is_missing_is_shown(room: Room) -> None:
    missing, _ = room.sheet_ready(), room.sheet_ready()
    room.scans(missing, who="hedda", step=Step.PUT_HOLD, facts={"hold": "not-found"}, reason="gone")
    asked = says(room, "no-number", "filing", on_label="-")
    assert [choice.value for choice in asked.choices] == [missing, "new"]


def test_one_that_is_none_of_them_gets_a_number_a_slip_and_a_hold(room: Room) -> None:
    label(room, room.sheet_ready(), plant="Poa annua")
    asked = says(room, "no-number", "press", on_label="Poa annua 31a")
    assert [choice.label for choice in asked.choices] == ["Give it a number"]
    made = done(says(room, "no-number", "press", on_label="Poa annua 31a", **{"is": "new"}))
    row = room.row(made.slip)
    assert (row["stage"], row["holds"], row["record_number"]) == ("intake", "number-query", "31a")
    page = page_of(room, made.slip)
    assert page.plant == "Poa annua" and "On its label: Poa annua 31a" in page.log[0].sentence
    # What is in the hand is glued, perhaps: the press takes it, whatever is queried.
    assert "press" in made.next and room.scans(made.slip, "press").lines[0].startswith("Just glued")
    assert codes(room.scans(made.slip, "table-1", step=Step.TAKE_UP)) == ["wrong-stage"]
    assert differences(room.database) == []


def test_in_the_consignment_in_hand_the_likely_stand_before_others(room: Room) -> None:
    with transaction(room.database) as session:
        add_consignment(session, "QF", "Quillmoor Fells")
    first, mine = room.sheet_ready(), room.sheet_ready()
    for number in (first, mine):
        label(room, number, plant="Poa annua")
    label(room, mine, consignment="Quillmoor Fells")
    with transaction(room.database) as session:
        set_at_station(session, room.station["intake"], consignment_id=room.row(mine)["consignment_id"])
    assert [choice.value for choice in says(room, "no-number", "intake", on_label="Poa").choices][:2] == [mine, first]


def test_a_sheet_that_was_not_offered_is_not_taken_and_nobody_writes_unsigned(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, plant="Poa annua")
    refused = says(room, "no-number", "table-1", on_label="Viola", **{"is": number})
    assert codes(refused) == ["misread-number"]
    room.scans(card("done"), "table-1")
    assert codes(says(room, "no-number", "table-1", on_label="x", **{"is": "new"})) == ["not-signed-in"]


# -- one number twice -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("known", "held"), [("yes", ""), ("no", "number-query")])
def test_of_two_with_one_number_one_keeps_it_and_the_other_gets_its_own(room: Room, known: str, held: str) -> None:
    number = room.sheet_ready()
    label(room, number, plant="Poa annua", consignment="Quillmoor")
    room.scans(number, "filing")
    asked = says(room, "same-number", "filing")
    assert "Poa annua" in asked.lines[0] and len(asked.choices) == 2
    told = done(room.scans(number, "filing", step=Step.TELL_APART, facts={"known": known}))
    assert room.row(number)["stage"] == "ready-for-mounting" and room.row(number)["shelf_id"] is not None
    other = room.row(told.slip)
    assert (other["stage"], other["holds"], room.row(number)["holds"]) == ("intake", held, held)
    assert other["consignment_id"] == room.row(number)["consignment_id"] and other["plant_name_id"] is None
    assert "Scan that one next" in told.next and ("both are held" in " ".join(told.lines)) is (known == "no")
    assert "told apart from another sheet with its number" in page_of(room, number).log[-1].sentence
    assert "which another sheet keeps" in page_of(room, told.slip).log[0].sentence
    done(room.scans(told.slip, "intake", step=Step.ARRIVE_DRY, facts={"dryness": True, "label": True}))
    assert differences(room.database) == []


def test_the_other_of_the_two_may_be_glued_already(room: Room) -> None:
    number = room.sheet_mounted()
    told = done(room.scans(number, "press", step=Step.TELL_APART, facts={"known": "no"}))
    room.weights("off", "P1")
    laid = room.scans(
        told.slip, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", already_done=True, facts={"glued_by": "W02"}
    )
    assert laid.kind == "done" and room.stage(told.slip) == "under-press"
    assert room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1").kind == "done"


def test_told_apart_by_mistake_is_undone_on_both(room: Room) -> None:
    number = room.sheet_ready()
    told = done(room.scans(number, "table-1", step=Step.TELL_APART, facts={"known": "no"}))
    assert told.entry is not None
    done(room.undoes(told.entry))
    assert room.row(number)["holds"] == "" and room.row(told.slip)["stage"] is None
    assert differences(room.database) == []


# -- one specimen on several sheets -----------------------------------------------------------------------------------


def test_at_intake_a_specimen_in_two_folds_gets_two_numbers_and_is_filed_together(room: Room) -> None:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    assert says(room, "another-sheet", "intake").choices[0].value == "another-sheet"
    made = done(room.scans(number, "intake", step=Step.ANOTHER_SHEET))
    assert "2 of 2" in made.lines[-1] and "other fold" in made.next and room.stage(made.slip) == "intake"
    for each in (number, made.slip):
        done(room.scans(each, "intake", step=Step.ARRIVE_MOUNTED, facts={"dryness": True}))
    done(room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}))
    other = room.scans(made.slip, "table-2", step=Step.TAKE_UP)
    assert other.kind != "done"
    assert done(room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="1"))
    assert differences(room.database) == []


def test_two_sheets_with_numbers_are_said_to_be_one_specimen(room: Room) -> None:
    first, second = room.sheet_ready(), room.sheet_ready()
    room.scans(first, "filing")
    assert says(room, "same-specimen", "filing").next == "Scan the other sheet."
    again = room.scans(first, "filing")
    assert "same sheet" in again.lines[0]
    joined = done(room.scans(second, "filing"))
    assert [line for line in joined.lines if "2 of 2" in line] and "filed together" in joined.next
    assert page_of(room, first).others[0].number == second
    assert [hit.part for hit in found_by(room, second)] == ["2 of 2", "1 of 2"]
    room.scans(first, "filing")
    says(room, "same-specimen", "filing")
    known = done(room.scans(second, "filing"))
    assert known.word == "Known." and "already" in known.lines[0]
    assert differences(room.database) == []


def test_one_part_is_not_filed_while_the_other_is_still_worked_on(room: Room) -> None:
    first, second = room.sheet_ready(), room.new_number()
    room.scans(second, "intake", step=Step.TAKE_IN)
    room.scans(second, "intake", step=Step.ARRIVE_MOUNTED, facts={"dryness": True})
    room.scans(second, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    room.scans(first, "filing")
    says(room, "same-specimen", "filing")
    joined = done(room.scans(second, "filing"))
    refused = room.scans(second, "filing", step=Step.FILE, cabinet="F1", shelf="1")
    assert codes(refused) == ["specimen-incomplete"]
    assert joined.entry is not None
    done(room.undoes(joined.entry, at="filing"))
    done(room.scans(second, "filing", step=Step.FILE, cabinet="F1", shelf="1"))


def test_a_further_sheet_that_was_undone_leaves_its_specimen(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    made = room.scans(number, "table-1", step=Step.ANOTHER_SHEET)
    assert made.entry is not None and page_of(room, number).part_words == "1 of 2"
    done(room.undoes(made.entry))
    assert page_of(room, number).part_words == "" and room.row(made.slip)["specimen_id"] is None
    with reading(room.database) as session:
        # One sheet alone is no specimen on several: it may become part of another.
        assert session.execute(select(Specimen.sheets)).scalars().all() == [0]
    assert room.row(number)["specimen_id"] is None


def test_sheets_of_two_specimens_are_not_joined_by_a_scan(room: Room) -> None:
    firsts = [room.sheet_ready(), room.sheet_ready()]
    for number in firsts:
        room.scans(number, "table-1", step=Step.TAKE_UP)
        room.scans(number, "table-1", step=Step.ANOTHER_SHEET)
    room.scans(firsts[0], "filing")
    says(room, "same-specimen", "filing")
    assert codes(room.scans(firsts[1], "filing")) == ["out-of-order"]


# -- two plants in one fold -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("stage", ["intake", "drying", "ready-for-mounting", "on a table"])
def test_before_glue_two_plants_are_parted_with_all_that_travels(room: Room, stage: str) -> None:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    if stage == "drying":
        room.scans(number, "drying", step=Step.LAY_TO_DRY, facts={"drying": "heated"})
    if stage in ("ready-for-mounting", "on a table"):
        room.scans(number, "intake", step=Step.ARRIVE_DRY, facts={"dryness": True}, cabinet="M1", shelf="1")
    label(room, number, plant="Poa annua", collector="A. Brackwater", record_number="118", locality="Fell End")
    with transaction(room.database) as session:
        add_hazard(session, "pins", room.now, sheet_id=room.row(number)["id"])
    if stage == "on a table":
        room.scans(number, "table-1", step=Step.TAKE_UP)
    room.scans(number, "filing")
    assert says(room, "two-plants", "filing").ask is not None
    parted = done(room.scans(number, "table-1", step=Step.DIVIDE, facts={"plant": "Poa alpina"}))
    old, new = room.row(number), room.row(parted.slip)
    same = ("collector_id", "record_number", "locality", "consignment_id", "stage", "method", "pressed_at", "fresh")
    assert {name: old[name] for name in same} == {name: new[name] for name in same}
    assert page_of(room, parted.slip).plant == "Poa alpina" and page_of(room, number).plant == "Poa annua"
    assert new["holds"] == "label-to-come" and old["holds"] == "" and new["specimen_id"] is None
    if stage == "on a table":
        # It is in no work yet: it waits for its label in the cabinet that the fold came from.
        assert new["table_id"] is None and new["cabinet_id"] == old["kept_in_id"] is not None
    with reading(room.database) as session:
        kinds = (
            session.execute(select(table_of(Hazard).c.kind).where(table_of(Hazard).c.sheet_id == new["id"]))
            .scalars()
            .all()
        )
    assert kinds == ["pins"] and "fold of its own" in parted.next
    assert "taken out of the fold of" in page_of(room, parted.slip).log[0].sentence
    assert differences(room.database) == []


def test_a_second_plant_that_nobody_knows_has_its_name_queried(room: Room) -> None:
    number = room.sheet_ready()
    parted = done(room.scans(number, "table-1", step=Step.DIVIDE, facts={"plant": "-"}))
    assert (
        room.row(parted.slip)["holds"] == "label-to-come name-query" and room.row(parted.slip)["plant_name_id"] is None
    )


def test_once_glued_it_is_noted_and_queried_and_goes_on_as_it_is(room: Room) -> None:
    number = room.sheet_mounted()
    room.scans(number, "filing")
    assert "not cut apart" in says(room, "two-plants", "filing").lines[0]
    noted = done(room.scans(number, "table-1", step=Step.DIVIDE, facts={"plant": "Poa alpina"}))
    assert noted.word == "Noted." and "Do not cut them apart. Lay it under weight" in noted.next
    assert room.row(number)["holds"] == "name-query" and room.stage(number) == "mounted"
    assert page_of(room, number).holds[0].why == "Two plants are glued on this sheet; the other is Poa alpina."
    again = done(room.scans(number, "table-1", step=Step.DIVIDE, facts={"plant": "Poa alpina"}))
    assert "already" in again.lines[0] and "Lay it under weight" in again.next
    room.weights("off", "P1")
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))


def test_a_fold_on_another_table_is_divided_there(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    assert codes(room.scans(number, "table-2", step=Step.DIVIDE)) == ["on-another-table"]


@pytest.mark.parametrize("name", ["same-number", "two-plants", "same-specimen", "another-sheet"])
def test_a_card_before_any_sheet_says_what_to_scan_first(room: Room, name: str) -> None:
    refused = says(room, name, "table-1")
    assert codes(refused) == ["out-of-order"] and refused.next == "Then scan this card."
    assert name in COMMANDS
