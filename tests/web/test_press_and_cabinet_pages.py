"""The press room, each stack, and the cabinets."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from flask.testing import FlaskClient

from app.domain.hazards import DEFERS
from tests.room import Room
from tests.web.conftest import ClientAs, send, words


def test_the_press_room_says_what_may_come_out_now_and_what_next(room: Room, client_as: ClientAs) -> None:
    room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=4)
    room.sheet_in("P2")
    room.weights("on", "P2")
    room.wait(hours=20)
    said = words(client_as("reader").get("/press"))
    heads = [said.index(head) for head in ("May come out now", "Later today", "Tomorrow")]
    assert "P1: It may come out." in said[heads[0] : heads[1]] and "P2 13:00: 1 sheet" in said[heads[1] : heads[2]]


def test_nothing_moves_a_stack_with_its_weights_on_and_the_house_rules_come_first(
    room: Room, client_as: ClientAs
) -> None:
    for path in ("/press", "/press/P1"):
        said = words(client_as("volunteer").get(path))
        assert "Lift one piece at a time, and never move a stack with its weights on." in said and DEFERS in said


def test_a_stack_is_drawn_and_told_from_the_top_with_its_pressure_and_cards(room: Room, client_as: ClientAs) -> None:
    first, second = room.sheet_in("P1"), room.sheet_in("P1", bulk="bulky")
    room.weights("on", "P1")
    room.wait(hours=24)
    answer = client_as("reader").get("/press/P1")
    said = words(answer)
    assert said.rindex(second[3:9]) < said.rindex(first[3:9])
    assert "24 h 24 h now" in said.replace("·", "") and "PVA, acid-free, bulky" in said
    for side in ("on", "off"):
        code = room.code(side, "P1")
        assert f"{code[:2]} {code[2:6]}·{code[6]}" in said
    # p = m·g/A with 12 kg, the standard gravity of 9.80665 m/s² (3rd CGPM, 1901) and a sheet of 292 by 419 mm.
    assert f"{12 * 9.80665 / (0.292 * 0.419) / 1000:.2f} kPa" in said
    assert answer.text.count('class="pile-sheet') == 2 + 3


def test_the_pressure_is_none_while_the_weights_are_off(room: Room, client_as: ClientAs) -> None:
    room.sheet_in("P1")
    assert "none while the weights are off" in words(client_as("reader").get("/press/P1"))


@pytest.mark.parametrize("path", ["/press/P9", "/press/%3Cb%3E", "/cabinets/Z9", "/cabinets/M1?shelf=99"])
def test_a_place_that_is_not_there_is_said_to_be_none(client_as: ClientAs, path: str) -> None:
    answer = client_as("reader").get(path)
    assert answer.status_code == 404 and "There is no" in words(answer)


def test_a_cabinet_is_opened_by_shelf(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    browser = client_as("reader")
    assert "M1 1 ready for mounting" in words(browser.get("/cabinets"))
    for path, there in (("/cabinets/M1", True), ("/cabinets/M1?shelf=1", True), ("/cabinets/M1?shelf=2", False)):
        assert (number in browser.get(path).text) is there
    assert "Nothing is in here by the log." in words(browser.get("/cabinets/M1?shelf=2"))


def test_a_long_shelf_is_paged(room: Room, client_as: ClientAs) -> None:
    numbers = [room.sheet_ready() for _ in range(53)]
    browser = client_as("reader")
    first = browser.get("/cabinets/M1?shelf=1").text
    onward = next(part for part in first.split('"') if part.startswith("/cabinets/M1?") and "after=" in part)
    second = browser.get(onward.replace("&amp;", "&")).text
    assert sum(number in first for number in numbers) == 50 and sum(number in second for number in numbers) == 3


def test_the_manager_writes_up_weights_and_what_came_out_is_called_in_question(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=24, minutes=10)
    room.weights("off", "P1")
    room.wait(minutes=3)
    room.takes_out(number)
    room.wait(minutes=30)
    browser = client_as("manager")
    # London shows the same hour as UTC in November: the weights came off an hour before anybody scanned it.
    answer = send(
        browser,
        "/press/P1/late",
        state="off",
        happened_at="2026-11-26T08:10",
        hour="",
        worker="2",
        reason="the white board",
    )
    assert answer.status_code == 302
    assert "came out" in words(browser.get("/board")) and number[3:9] in words(browser.get("/board"))
    assert room.stage(number) == "dry"
    early = send(
        browser, "/press/P1/late", state="off", happened_at="2027-11-26T08:10", hour="", worker="2", reason="tomorrow"
    )
    assert early.status_code == 422 and "has not come yet" in words(early)
    assert send(client_as("trainer"), "/press/P1/late", state="off").status_code in (400, 403)


def test_a_table_keeps_no_adhesive_that_the_room_does_not_have(
    room: Room, station_client: Callable[[str], FlaskClient]
) -> None:
    browser = station_client("table-1")
    for wrong in ("999", "99999999999", "x"):
        page = browser.get("/station").get_data(as_text=True)
        token = re.search(r'name="csrf_token" value="([^"]+)"', page)
        assert token is not None
        answer = browser.post("/station/defaults", data={"csrf_token": token.group(1), "adhesive_id": wrong})
        assert answer.status_code == 302
    assert room.station_row("table-1")["adhesive_id"] in (1, None)
