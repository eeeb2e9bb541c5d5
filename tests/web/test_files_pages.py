"""Columns that are named by hand, rows to put right as a table, and a large file that comes in while one looks on."""

from __future__ import annotations

import io
import re

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db.engine import transaction
from app.services.room import add_consignment
from app.web import intake
from tests.room import Room
from tests.services.archives import archive, part, table
from tests.services.bringing import bringer, file
from tests.web.conftest import ClientAs, send, token, words


@pytest.fixture
def browser(room: Room, client_as: ClientAs) -> FlaskClient:
    """The manager's browser, in a room that expects two consignments from one giver."""
    with transaction(room.database) as session:
        for code in ("QF", "QF-2"):
            add_consignment(session, code, f"Parcel {code}", source="S. Harrowgill", kind="exchange")
    return client_as("manager")


def chooses(browser: FlaskClient, data: bytes, consignment: str = "QF", name: str = "list.csv") -> TestResponse:
    return send(browser, "/intake", file=(io.BytesIO(data), name), consignment=consignment)


def carried(answer: TestResponse, **more: str) -> dict[str, str]:
    """What the page carries along in the form that is sent next."""
    found = dict(re.findall(r'<input type="hidden" name="(held|name|consignment)" value="([^"]*)"', answer.text))
    ways = re.findall(r'<input type="hidden" name="ways" value="([^"]*)"', answer.text)
    return {**found, **({"ways": ways[0].replace("&#34;", '"')} if ways else {}), **more}


def a_list(room: Room, sheets: int, head: str = "catalogNumber,scientificName") -> bytes:
    return (head + "\n" + "".join(f"{room.new_number()},Caltha palustris\n" for _ in range(sheets))).encode()


def goes_on(app: Flask, room: Room) -> None:
    """The background of the program that serves the room has looked twice."""
    program = bringer(room)
    for _ in range(2):
        program.go_on(app.extensions["blotter"].config.data / "uploads")


# -- columns --------------------------------------------------------------------------------------------------------
def test_columns_of_other_names_are_named_by_hand_once_and_known_the_next_time(
    room: Room, browser: FlaskClient
) -> None:
    head = "Barcode;Pflanze;Van"
    first, second = (f"{head}\n{room.new_number()};Carex nigra;7\n".encode() for _ in range(2))
    asked = chooses(browser, first)
    assert asked.status_code == 422 and "say here which column it is" in words(asked)
    assert asked.text.count('<select id="way-') == 3 and "Carex nigra" in words(asked)
    ways = {"way-0": "catalogNumber", "way-1": "scientificName", "way-2": "leave"}
    plan = send(browser, "/intake", **carried(asked, **ways))
    assert "1 new, 0 already here." in words(plan) and "Columns left out Van" in words(plan)
    assert send(browser, "/intake", **carried(plan, write="y")).status_code == 302
    again = chooses(browser, second, "QF-2")
    assert "1 new" in words(again) and "as they were the last time from this source" in words(again)


def test_two_columns_that_are_said_to_be_the_same_are_sent_back_with_what_was_said(
    room: Room, browser: FlaskClient
) -> None:
    asked = chooses(browser, a_list(room, 1))
    both = send(browser, "/intake", **carried(asked, **{"way-0": "catalogNumber", "way-1": "catalogNumber"}))
    assert both.status_code == 422 and "Two columns cannot both be catalogNumber" in words(both)
    assert both.text.count('<option value="catalogNumber" selected>') == 2


@pytest.mark.parametrize(
    "ways", ["[", "7", '{"a": 1}', '["catalogNumber", 7]', "[[[[", '["<script>", "keep"]', '["catalogNumber"]']
)
def test_columns_that_no_page_has_named_are_refused_in_words(room: Room, browser: FlaskClient, ways: str) -> None:
    asked = chooses(browser, a_list(room, 1))
    answer = send(browser, "/intake", **carried(asked, ways=ways, write="y"))
    assert answer.status_code in (302, 422) and "<script>" not in answer.text


def test_windows_1252_is_shown_for_a_look_before_anything_is_written(room: Room, browser: FlaskClient) -> None:
    data = f"catalogNumber,recordedBy\n{room.new_number()},Séguin\n".encode("cp1252")
    shown = words(chooses(browser, data))
    assert "was read as Windows-1252. Look whether line 2 is right" in shown and "Séguin" in shown


