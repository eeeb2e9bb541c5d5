"""Where to walk for a sheet, said in one sentence, and what it says of those whose names are not for everybody."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlalchemy import insert, text, update

from app.db.engine import reading, transaction
from app.db.models import Bundle, FreezerLoad, Sheet, table_of
from app.domain.stages import Step
from app.queries.sheets import sheet_page
from app.services.away import send_out
from app.services.desk import ScanRequest
from app.services.scanning import once
from tests.queries.looking import filed, label, page_of
from tests.queries.plans import full_scans, plans_of
from tests.room import Room


def test_a_sheet_on_a_shelf_says_which_and_between_which_numbers_it_lies(room: Room) -> None:
    first, middle, last = (room.sheet_ready() for _ in range(3))
    assert page_of(room, middle).walk.begins == "In M1, shelf 1, between TQX 000001·N and TQX 000003·J"
    assert page_of(room, first).walk.to == "In M1, shelf 1, in front of TQX 000002·L"
    assert page_of(room, last).walk.to == "In M1, shelf 1, behind TQX 000002·L"


def test_filed_sheets_lie_by_their_names(room: Room) -> None:
    numbers = {plant: filed(room) for plant in ("Viola riviniana", "Alchemilla glabra", "Poa annua")}
    for plant, number in numbers.items():
        label(room, number, plant=plant)
    walk = page_of(room, numbers["Poa annua"]).walk
    assert walk.to == "In F1, shelf 1, between TQX 000002·L and TQX 000001·N"


def test_it_says_where_it_was_before_and_in_whose_hands_to_those_who_may_know(room: Room) -> None:
    number = room.sheet_ready()
    room.wait(minutes=10)
    room.scans(number, "table-1")
    walk = page_of(room, number).walk
    assert walk.begins == "On Mounting table 1; before that in M1, shelf 1"
    assert (walk.last_where, walk.last_at, walk.last_by) == ("Mounting table 1", room.now, ("Olwen Tarrant",))
    assert page_of(room, number, by_names=False).walk == replace(walk, last_by=())


def test_under_press_it_says_stack_and_layer(room: Room) -> None:
    room.weights("off", "P2")
    number, _ = room.sheet_in("P2"), room.sheet_in("P2")
    assert page_of(room, number).walk.begins == (
        "In stack P2, layer 1 of 2 from the bottom; before that on Mounting table 1"
    )


def test_one_that_is_out_says_with_whom_and_where_it_lay(room: Room) -> None:
    number = room.sheet_ready()
    request = ScanRequest(room.next_id(), number, worker_ids=(room.worker["hedda"],), reason="a second look")
    with transaction(room.database) as session:
        once(session, request, room.occasion, lambda desk: send_out(desk, "Dr Merrow", None), "out")
    assert page_of(room, number).walk.begins == "Out with Dr Merrow; before that in M1, shelf 1"
    # What the manager wrote on the page is nobody's hands.
    assert page_of(room, number).walk.last_by == ("Rosamund Ashgill",)


def test_one_that_is_missing_says_where_it_should_be(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "not-found"}, reason="not there")
    assert page_of(room, number).walk.to == "Not found; by the log it is in M1, shelf 1"


@pytest.mark.parametrize(
    ("dates", "words"),
    [
        ({}, "In bundle Bag 7, load Load 7, not yet in the freezer"),
        ({"put_in_at": True}, "In bundle Bag 7, load Load 7, in the freezer"),
        ({"put_in_at": True, "out_at": True}, "In bundle Bag 7, load Load 7, out of the freezer and still closed"),
        ({"put_in_at": True, "out_at": True, "opened_at": True}, "In bundle Bag 7"),
    ],
)
def test_in_a_bag_it_says_how_far_its_load_is(room: Room, dates: dict[str, bool], words: str) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        bundle = session.execute(
            insert(table_of(Bundle)).values(code="KB0000070", name="Bag 7", kind="bag").returning(table_of(Bundle).c.id)
        ).scalar_one()
        moments = dict.fromkeys(dates, room.now)
        session.execute(
            insert(table_of(FreezerLoad)).values(code="KL0000070", name="Load 7", bundle_id=bundle, **moments)
        )
        mine = update(table_of(Sheet)).where(table_of(Sheet).c.number == number)
        session.execute(mine.values(cabinet_id=None, shelf_id=None, bundle_id=bundle))
    assert page_of(room, number).walk.to == words


def test_one_that_nobody_placed_and_one_that_is_gone_say_so(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", manages=True, step=Step.WITHDRAW, reason="sent in exchange")
    assert page_of(room, number).walk.begins == "Out of the queue: sent in exchange; before that in M1, shelf 1"
    loose = room.new_number()
    room.scans(loose, "filing", step=Step.TAKE_IN)
    assert page_of(room, loose).walk.begins == "Nobody has said where it lies"


def test_the_neighbours_are_found_by_the_shelf_not_by_all_numbers(room: Room) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        session.execute(text("ANALYZE"))
    lines = plans_of(room.database, lambda session: sheet_page(session, number, room.now, room.zone))
    assert full_scans(lines, "sheet", "entry") == []
    assert not [line for line in lines if "sqlite_autoindex_sheet" in line and "number>" in line or "number<" in line]
    with reading(room.database) as session:
        assert sheet_page(session, number, room.now, room.zone) is not None
