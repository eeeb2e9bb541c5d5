"""The last scans at a station: the newest that still stands carries its undo, when the answer above does not."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.domain.numbers import COMMANDS
from app.domain.practice import Start
from app.web import stations
from tests.room import Room
from tests.web.conftest import ClientAs, token, words
from tests.web.test_languages import chooses
from tests.web.test_practice import Screen, numbers, practises

FORM = re.compile(r'<form action="/station/undo".*?</form>', re.S)


def undos(page: str) -> list[str]:
    """The entry that each undo on a page names, with where it stands: "card 7" or "row 7"."""
    beginning = page.index('<section id="scans"')
    found = [(each.start(), re.search(r'name="entry" value="(\d+)"', each[0])) for each in FORM.finditer(page)]
    return [f"{'row' if at > beginning else 'card'} {entry[1]}" for at, entry in found if entry is not None]


def sent(page: str) -> dict[str, str]:
    """What the undo of a page sends, as it stands there."""
    form = FORM.search(page)
    assert form is not None
    return dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form[0]))


def scans(browser: FlaskClient, code: str, **headers: str) -> TestResponse:
    data = {"csrf_token": token(browser, "/station"), "code": code}
    return browser.post("/station/scan", data=data, headers=headers)


def test_after_a_reload_the_undo_stands_in_the_row_and_asks_what_the_answer_asks(
    room: Room, station_client: ClientAs
) -> None:
    number, browser = room.sheet_ready(), station_client("table-1")
    assert undos(browser.get("/station").text) == []
    answer = scans(browser, number)
    entry = room.log(number)[-1]["id"]
    assert undos(answer.text) == [f"card {entry}"]
    page = browser.get("/station").text
    assert undos(page) == [f"row {entry}"]
    as_on_the_card = [
        re.sub(r' name="(csrf_token|scan_id)" value="[^"]*"', "", FORM.findall(each)[0]) for each in (answer.text, page)
    ]
    assert as_on_the_card[0] == as_on_the_card[1] and "Undo this scan" in page
    back = browser.post("/station/undo", data=sent(page) | {"reason": "not-done-yet"})
    assert "Undone." in words(back) and room.steps(number)[-1] == "correct"
    assert undos(browser.get("/station").text) == []


def test_a_refusal_or_a_question_does_not_take_the_undo_away(room: Room, station_client: ClientAs) -> None:
    number, browser = room.sheet_ready(), station_client("table-1")
    scans(browser, number)
    row = [f"row {room.log(number)[-1]['id']}"]
    assert undos(scans(browser, "TQX 999999 9").text) == row
    assert (
        undos(browser.post("/station/undo", data=sent(browser.get("/station").text) | {"reason": "not-me"}).text) == row
    )
    assert undos(scans(browser, room.code("badge", "piet")).text) == [], "Piet is to undo what is his"


def test_the_answer_of_a_scan_asks_nothing_for_it(
    room: Room, station_client: ClientAs, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser, asked = station_client("table-1"), list[Any]()
    number = room.sheet_ready()
    monkeypatch.setattr(stations, "newest_undoable", lambda *each: asked.append(each))
    assert undos(scans(browser, number, **{"X-Station": "1"}).text) == [f"card {room.log(number)[-1]['id']}"]
    scans(browser, "TQX 999999 9", **{"X-Station": "1"})
    token(browser, "/station")
    assert len(asked) == 3, "each page that was loaded, and no answer"


def test_where_people_practise_it_takes_back_what_was_practised(room: Room, station_client: ClientAs) -> None:
    practises(room, "table-1")
    screen = Screen(station_client("table-1"), room)
    screen.scan(room.code("badge", "olwen"))
    assert "Taken up." in words(screen.scan(numbers(Start.READY)[0]))
    page = screen.load()
    assert [each[:4] for each in undos(page)] == ["row "] and sent(page)["room"] == screen.mark
    assert "Undone." in words(screen.client.post("/station/undo", data=sent(page) | {"reason": "wrong-sheet"}))
    assert undos(screen.load()) == []


def test_what_was_undone_is_not_offered_again_in_another_language(room: Room, station_client: ClientAs) -> None:
    number, browser = room.sheet_ready(), station_client("table-1")
    room.scans(COMMANDS["done"], "table-1")
    chooses(room, "olwen", "nl")
    scans(browser, room.code("badge", "olwen"))
    assert len(undos(scans(browser, number).text)) == 1
    page = browser.get("/station").text
    assert "Deze scan ongedaan maken" in page
    assert undos(browser.post("/station/undo", data=sent(page) | {"reason": "not-done-yet"}).text) == []
