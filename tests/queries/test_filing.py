"""The filing round: who is on it and where it goes by the log, what stays, full folders, and what is done already."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import update

from app.db.engine import reading, transaction
from app.db.models import PlantName, Sheet, Shelf
from app.domain.stages import Stage, Step
from app.queries.filing import NOWHERE, Round, filing_round, round_rows
from app.services.filing import set_families
from app.services.room import add_cabinet, set_house_rule
from tests.queries.looking import brought_dry, label
from tests.room import Room
from tests.services.days import differences, done
from tests.services.freezer import Freezers


def the_round(room: Room, **more: int) -> Round:
    with reading(room.database) as session:
        return filing_round(session, room.now, room.zone, **more)


def passed(room: Room, plant: str = "", family: str = "", **more: str) -> str:
    """A sheet that waits to be filed, with this name on it."""
    number = brought_dry(room)
    done(room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}))
    if plant:
        label(room, number, plant, **more)
        with transaction(room.database) as session:
            session.execute(update(PlantName).where(PlantName.name == plant).values(family=family or None))
    return number


def filed(room: Room, plant: str, family: str, cabinet: str = "F1", shelf: str = "1") -> str:
    number = passed(room, plant, family)
    done(room.scans(number, "filing", step=Step.FILE, cabinet=cabinet, shelf=shelf))
    return number


@pytest.fixture
def collection(room: Room) -> Room:
    """A room with a second cabinet, in which grasses and roses were filed some days ago."""
    with transaction(room.database) as session:
        add_cabinet(session, "F2", Stage.FILED, room.now, shelves=4)
    filed(room, "Poa annua", "Poaceae", "F2", "3")
    filed(room, "Poa trivialis", "Poaceae", "F2", "4")
    filed(room, "Poa trivialis", "Poaceae", "F2", "4")
    filed(room, "Rosa canina", "Rosaceae", "F1", "2")
    room.wait(days=2)
    return room


def placed(found: Round) -> list[tuple[str, str, str, str]]:
    return [(group.where, line.plant, line.shelf, line.by) for group in found.groups for line in group.lines]


def test_each_goes_where_its_name_lies_or_else_its_genus_or_else_its_family(collection: Room) -> None:
    for plant, family in (("Poa annua", "Poaceae"), ("Poa pratensis", "Poaceae"), ("Briza media", "Poaceae"), ("Rubus idaeus", "Rosaceae"),
                          ("Viola alba", "Violaceae"), ("Poa", "Poaceae")):  # fmt: skip
        passed(collection, plant, family)
    passed(collection)
    found = the_round(collection)
    # By hand: F1 before F2 as one walks; two of the genus Poa lie on shelf 4, one on shelf 3; of violets nothing is filed.
    assert placed(found) == [
        ("Cabinet F1", "Rubus idaeus", "2", "Rosaceae"),
        ("Cabinet F2", "Briza media", "4", "Poaceae"),
        ("Cabinet F2", "Poa annua", "3", "Poa annua"),
        ("Cabinet F2", "Poa pratensis", "4", "Poa"),
        ("Cabinet F2", "Poa", "4", "Poa"),
        (NOWHERE, "Viola alba", "", ""),
        (NOWHERE, "", "", ""),
    ]
    notes = [line.notes for group in found.groups for line in group.lines]
    assert notes[4] == ("no name yet: only its genus",) and notes[6] == ("no name yet",)
    assert (found.left, found.done, found.matching) == (7, 0, 7)


def test_the_rooms_own_order_of_families_holds_within_a_cabinet(collection: Room) -> None:
    filed(collection, "Carex flacca", "Cyperaceae", "F2", "1")
    collection.wait(days=1)
    passed(collection, "Carex nigra", "Cyperaceae")
    passed(collection, "Poa nemoralis", "Poaceae")
    assert [each[1] for each in placed(the_round(collection))] == ["Carex nigra", "Poa nemoralis"]
    with transaction(collection.database) as session:
        set_families(
            session, "Poaceae\n\n Cyperaceae \n", collection.now, collection.worker["hedda"], "as it was set up"
        )
    assert [each[1] for each in placed(the_round(collection))] == ["Poa nemoralis", "Carex nigra"]


def test_only_what_may_be_filed_is_on_it(collection: Room) -> None:
    room = collection
    goes = passed(room, "Poa annua", "Poaceae")
    held, out, mending, unseen = (passed(room, "Poa annua", "Poaceae") for _ in range(4))
    done(room.scans(held, who="hedda", step=Step.PUT_HOLD, facts={"hold": "name-query"}, reason="is it?"))
    done(
        room.scans(
            out, who="hedda", step=Step.PUT_HOLD, facts={"hold": "out", "with_whom": "the reading room"}, reason="lent"
        )
    )
    room.wait(minutes=1)
    done(room.scans(mending, "inspection", step=Step.INSPECT, facts={"outcome": "to-be-mended"}))
    brought_dry(room)
    with transaction(room.database) as session:
        session.execute(update(Sheet).where(Sheet.number == unseen).values(treated_until=room.now + timedelta(days=1)))
        set_house_rule(session, "treat_before_filing", 1, "pests", room.now)
    found = the_round(room)
    assert [line.number for group in found.groups for line in group.lines] == [unseen] and found.matching == 1
    with transaction(room.database) as session:
        set_house_rule(session, "treat_before_filing", 0, "no freezer", room.now)
    assert {line.number for group in the_round(room).groups for line in group.lines} == {goes, unseen}


def test_a_specimen_of_which_another_sheet_is_not_ready_stays_and_says_where_that_is(room: Room) -> None:
    first = room.sheet_ready()
    done(room.scans(first, "table-1", step=Step.TAKE_UP))
    second = str(room.scans(first, "table-1", step=Step.ANOTHER_SHEET).slip)
    done(room.scans(first, "table-1", step=Step.MOUNT))
    done(room.scans(first, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
    room.weights("on", "P1")
    room.wait(hours=25)
    room.weights("off", "P1")
    done(room.takes_out(first))
    done(room.scans(first, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}))
    found = the_round(room)
    assert found.groups == () and found.left == 0
    assert [line.number for line in found.stays] == [first]
    assert "is ready for mounting." in found.stays[0].why and second[3:9] in found.stays[0].why
    # The scan would say the same.
    assert [each["code"] for each in room.scans(first, "filing", step=Step.FILE, cabinet="F1", shelf="1").refusals] == [
        "specimen-incomplete"
    ]


def test_an_untreated_sheet_for_a_clean_cabinet_stays_where_the_house_treats(collection: Room) -> None:
    room = collection
    number = passed(room, "Poa annua", "Poaceae")
    with transaction(room.database) as session:
        add_cabinet(session, "F3", Stage.FILED, room.now, shelves=1, is_clean=True)
    filed(room, "Viola alba", "Violaceae", "F3", "1")
    clean = passed(room, "Viola alba", "Violaceae")
    assert the_round(room).left == 2 and the_round(room).stays == ()
    with transaction(room.database) as session:
        set_house_rule(session, "treat_before_mounting", 1, "pests", room.now)
    found = the_round(room)
    assert [line.number for line in found.stays] == [clean] and found.stays[
        0
    ].why == "It is not treated, and F3, shelf 1 is clean."
    assert [line.number for group in found.groups for line in group.lines if line.filed_at is None] == [number]


def test_a_full_folder_a_full_shelf_and_a_bulky_sheet_are_said(collection: Room) -> None:
    room = collection
    with transaction(room.database) as session:
        set_house_rule(session, "folder_sheets", 2, "thin folders", room.now)
        session.execute(update(Shelf).where(Shelf.cabinet_id == 5, Shelf.name == "4").values(capacity=2))
    for name in ("Poa annua", "Poa annua", "Poa annua", "Poa trivialis"):
        passed(room, name, "Poaceae", collector="Ash", record_number="1")
    with transaction(room.database) as session:
        session.execute(update(Sheet).where(Sheet.stage == Stage.DRY, Sheet.id % 2 == 0).values(bulk="bulky"))
    lines = [line for group in the_round(room).groups for line in group.lines]
    # One Poa annua lies there: the first fills its folder, the second begins one, the third lies in that one.
    folders = [[note for note in line.notes if "folder:" in note] for line in lines]
    assert folders == [[], ["start a new folder: 2 lie there"], [], ["start a new folder: 2 lie there"]]
    assert "the shelf is full by the log" in lines[3].notes and not any(
        "full" in note for line in lines[:3] for note in line.notes
    )
    assert sum("bulky: on top in its folder" in line.notes for line in lines) == 2


def test_what_was_filed_today_is_marked_and_says_where_else_its_like_lies(collection: Room) -> None:
    room = collection
    here, there, left = (passed(room, "Poa annua", "Poaceae") for _ in range(3))
    done(room.scans(here, "filing", step=Step.FILE, cabinet="F2", shelf="3"))
    done(room.scans(there, "filing", step=Step.FILE, cabinet="F1", shelf="1"))
    found = the_round(room)
    lines = {line.number: (group.where, line) for group in found.groups for line in group.lines}
    assert lines[here][1].filed_at == room.now and lines[here][1].notes == ()
    assert lines[there][0] == "Cabinet F1" and lines[there][1].notes == ("its like lies in F2, shelf 3",)
    assert lines[left][1].filed_at is None and (found.left, found.done) == (1, 2)
    assert [group.left for group in found.groups] == [0, 1]
    # Undone, it is left again; tomorrow nothing of it is shown.
    done(room.takes_back(room.log(there)[-1]["id"], "the wrong slip was scanned"))
    assert (the_round(room).left, the_round(room).done) == (2, 1)
    room.wait(days=1)
    assert the_round(room).done == 0 and differences(room.database) == []


def test_the_scan_of_filing_says_that_its_like_lies_elsewhere_and_that_a_folder_is_full(collection: Room) -> None:
    room = collection
    with transaction(room.database) as session:
        set_house_rule(session, "folder_sheets", 2, "thin folders", room.now)
    at_home, second, astray = (passed(room, "Poa trivialis", "Poaceae") for _ in range(3))
    first = done(room.scans(at_home, "filing", step=Step.FILE, cabinet="F2", shelf="4"))
    assert "Start a new folder: by the log 2 sheets of Poa trivialis lie there already." in first.lines
    room.wait(minutes=1)
    into_it = done(room.scans(second, "filing", step=Step.FILE, cabinet="F2", shelf="4"))
    assert into_it.lines and not any("folder" in line or "By the log" in line for line in into_it.lines)
    room.wait(minutes=1)
    answer = done(room.scans(astray, "filing", step=Step.FILE, cabinet="F1", shelf="1"))
    assert "By the log, Poa trivialis lies in F2, shelf 4. If this is where it belongs, leave it here." in answer.lines
    assert room.stage(astray) == "filed"


def test_a_table_of_it_names_what_is_left(collection: Room) -> None:
    passed(collection, "Poa annua", "Poaceae", collector="Ash", record_number="12")
    with reading(collection.database) as session:
        rows = list(round_rows(session, collection.now, collection.zone))
    assert rows[0][:5] == ("catalogNumber", "scientificName", "family", "recordedBy", "recordNumber")
    assert rows[1][1:] == ("Poa annua", "Poaceae", "Ash", "12", "", "F2", "3", "") and len(rows) == 2


def test_a_long_round_says_how_many_there_are(collection: Room) -> None:
    numbers = [passed(collection, "Poa annua", "Poaceae") for _ in range(3)]
    found = the_round(collection, most=2)
    assert found.matching == 3 and found.left == 2
    assert {line.number for group in found.groups for line in group.lines} == set(numbers[:2])


@pytest.mark.parametrize(
    ("text", "why", "says"),
    [("Poaceae\nPoaceae", "x", "twice"), ("Poaceae\npoàceae", "x", "twice"), ("Poaceae", " ", "Say why"), ("...", "x", "no name"),
     ("x" * 81, "x", "no name"), ("\n".join(f"Fam{chr(97 + n // 26 % 26)}{chr(97 + n % 26)}{n}" for n in range(1001)), "x", "1,000")],
)  # fmt: skip
def test_a_list_of_families_that_cannot_be_is_refused_with_a_sentence(
    room: Room, text: str, why: str, says: str
) -> None:
    with transaction(room.database) as session, pytest.raises(ValueError, match=says):
        set_families(session, text, room.now, room.worker["hedda"], why)


def test_a_sheet_in_the_freezer_is_not_on_the_round(collection: Room) -> None:
    freezers = Freezers(collection)
    goes, cold = passed(collection, "Poa annua", "Poaceae"), passed(collection, "Poa annua", "Poaceae")
    collection.wait(minutes=1)
    freezers.frozen(cold)
    assert [line.number for group in the_round(collection).groups for line in group.lines] == [goes]
