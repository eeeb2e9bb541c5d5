"""The brief of a sheet that is taken up: what there is to know, read off the room as it stands."""

from __future__ import annotations

from typing import Any

from sqlalchemy import update

from app.db.engine import transaction
from app.db.models import Consignment, Sheet, Specimen
from app.domain.answer import Answer
from app.domain.stages import Step
from app.services.room import add_hazard
from tests.queries.looking import label
from tests.room import Room
from tests.services.days import done
from tests.services.test_inspecting import dry


def taken_up(room: Room, number: str, table: str = "table-1") -> Answer:
    return done(room.scans(number, table, step=Step.TAKE_UP))


def written(room: Room, number: str, **columns: Any) -> None:
    """What is known of a sheet is written on it."""
    with transaction(room.database) as session:
        session.execute(update(Sheet).where(Sheet.number == number).values(**columns))


def test_cautions_come_apart_and_before_what_is_in_the_folder(room: Room) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        add_hazard(session, "spines", room.now, sheet_id=room.row(number)["id"])
    written(room, number, pieces=2, bulk="bulky", notes="fruit in a box of its own")
    answer = taken_up(room, number)
    assert answer.sheet is not None and answer.sheet.cautions == ("Spines: thick gloves.",)
    assert answer.lines == ("Bulky: straps or thread for the thick parts, and on top in the stack.",
                            "2 parts lie in the folder: all of them go on the sheet.",
                            "The collector's notes: fruit in a box of its own")  # fmt: skip
    assert answer.next == "Read the caution, then open the folder. Scan it again when it is mounted."


def test_the_other_sheets_of_a_specimen_are_told_with_where_they_are(room: Room) -> None:
    first = room.sheet_ready()
    taken_up(room, first)
    done(room.scans(first, "table-1", step=Step.ANOTHER_SHEET))
    second = room.log(first)[-1]["facts"]["new_number"]
    done(room.scans(first, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="3"))
    room.wait(minutes=1)
    # It was made at the table: it goes to a shelf, and is taken up from there.
    done(room.scans(second, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1"))
    room.wait(minutes=1)
    lines = taken_up(room, second).lines
    assert lines[0] == "Sheet 2 of 2 of this specimen."
    assert lines[1].startswith("The others: sheet 1, ") and lines[1].endswith(", in M1, shelf 3.")
    assert lines[2] == "Pencil “Sheet 2 of 2” just above the label."


def test_what_is_in_question_is_told_where_the_house_lets_it_be_mounted(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, step=Step.PUT_HOLD, who="hedda", reason="cf. repens", facts={"hold": "name-query"})
    room.wait(minutes=1)
    assert taken_up(room, number).lines == ("Name query: cf. repens.",)


def test_what_was_settled_about_the_consignment_and_the_specimen_is_told(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, consignment="Marsh survey")
    with transaction(room.database) as session:
        session.execute(update(Consignment).values(note="no glue on the mosses"))
        specimen = Specimen(exchange_at=room.now, exchange_why="third of three")
        session.add(specimen)
        session.flush()
        session.execute(update(Sheet).where(Sheet.number == number).values(specimen_id=specimen.id))
    assert taken_up(room, number).lines == ("Of its consignment: no glue on the mosses",
                                            "Free to go in exchange: third of three")  # fmt: skip


def test_a_sheet_that_came_back_tells_what_was_glued_and_found(room: Room) -> None:
    number = dry(room)
    facts = {"findings": ["loose-part@400,300 the lowest leaf", "label-crooked@810,900"]}
    done(room.scans(number, "inspection", step=Step.BACK_TO_TABLE, facts=facts, reason="starch shows through"))
    room.wait(minutes=5)
    lines = taken_up(room, number).lines
    # Glued on Wednesday at nine in London, and told on Thursday.
    assert (
        lines[0] == "It was glued before, Wednesday 09:00 with PVA, acid-free. Found wrong: loose part, label crooked."
    )
    assert set(lines[1:]) == {"The inspection noted: the lowest leaf.", "The inspection noted: starch shows through."}


def test_a_mounting_that_was_taken_back_is_no_mounting_before(room: Room) -> None:
    number = room.sheet_mounted()
    done(room.undoes(room.log(number)[-1]["id"]))
    done(room.scans(number, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1"))
    room.wait(minutes=1)
    assert taken_up(room, number).lines == ()
