"""The pages of cabinet checks: beginning, watching, ending, closing, the table, and who sees whose name."""

from __future__ import annotations

import re

from flask import Flask

from app.domain.checking import Fate
from app.domain.stages import Step
from tests.room import Room
from tests.services.counted import begins, card, draws, fates, newest
from tests.web.conftest import ClientAs, send, token, words
from tests.web.test_every_page import Reading


def through(room: Room) -> None:
    card(room, "check", "filing", facts={"check": "all"})


def test_a_trainer_begins_one_from_the_cabinets_page(room: Room, client_as: ClientAs) -> None:
    room.sheet_ready()
    browser = client_as("trainer")
    assert "It was never checked against the log." in words(browser.get("/cabinets/M1"))
    assert 'href="/cabinets/M1/check"' in browser.get("/cabinets/M1").text
    answer = send(browser, "/cabinets/M1/check", shelf="1", sample="")
    assert answer.status_code == 302 and answer.location == "/checks"
    check = newest(room)
    assert (check.sample, check.begun_by, check.station_id) == (None, room.worker["rosamund"], None) and check.shelf_id
    assert "Last check: M1, shelf 1" in words(browser.get("/cabinets/M1"))
    assert "/cabinets/M1/check" not in client_as("volunteer").get("/cabinets/M1").text


def test_a_station_begins_one_and_stands_in_it(room: Room, station_client: ClientAs) -> None:
    room.sheet_ready()
    browser = station_client("filing")
    csrf = token(browser, "/station")
    answer = browser.post("/cabinets/M1/check", data={"csrf_token": csrf, "shelf": "", "sample": ""})
    assert answer.location == "/station"
    shown = words(browser.get("/station"))
    assert (
        "Cabinet check" in shown
        and "M1: 0 of 1 seen" in shown
        and "Cannot be read" in shown
        and "All is scanned" in shown
    )
    assert newest(room).station_id == room.station["filing"]
    assert "M1: 0 of 1 seen" in words(browser.get("/station/side"))
    assert "no sheet is moved by them" not in words(station_client("intake").get("/station"))


def test_what_cannot_be_drawn_is_said_and_what_was_typed_stays(room: Room, client_as: ClientAs) -> None:
    room.sheet_ready()
    browser = client_as("manager")
    answer = send(browser, "/cabinets/M1/check", shelf="2", sample="7")
    assert answer.status_code == 422 and "M1, shelf 2: 7 cannot be drawn from 0 sheets." in words(answer)
    assert 'value="7"' in answer.text and '<option selected value="2">' in answer.text and newest(room) is None
    for shelf, sample in (("", "0"), ("", "many"), ("9", "")):
        assert send(browser, "/cabinets/M1/check", shelf=shelf, sample=sample).status_code == 422
    assert browser.get("/cabinets/none/check").status_code == 404


def test_the_same_button_pressed_twice_begins_one_check(room: Room, client_as: ClientAs) -> None:
    room.sheet_ready()
    browser = client_as("manager")
    for _ in range(2):
        assert send(browser, "/cabinets/M1/check", shelf="", sample="1", scan_id="pressed").status_code == 302
    assert newest(room).id == 1


def test_a_page_that_shows_it_already_gets_nothing_until_something_is_scanned(room: Room, client_as: ClientAs) -> None:
    first, _ = room.sheet_ready(), room.sheet_ready()
    begins(room, "M1")
    browser = client_as("volunteer")
    asks = re.search(r'hx-get="(/checks/1\?shown=[^"]+)"', browser.get("/checks/1").text)
    assert asks
    assert browser.get(asks.group(1)).status_code == 204
    room.scans(first, "filing")
    news = browser.get(asks.group(1))
    assert news.status_code == 200 and "1 of 2 seen" in words(news) and "<html" not in news.text


def test_names_are_for_the_trainer_and_the_manager(room: Room, client_as: ClientAs) -> None:
    room.sheet_ready()
    begins(room, "M1")
    through(room)
    # Piet counted; the last hands on what is missing are Rosamund's, who took it in.
    for path, name in (("/checks", "Piet"), ("/checks/1", "Piet"), ("/checks/1.csv", "Rosamund"), ("/checks/1?shown=never", "Rosamund")):  # fmt: skip
        for role, sees in (("volunteer", False), ("manager", True), ("reader", False), ("trainer", True)):
            assert (name in client_as(role).get(path).text) is sees, (role, path)


