"""The board, and how it keeps itself up to date."""

from __future__ import annotations

import re
import threading
import time
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.queries.board import Board
from app.web import board as board_page
from tests.room import Room
from tests.web.conftest import ClientAs, words


def live(browser: FlaskClient) -> str:
    """The address that the page asks for news."""
    found = re.search(r'hx-get="(/board/live[^"]*)"', browser.get("/board").text)
    assert found
    return found.group(1).replace("&amp;", "&")


def test_the_board_shows_the_seven_stages_with_their_counts(room: Room, client_as: ClientAs) -> None:
    for _ in range(3):
        room.sheet_ready()
    room.sheet_mounted()
    said = words(client_as("reader").get("/board"))
    assert "4 sheets from intake to dry" in said
    for stage in ("Intake 0", "Drying 0", "Ready for mounting 3", "Mounted 1", "Under press 0", "Dry 0", "Filed 0"):
        assert stage in said


def test_what_needs_a_person_leads_to_the_thing(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_mounted()
    room.wait(hours=1, seconds=1)
    answer = client_as("reader").get("/board")
    assert "Nothing needs a person now." not in words(answer)
    assert f'href="/sheets/{number}"' in answer.text and "row-stalled" in answer.text


def test_a_stack_without_its_weights_is_marked_in_words_and_not_by_colour_alone(
    room: Room, client_as: ClientAs
) -> None:
    room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(minutes=10)
    room.weights("off", "P1")
    room.wait(hours=1, seconds=1)
    answer = client_as("reader").get("/board")
    assert "Weights off since 09:10" in words(answer) and "stack-stalled" in answer.text


def test_nothing_is_sent_again_while_nothing_has_changed_in_this_minute(room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    address = live(browser)
    room.wait(seconds=59)
    answer = browser.get(address, headers={"HX-Request": "true"})
    assert answer.status_code == 204 and answer.data == b""


def test_a_minute_later_the_ages_are_said_anew(room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    address = live(browser)
    room.wait(seconds=60)
    answer = browser.get(address, headers={"HX-Request": "true"})
    assert answer.status_code == 200 and "<html" not in answer.text and 'id="board"' in answer.text


def test_an_entry_shows_at_the_next_asking(room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    address = live(browser)
    room.wait(seconds=1)
    room.sheet_ready()
    answer = browser.get(address, headers={"HX-Request": "true"})
    assert answer.status_code == 200 and "Ready for mounting 1" in words(answer)


def test_the_fragment_is_the_middle_of_the_page_and_asks_on(room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    whole = browser.get("/board").text
    part = browser.get("/board/live").text
    assert part.strip() in whole and 'hx-swap="outerMorph"' in part and 'hx-trigger="every 15s"' in part


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """How often the board is read from the database, each reading taking a while."""
    readings: list[float] = []
    read = board_page.board

    def slowly(*asked: Any) -> Board:
        readings.append(1)
        time.sleep(0.05)
        return read(*asked)

    monkeypatch.setattr(board_page, "board", slowly)
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


def test_a_name_on_the_board_is_never_run(room: Room, client_as: ClientAs) -> None:
    from app.db.engine import transaction
    from app.domain.stages import Stage
    from app.services.room import add_cabinet, add_stack

    with transaction(room.database) as session:
        add_cabinet(session, "<script>M9</script>", Stage.READY, room.now)
        add_stack(session, "<b>P9</b>", room.now)
    for path in ("/board", "/cabinets", "/press", "/room"):
        text = client_as("manager").get(path).text
        assert "<script>M9" not in text and "<b>P9" not in text, path


def test_the_board_names_no_person(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_mounted()
    room.wait(hours=2)
    text = client_as("reader").get("/board/live").text
    assert number[:3] in text
    for name in ("Olwen Tarrant", "Piet Lindqvist", "Rosamund Ashgill", "Hedda Brackwater"):
        assert name not in text


def test_the_board_of_an_empty_room_says_what_to_do(client_as: ClientAs) -> None:
    said = words(client_as("reader").get("/board"))
    assert "There is no sheet here yet." in said and "Nothing needs a person now." in said


def test_who_looks_while_the_board_is_read_anew_gets_what_there_is(app: Flask, room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    assert words(browser.get("/board"))
    kept = app.extensions["blotter-board"]
    before = kept.drawn
    room.sheet_ready()
    room.wait(seconds=30)
    with kept.turn:
        # Somebody else reads it at this moment: nobody waits for that.
        assert browser.get("/board/live").get_data(as_text=True) == before
    assert browser.get("/board/live").get_data(as_text=True) != before


def test_the_board_is_drawn_once_in_a_second_however_many_look(app: Flask, room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    browser.get("/board")
    found = app.extensions["blotter-board"].found
    room.sheet_ready()
    for _ in range(5):
        browser.get("/board/live")
    assert app.extensions["blotter-board"].found is found
    room.wait(seconds=1)
    browser.get("/board/live")
    assert app.extensions["blotter-board"].found is not found
