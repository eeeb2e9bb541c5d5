"""The board is kept for all who look: read once a second, sent only when it looks otherwise."""

from __future__ import annotations

import re
import threading
import time
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.db.engine import open_database
from app.queries.board import Board
from app.web import keeping
from tests.room import Room
from tests.web.conftest import ClientAs, words


def live(browser: FlaskClient) -> str:
    """The address that the page asks for news."""
    found = re.search(r'hx-get="(/board/live[^"]*)"', browser.get("/board").text)
    assert found
    return found.group(1).replace("&amp;", "&")


def test_nothing_is_sent_again_while_nothing_has_changed_in_this_minute(room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    address = live(browser)
    room.wait(seconds=59)
    answer = browser.get(address, headers={"HX-Request": "true"})
    assert answer.status_code == 204 and answer.data == b""


def test_a_minute_later_the_ages_are_said_anew(room: Room, client_as: ClientAs) -> None:
    room.sheet_ready()
    browser = client_as("reader")
    address = live(browser)
    room.wait(seconds=60)
    answer = browser.get(address, headers={"HX-Request": "true"})
    assert answer.status_code == 200 and "<html" not in answer.text and 'id="board"' in answer.text


def test_what_would_look_the_same_is_not_sent_again_however_long_it_stands(room: Room, client_as: ClientAs) -> None:
    room.sheet_ready()
    room.wait(days=3)
    browser = client_as("reader")
    address = live(browser)
    for _ in range(9):
        room.wait(minutes=7)
        answer = browser.get(address, headers={"HX-Request": "true"})
        assert answer.status_code == 204 and answer.data == b""
    assert "unchanged since 09:00" in words(browser.get("/board"))
    room.sheet_ready()
    room.wait(seconds=1)
    assert browser.get(address, headers={"HX-Request": "true"}).status_code == 200


@pytest.mark.parametrize(("seconds", "asked"), [(1, 0), (4.999, 0), (5, 1)])
def test_nothing_is_asked_of_the_database_while_nothing_was_written(
    room: Room, client_as: ClientAs, monkeypatch: pytest.MonkeyPatch, seconds: float, asked: int
) -> None:
    """Only another program's writing has to be asked for, now and then; a write of this one is known at once."""
    browser = client_as("reader")
    address = live(browser)
    versions: list[Any] = []
    read = keeping.board_version
    monkeypatch.setattr(keeping, "board_version", lambda session: versions.append(1) or read(session))
    monkeypatch.setattr(keeping, "board", lambda *_: pytest.fail("the board was read again"))
    room.wait(seconds=seconds)
    assert browser.get(address).status_code == 204 and len(versions) == asked


def test_what_another_program_writes_shows_within_seconds(room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    address = live(browser)
    other = Room.__new__(Room)
    other.__dict__.update(room.__dict__, database=open_database(room.database.engine.url.render_as_string()))
    other.sheet_ready()
    room.wait(seconds=5)
    assert "Ready for mounting 1" in words(browser.get(address))
    other.database.engine.dispose()


def test_an_entry_shows_at_the_next_asking(room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    address = live(browser)
    room.wait(seconds=1)
    room.sheet_ready()
    answer = browser.get(address, headers={"HX-Request": "true"})
    assert answer.status_code == 200 and "Ready for mounting 1" in words(answer)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """How often the board is read from the database, each reading taking a while."""
    readings: list[float] = []
    read = keeping.board

    def slowly(*asked: Any) -> Board:
        readings.append(1)
        time.sleep(0.05)
        return read(*asked)

    monkeypatch.setattr(keeping, "board", slowly)
    return readings


def test_many_viewers_share_one_reading(app: Flask, room: Room, client_as: ClientAs, counted: list[float]) -> None:
    room.sheet_ready()
    browsers = [client_as("reader") for _ in range(4)]
    answers: list[str] = []
    threads = [threading.Thread(target=lambda each=each: answers.append(each.get("/board").text)) for each in browsers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(counted) == 1 and len(answers) == 4 and all('class="flow"' in answer for answer in answers)


@pytest.mark.parametrize(("seconds", "readings"), [(0.999, 1), (1, 2)])
def test_a_reading_is_shared_for_one_second(
    room: Room, client_as: ClientAs, counted: list[float], seconds: float, readings: int
) -> None:
    browser = client_as("reader")
    browser.get("/board")
    room.wait(seconds=seconds)
    browser.get("/board")
    assert len(counted) == readings


def test_who_looks_while_the_board_is_read_anew_gets_what_there_is(app: Flask, room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    assert words(browser.get("/board"))
    kept = app.extensions["blotter-board en"]
    before = browser.get("/board/live").get_data(as_text=True)
    room.sheet_ready()
    room.wait(seconds=30)
    with kept.turn:
        # Somebody else reads it at this moment: nobody waits for that.
        assert browser.get("/board/live").get_data(as_text=True) == before
    assert browser.get("/board/live").get_data(as_text=True) != before


def test_the_board_is_drawn_once_in_a_second_however_many_look(app: Flask, room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    browser.get("/board")
    found = app.extensions["blotter-board en"].found
    room.sheet_ready()
    for _ in range(5):
        browser.get("/board/live")
    assert app.extensions["blotter-board en"].found is found
    room.wait(seconds=1)
    browser.get("/board/live")
    assert app.extensions["blotter-board en"].found is not found