def test_an_archive_is_chosen_as_a_list_is(room: Room, browser: FlaskClient) -> None:
    core = part("core", [(1, "catalogNumber", None), (2, "scientificName", None)])
    data = archive(core, {"occurrence.txt": table([["id", "n", "s"], ["a1", room.new_number(), "Carex nigra"]])})
    plan = chooses(browser, data, name="archive.zip")
    assert "1 new" in words(plan) and "calls itself “Plants of the Skarn Tarn”" in words(plan)
    send(browser, "/intake", **carried(plan, write="y"))
    assert "archive.zip" in words(browser.get("/intake/files")) and file(room).state == "in"


# -- rows to put right ----------------------------------------------------------------------------------------------
def test_the_first_two_hundred_bad_rows_are_shown_and_all_are_in_the_table(room: Room, browser: FlaskClient) -> None:
    data = ("catalogNumber,scientificName\n" + "=cmd|'/C calc'!A0,x\n" * 250).encode()
    answer = chooses(browser, data)
    assert answer.text.count('<tr class="row-stalled">') == 200 and "and 50 more." in words(answer)
    (address,) = re.findall(r'href="(/intake/bad[^"]*)"', answer.text)
    told = browser.get(address.replace("&amp;", "&"))
    lines = told.get_data(as_text=True).splitlines()
    assert told.mimetype == "text/csv" and len(lines) == 251 and lines[1].startswith(",2,catalogNumber,")
    assert browser.get("/intake/bad?held=" + "a" * 64).status_code == 302


# -- a large file ---------------------------------------------------------------------------------------------------
@pytest.fixture
def only_two_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(intake, "AT_ONCE", 2)


@pytest.mark.usefixtures("only_two_at_once")
def test_a_large_file_comes_in_in_the_background_and_its_page_says_how_far_it_is(
    app: Flask, room: Room, browser: FlaskClient
) -> None:
    plan = chooses(browser, a_list(room, 3))
    begun = send(browser, "/intake", **carried(plan, write="y"))
    assert begun.status_code == 302 and begun.location == "/intake/files/1"
    assert "It is being looked through" in words(browser.get("/intake/files/1"))
    part_ = browser.get("/intake/files/1", headers={"HX-Request": "true"})
    assert part_.text.startswith('<div id="file" hx-get="/intake/files/1" hx-trigger="every 1s"')
    goes_on(app, room)
    done = browser.get("/intake/files/1", headers={"HX-Request": "true"})
    assert "It is in." in words(done) and "hx-get" not in done.text and "by Hedda Brackwater" in words(done)
    assert "list.csv QF in 3" in words(browser.get("/intake/files"))
    assert list((app.extensions["blotter"].config.data / "uploads").iterdir()) == []


@pytest.mark.usefixtures("only_two_at_once")
def test_a_file_is_withdrawn_from_its_page_with_a_reason_while_it_is_not_all_in(
    app: Flask, room: Room, browser: FlaskClient
) -> None:
    plan = chooses(browser, a_list(room, 3))
    send(browser, "/intake", **carried(plan, write="y"))
    silent = send(browser, "/intake/files/1/withdraw", reason="")
    assert silent.status_code == 422 and "Say why" in words(silent)
    assert send(browser, "/intake/files/1/withdraw", reason="the wrong parcel").status_code == 302
    shown = words(browser.get("/intake/files/1"))
    assert "It was withdrawn" in shown and "the wrong parcel" in shown
    goes_on(app, room)
    assert file(room, 1).state == "withdrawn"
    again = send(browser, "/intake/files/1/withdraw", reason="once more")
    assert again.status_code == 422 and "not on its way in any more" in words(again)


def test_a_file_that_is_not_there_has_no_page(browser: FlaskClient) -> None:
    assert browser.get("/intake/files/99").status_code == 404
    assert "No file has been taken in yet" in words(browser.get("/intake/files"))


def test_a_list_larger_than_other_pages_take_is_read(room: Room, browser: FlaskClient) -> None:
    text = f"catalogNumber,scientificName,notes\n{room.new_number()},Carex nigra,x\n" + ",,\n" * 4_000_000
    assert len(text) > 9 * 1024 * 1024
    fields = {"csrf_token": token(browser, "/password"), "consignment": "QF"}
    part = '--cut\r\nContent-Disposition: form-data; name="{}"{}\r\n\r\n{}\r\n'
    body = "".join(part.format(name, "", value) for name, value in fields.items())
    body += part.format("file", '; filename="list.csv"', text) + "--cut--\r\n"
    answer = browser.post("/intake", data=body.encode(), content_type="multipart/form-data; boundary=cut")
    assert "1 new" in words(answer)
