"""Intake by list, by hand: the plan first, then all of it or nothing."""

from __future__ import annotations

import io
import re
import stat

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db.engine import transaction
from app.services.room import add_consignment
from tests.room import Room
from tests.web.conftest import ClientAs, send, words


@pytest.fixture
def browser(room: Room, client_as: ClientAs) -> FlaskClient:
    """The manager's browser, in a room that expects a consignment."""
    with transaction(room.database) as session:
        add_consignment(session, "QF", "Quillmoor Fells survey", kind="exchange")
    return client_as("manager")


def chooses(browser: FlaskClient, text: str, consignment: str = "QF") -> TestResponse:
    """Choose a file and ask for its plan."""
    return send(browser, "/intake", file=(io.BytesIO(text.encode()), "list.csv"), consignment=consignment)


def a_list(room: Room, sheets: int = 2) -> str:
    rows = "".join(f"{room.new_number()},Caltha palustris\n" for _ in range(sheets))
    return f"catalogNumber,scientificName\n{rows}"


def held_key(answer: TestResponse) -> str:
    found = re.search(r'name="held" value="([0-9a-f]{64})"', answer.text)
    assert found
    return found.group(1)


def test_the_plan_comes_first_and_writes_nothing(room: Room, browser: FlaskClient) -> None:
    text = a_list(room)
    plan = chooses(browser, text)
    assert plan.status_code == 200 and "2 new, 0 already here." in words(plan) and "Take in 2 sheets" in words(plan)
    assert "0 0 0" in words(browser.get("/intake"))


def test_then_it_is_written_once_however_often_the_button_is_pressed(room: Room, browser: FlaskClient) -> None:
    text = a_list(room)
    form = {"held": held_key(chooses(browser, text)), "consignment": "QF", "write": "y"}
    for said in ("Written: 2 new, 0 already here.", "The file is no longer held here."):
        assert send(browser, "/intake", **form).status_code == 302
        assert said in words(browser.get("/intake"))
    assert "2 2 0" in words(browser.get("/intake"))
    assert room.stage(text.split("\n")[1].split(",")[0]) == "intake"


def test_the_same_list_again_changes_nothing(room: Room, browser: FlaskClient) -> None:
    text = a_list(room)
    send(browser, "/intake", held=held_key(chooses(browser, text)), consignment="QF", write="y")
    again = chooses(browser, text)
    assert "0 new, 2 already here." in words(again) and "disabled" in again.text


def test_every_bad_row_is_named_with_line_column_and_reason(room: Room, browser: FlaskClient) -> None:
    good = room.new_number()
    answer = chooses(
        browser, f"catalogNumber,eventDate\n{good},2026-07-01\nTQX000002,2026-07-01\n{room.new_number()},2031-01-01\n"
    )
    said = words(answer)
    assert answer.status_code == 422 and "Nothing can be written yet" in said
    assert "3 catalogNumber" in said and "4 eventDate 2031-01-01 is still to come" in said
    assert 'name="write"' not in answer.text


def test_a_file_is_held_for_its_own_browser_only_and_nobody_else_reads_it(
    app: Flask, room: Room, browser: FlaskClient, client_as: ClientAs
) -> None:
    key = held_key(chooses(browser, a_list(room)))
    path = app.extensions["blotter"].config.data / "uploads" / key
    assert stat.S_IMODE(path.stat().st_mode) == 0o600 and stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    other = client_as("manager")
    send(other, "/intake", held=key, consignment="QF", write="y")
    assert "no longer held here" in words(other.get("/intake")) and path.exists()
    send(browser, "/intake", held=key, consignment="QF", write="y")
    assert not path.exists()


@pytest.mark.parametrize("key", ["../secret-key", "x" * 64, "a" * 64, "/etc/passwd"])
def test_a_key_that_nobody_gave_opens_no_file(browser: FlaskClient, key: str) -> None:
    assert send(browser, "/intake", held=key, consignment="QF", write="y").status_code == 302
    assert "no longer held here" in words(browser.get("/intake"))


@pytest.mark.parametrize(("hours", "stays"), [(11.999, True), (12.001, False)])
def test_a_file_that_nobody_writes_is_thrown_away_after_half_a_day(
    app: Flask, room: Room, browser: FlaskClient, hours: float, stays: bool
) -> None:
    key = held_key(chooses(browser, a_list(room)))
    room.wait(hours=hours)
    chooses(browser, a_list(room))
    assert (app.extensions["blotter"].config.data / "uploads" / key).exists() is stays


def test_a_file_that_is_no_list_is_told_so(browser: FlaskClient) -> None:
    for text in ("", "\x00\x01\x02", "no heading here\n", "<script>alert(1)</script>,catalogNumber\n1,2\n"):
        answer = chooses(browser, text)
        assert answer.status_code == 422 and "<script>alert" not in answer.text, text


def test_without_a_file_or_a_consignment_the_page_says_so(room: Room, browser: FlaskClient) -> None:
    assert "Choose a file." in words(send(browser, "/intake", consignment="QF"))
    assert chooses(browser, a_list(room), consignment="nowhere").status_code == 422


def test_an_empty_room_says_what_to_set_up_first(client_as: ClientAs) -> None:
    assert "Put the consignment on the list first" in words(client_as("manager").get("/intake"))