def test_the_manager_closes_and_the_page_says_what_is_missing(room: Room, client_as: ClientAs) -> None:
    gone, stray = room.sheet_ready(), room.sheet_mounted("table-2")
    begins(room, "M1")
    room.scans(stray, "filing")
    browser = client_as("manager")
    assert "It is not through" in words(browser.get("/checks/1"))
    assert send(browser, "/checks/1/close", deed="close", reason="").status_code == 422
    assert send(browser, "/checks/1/done").status_code == 302
    shown = words(browser.get("/checks/1"))
    assert (
        "Expected, but not found 1" in shown
        and "Found, but it belongs elsewhere 1" in shown
        and "to be closed" in shown
    )
    assert send(browser, "/checks/1/close", deed="close", reason="Looked twice").location == "/checks/1"
    shown = words(browser.get("/checks/1"))
    assert "still missing" in shown and "Note: Looked twice" in shown and room.row(gone)["holds"] == "not-found"
    again = send(browser, "/checks/1/close", deed="close", reason="")
    assert again.status_code == 422 and "is closed already" in words(again)


def test_one_is_broken_off_only_with_a_reason(room: Room, client_as: ClientAs) -> None:
    room.sheet_ready()
    begins(room, "M1")
    browser = client_as("manager")
    refused = send(browser, "/checks/1/close", deed="break-off", reason=" ")
    assert refused.status_code == 422 and "A reason is needed" in words(refused)
    send(browser, "/checks/1/close", deed="break-off", reason="The cabinet is moved today")
    assert (
        "Why: The cabinet is moved today" in words(browser.get("/checks/1"))
        and "never looked for" in browser.get("/checks/1").text
    )


def test_what_lies_elsewhere_is_written_there_from_the_page(room: Room, client_as: ClientAs) -> None:
    wrong = room.sheet_ready()
    begins(room, "M1")
    room.scans(room.code("shelf", "M1/3"), "filing")
    room.scans(wrong, "filing")
    room.wait(minutes=1)
    browser = client_as("manager")
    assert send(browser, "/checks/1/write").status_code == 302 and fates(room)[wrong] is Fate.WRONG_SHELF
    send(browser, "/checks/1/write", sheet=str(room.row(wrong)["id"]))
    assert fates(room)[wrong] is Fate.FOUND and room.steps(wrong)[-1] == "shelve"
    stray = room.sheet_mounted("table-2")
    room.scans(stray, "filing")
    refused = send(browser, "/checks/1/write", sheet=str(room.row(stray)["id"]))
    assert refused.status_code == 422 and "cannot be put on a shelf" in words(refused)


def test_the_list_of_those_drawn_is_printed_and_no_other(room: Room, client_as: ClientAs) -> None:
    numbers = [room.sheet_ready() for _ in range(6)]
    draws(room, "M1", 4, seed=3)
    browser = client_as("volunteer")
    shown = browser.get("/checks/1/drawn").text
    drawn = [number for number in numbers if number[3:9] in shown]
    assert len(drawn) == 4 and "draw 3" in shown and shown.count("tick-box") == 4
    begins(room, "D1")
    assert browser.get("/checks/2/drawn").status_code == 404, "what is expected is not for whoever checks"
    assert browser.get("/checks/9").status_code == browser.get("/checks/9.csv").status_code == 404


def test_a_formula_in_the_table_stays_text(room: Room, client_as: ClientAs) -> None:
    room.scans(room.sheet_ready(), "table-1", step=Step.TAKE_UP)
    begins(room, "M1")
    answer = client_as("reader").get("/checks/1.csv")
    assert answer.mimetype == "text/csv" and answer.text.startswith("\ufeffnumber,")


def test_every_page_of_a_check_is_well_made(app: Flask, room: Room, client_as: ClientAs) -> None:
    gone, stray = room.sheet_ready(), room.sheet_mounted("table-2")
    draws(room, "M1", 1, seed=1, at="filing")
    for code in (stray, room.new_number()):
        room.scans(code, "filing")
    card(room, "cannot-be-read", "filing")
    through(room)
    browser = client_as("manager")
    for path in ("/checks", "/checks/1", "/checks/1/drawn", "/cabinets/M1/check"):
        answer = browser.get(path)
        read = Reading(answer.text)
        assert answer.status_code == 200 and read.headings.count(1) == 1 and not read.inline, path
        assert all(after <= before + 1 for before, after in zip(read.headings, read.headings[1:], strict=False)), path
        assert len(read.ids) == len(set(read.ids)) and read.pointed_at <= set(read.ids), path
        assert not [each for each in read.fields if each not in read.labelled], path
    assert fates(room)[gone] is Fate.MISSING and "Wilson" in browser.get("/checks/1").text
