"""The page of what comes first: wanted sheets, and the order of consignments moved by trainer and manager."""

from __future__ import annotations

import re
from datetime import date

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Consignment, table_of
from app.services.order import set_order
from app.services.room import add_consignment
from tests.queries.looking import label, wanted
from tests.room import Room
from tests.web.conftest import ClientAs, send, words

CONSIGNMENT = table_of(Consignment)


@pytest.fixture
def parcels(room: Room) -> Room:
    """Two consignments with a place and one without, each with a sheet that waits; one code is not made for an address."""
    for code in ("A", "B/2", "C"):
        number = room.sheet_ready()
        with transaction(room.database) as session:
            consignment_id = add_consignment(session, code, f"Parcel {code}")
            if code != "C":
                set_order(session, code, "last", room.now)
        label(room, number, consignment_id=consignment_id)
    return room


def places(room: Room) -> dict[str, int]:
    with reading(room.database) as session:
        return {row.code: row.place_in_order for row in session.execute(select(CONSIGNMENT))}


def test_the_order_is_shown_with_how_far_each_is(parcels: Room, client_as: ClientAs) -> None:
    said = words(client_as("reader").get("/order"))
    assert [said.index(f"Parcel {code}") for code in ("A", "B/2", "C")] == sorted(
        said.index(f"Parcel {code}") for code in "ABC"
    )
    assert said.count("0 of 1 sheet filed") == 3 and said.count("1 ready for mounting") == 3
    assert "Place 1" in said and "Place 2" in said and "No place" in said


@pytest.mark.parametrize("role", ["trainer", "manager"])
def test_a_consignment_is_moved_by_its_buttons(parcels: Room, client_as: ClientAs, role: str) -> None:
    browser = client_as(role)
    page = browser.get("/order").text
    assert re.findall(r'action="/order/([^"]+)"', page) == ["A", "A", "B/2", "B/2", "B/2", "C", "C"]
    assert re.findall(r'name="move" value="(\w+)"', page) == ["down", "none", "up", "first", "none", "first", "last"]
    answer = send(browser, "/order/B/2", move="up")
    assert answer.status_code == 302 and answer.location == "/order"
    assert places(parcels) == {"A": 2, "B/2": 1, "C": 0} and "B/2 is moved." in words(browser.get("/order"))
    send(browser, "/order/C", move="first")
    send(browser, "/order/A", move="none")
    assert places(parcels) == {"A": 0, "B/2": 2, "C": 1}
    send(browser, "/order/C", move="up")
    assert "C stands there already." in words(browser.get("/order"))


def test_others_see_the_order_and_have_no_buttons(parcels: Room, client_as: ClientAs, station_client: ClientAs) -> None:
    for browser in (client_as("reader"), client_as("volunteer"), station_client("table-1")):
        text = browser.get("/order").text
        assert "Parcel A" in text and 'action="/order/' not in text
    assert send(client_as("volunteer"), "/order/A", move="down").status_code == 403
    assert places(parcels)["A"] == 1


@pytest.mark.parametrize(("code", "move"), [("nowhere", "up"), ("A", "sideways"), ("A", "")])
def test_what_cannot_be_meant_is_said_on_the_page(parcels: Room, client_as: ClientAs, code: str, move: str) -> None:
    answer = send(client_as("manager"), f"/order/{code}", move=move)
    assert answer.status_code == 422 and 'role="alert"' in answer.text
    assert places(parcels) == {"A": 1, "B/2": 2, "C": 0}


def test_late_wishes_are_marked_and_stand_first(room: Room, client_as: ClientAs) -> None:
    later, late = room.sheet_ready(), room.sheet_ready()
    wanted(room, later, "the loan", needed_on=date(2026, 12, 24))
    wanted(room, late, "the open day", needed_on=date(2026, 11, 26))
    room.wait(days=2)
    browser = client_as("manager")
    said = words(browser.get("/order"))
    assert said.index("the open day") < said.index("the loan") and said.count(" late") == 1
    assert browser.get("/order").text.count('class="row-stalled"') == 1 and "by Hedda Brackwater" in said


def test_an_empty_room_says_how_a_sheet_is_asked_for(client_as: ClientAs) -> None:
    said = words(client_as("reader").get("/order"))
    assert "Nobody has asked for a sheet." in said and "No consignment waits here." in said
