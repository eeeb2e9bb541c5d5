"""Numbers that were not read right move no sheet by their number; shelves take what waits for them."""

from __future__ import annotations

import pytest
from sqlalchemy import update

from app.db.engine import transaction
from app.db.models import Collector, PlantName, Sheet
from app.domain.stages import Step
from tests.room import Room
from tests.services.days import codes, differences, done, pressed


@pytest.fixture
def two(room: Room) -> tuple[str, str]:
    """Two sheets ready for mounting whose labels differ."""
    numbers = (room.sheet_ready(), room.sheet_ready())
    with transaction(room.database) as session:
        session.add_all([
            PlantName(id=1, name="Silene dioica", search_key="silene dioica"),
            PlantName(id=2, name="Geum rivale", search_key="geum rivale"),
            Collector(id=1, name="M. Holroyd", search_key="m holroyd"),
        ])  # fmt: skip
        session.flush()
        for plant, (number, record) in enumerate(zip(numbers, ("141", "142"), strict=True), 1):
            known = {"plant_name_id": plant, "collector_id": 1, "record_number": record}
            session.execute(update(Sheet).where(Sheet.number == number).values(**known))
    return numbers


def misread(number: str) -> str:
    """The number with its check character read wrong."""
    return number[:-1] + ("X" if number[-1] != "X" else "Y")


def test_a_near_miss_moves_nothing_and_shows_what_it_could_have_been_by_label(room: Room, two: tuple[str, str]) -> None:
    asked = room.scans(misread(two[0]), "table-1", step=Step.TAKE_UP)
    assert (asked.kind, asked.status, codes(asked)) == ("which-one", 422, ["misread-number"])
    assert len(asked.choices) == 2, "at least two where two exist, none preferred"
    assert {choice.plant for choice in asked.choices} == {"Silene dioica", "Geum rivale"}
    assert all(choice.needs_fact for choice in asked.choices)
    assert [room.steps(number)[-1] for number in two] == ["arrive-dry", "arrive-dry"]


@pytest.mark.parametrize(("second", "may"), [("141", True), ("Silene dioica", True), ("dioica", True), ("holroyd", True),
                                              ("142", False), ("Geum rivale", False), ("14", False)])  # fmt: skip
def test_taking_one_asks_for_a_second_fact_off_its_label(
    room: Room, two: tuple[str, str], second: str, may: bool
) -> None:
    pick = {"read_as": two[0]}
    assert room.scans(misread(two[0]), "table-1", step=Step.TAKE_UP, facts=pick).ask is not None
    answer = room.scans(misread(two[0]), "table-1", step=Step.TAKE_UP, facts={**pick, "second": second})
    assert (answer.kind == "done") is may
    assert [row["facts"].get("read_with_help") for row in room.log(two[0])][2:] == ([True] if may else [])
    assert room.steps(two[1])[-1] == "arrive-dry"


def test_a_sheet_that_was_not_offered_is_not_taken(room: Room, two: tuple[str, str]) -> None:
    far = [room.sheet_ready() for _ in range(12)][-1]
    answer = room.scans(misread(two[0]), "table-1", step=Step.TAKE_UP, facts={"read_as": far, "second": "141"})
    assert codes(answer) == ["misread-number"] and room.steps(far)[-1] == "arrive-dry"


@pytest.mark.parametrize("part", [slice(None, -1), slice(3, None), slice(3, -1), slice(8, -1)])
def test_a_part_of_a_number_is_only_ever_confirmed(room: Room, two: tuple[str, str], part: slice) -> None:
    typed = two[0][part]
    asked = room.scans(typed, "table-1", step=Step.TAKE_UP)
    assert asked.kind == "which-one" and two[0] in [choice.value for choice in asked.choices]
    assert room.steps(two[0])[-1] == "arrive-dry"
    done(room.scans(typed, "table-1", step=Step.TAKE_UP, facts={"read_as": two[0]}))
    assert room.steps(two[0])[-1] == "take-up" and room.steps(two[1])[-1] == "arrive-dry"


def test_every_wrong_check_character_moves_no_sheet(room: Room, two: tuple[str, str]) -> None:
    for wrong in set("0123456789ABCDEFGHJKLMNPQRSTUVWXYZ") - {two[0][-1]}:
        assert room.scans(two[0][:-1] + wrong, "table-1", step=Step.TAKE_UP).kind != "done"
    assert [room.steps(number)[-1] for number in two] == ["arrive-dry", "arrive-dry"]


# -- shelves ------------------------------------------------------------------------------------------------------
def test_a_sheet_taken_up_is_put_back_by_scanning_the_shelf(room: Room) -> None:
    number = room.sheet_ready()
    done(room.scans(number, "table-1"))
    back = done(room.scans(room.code("shelf", "M1/3"), "table-1"))
    assert back.step == "put-back" and "M1, shelf 3" in back.next
    assert room.row(number)["table_id"] is None and room.row(number)["shelf_id"] is not None
    assert codes(room.scans(number, "table-2", step=Step.MOUNT)) == ["wrong-stage"], "it is on no table now"


def test_a_shelf_of_another_stage_does_not_take_it(room: Room) -> None:
    number = room.sheet_ready()
    done(room.scans(number, "table-1"))
    assert codes(room.scans(room.code("shelf", "F1/3"), "table-1")) == ["wrong-cabinet"]
    assert room.row(number)["table_id"] == room.station["table-1"]


def test_filing_waits_for_the_shelf_and_files_nothing_else_onto_it(room: Room) -> None:
    number, other = pressed(room), pressed(room, "P2")
    room.wait(hours=24)
    for stack, sheet in (("P1", number), ("P2", other)):
        room.weights("off", stack)
        done(room.takes_out(sheet))
        done(room.scans(sheet, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}))
    assert codes(room.scans(number, "filing")) == ["no-cabinet"]
    assert room.stage(number) == "dry"
    filed = done(room.scans(room.code("shelf", "F1/2"), "filing"))
    assert filed.step == "file" and (room.stage(number), room.stage(other)) == ("filed", "dry")
    room.wait(seconds=30)
    assert done(room.scans(room.code("shelf", "F1/2"), "filing")).step == "", (
        "nothing waits: it only says what comes next"
    )
    assert differences(room.database) == []
