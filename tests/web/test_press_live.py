"""The press room's pages ask for news: nothing is sent while nothing looks otherwise, and only what changes is sent."""

from __future__ import annotations

import re
import threading
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import update

from app.db.engine import transaction
from app.db.models import Stack
from app.services.room import add_stack
from app.web import press
from tests.room import Room
from tests.web.conftest import ClientAs, words

PAGES = ["/press", "/press/P1"]
ASKS = {"HX-Request": "true"}


def live(browser: FlaskClient, path: str) -> str:
    """The address that a page of the press room asks for news."""
    found = re.search(r'hx-get="(/press[^"]*)"', browser.get(path).text)
    assert found
    return found.group(1).replace("&amp;", "&")


@pytest.mark.parametrize("path", PAGES)
def test_nothing_is_sent_while_nothing_has_changed(room: Room, client_as: ClientAs, path: str) -> None:
    room.sheet_in("P1")
    browser = client_as("reader")
    address = live(browser, path)
    room.wait(seconds=59)
    answer = browser.get(address, headers=ASKS)
    assert answer.status_code == 204 and answer.data == b""


@pytest.mark.parametrize("path", PAGES)
def test_weights_on_show_at_the_next_asking_and_only_the_part_that_changes_is_sent(
    room: Room, client_as: ClientAs, path: str
) -> None:
    room.sheet_in("P1")
    browser = client_as("volunteer")
    address = live(browser, path)
    room.weights("on", "P1")
    answer = browser.get(address, headers=ASKS)
    assert answer.status_code == 200 and answer.text.startswith('<div id="press"') and "<html" not in answer.text
    assert "under weight" in words(answer) and "weight-off" not in answer.text
    again = re.search(r'hx-get="([^"]+)"', answer.text)
    assert again and again.group(1) != address
    assert browser.get(again.group(1), headers=ASKS).status_code == 204


def test_a_sheet_that_becomes_ready_shows_though_nobody_scanned(room: Room, client_as: ClientAs) -> None:
    room.sheet_in("P1")
    room.weights("on", "P1")
    browser = client_as("reader")
    marks = {live(browser, "/press"): 'href="#layer-ready"', live(browser, "/press/P1"): "pile-sheet pile-ready"}
    room.wait(hours=23, minutes=59)
    assert not any(mark in browser.get(each).text.split("stack-key")[0] for each, mark in marks.items())
    room.wait(minutes=1)
    for each, mark in marks.items():
        answer = browser.get(each, headers=ASKS)
        assert answer.status_code == 200 and mark in answer.text.split("stack-key")[0]


def test_the_room_of_all_stacks_stands_still_while_its_clocks_run(room: Room, client_as: ClientAs) -> None:
    room.sheet_in("P1")
    room.weights("on", "P1")
    browser = client_as("reader")
    address = live(browser, "/press")
    for _ in range(5):
        room.wait(minutes=7)
        assert browser.get(address, headers=ASKS).status_code == 204


def test_it_is_drawn_once_for_all_who_ask(room: Room, client_as: ClientAs, monkeypatch: pytest.MonkeyPatch) -> None:
    browsers = [client_as("reader"), client_as("trainer")]
    address = live(browsers[0], "/press")
    drawn: list[int] = []
    read = press.press_glance
    monkeypatch.setattr(press, "press_glance", lambda *asked: drawn.append(1) or read(*asked))
    room.sheet_in("P1")
    texts = {browser.get(address).text for browser in browsers * 3}
    assert len(drawn) == 1 and len(texts) == 1
    room.weights("on", "P1")
    assert {browser.get(address).text for browser in browsers} != texts and len(drawn) == 2


def test_who_asks_while_it_is_drawn_anew_gets_what_there_is(app: Flask, room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    address = live(browser, "/press")
    kept = app.extensions["blotter-press"]
    room.sheet_in("P1")
    with kept.turn:
        # Somebody else draws it at this moment: nobody waits for that.
        assert browser.get(address).status_code == 204
    assert browser.get(address).status_code == 200


def test_who_asks_first_waits_for_whoever_draws(app: Flask, room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    browser.get("/press")
    answers: list[int] = []
    asking = threading.Thread(target=lambda: answers.append(browser.get("/press/P2?shown=").status_code))
    with app.extensions["blotter-press"].turn:
        asking.start()
        asking.join(0.3)
        assert not answers
    asking.join()
    assert answers == [200]


def test_what_is_sent_again_holds_no_form_and_no_name(room: Room, client_as: ClientAs) -> None:
    room.sheet_in("P1")
    manager = client_as("manager")
    for path in PAGES:
        text = manager.get(f"{path}?shown=").text
        assert "<form" not in text and "csrf" not in text and "Olwen" not in text
        assert text == client_as("reader").get(f"{path}?shown=").text
    assert "<form" in manager.get("/press/P1").text.split("<main")[1]


def test_a_stack_out_of_use_is_said_to_be_and_asks_no_other_page(room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    address = live(browser, "/press/P1")
    with transaction(room.database) as session:
        session.execute(update(Stack).where(Stack.name == "P1").values(closed_at=room.now))
    room.wait(minutes=1)
    answer = browser.get(address, headers=ASKS)
    assert answer.status_code == 200 and "no longer in use" in words(answer)
    assert browser.get("/press/P1").status_code == 404


def test_any_name_of_a_stack_can_be_asked_about(room: Room, client_as: ClientAs) -> None:
    name = 'Ä & "9" <?#%>'
    with transaction(room.database) as session:
        add_stack(session, name, room.now)
    browser = client_as("reader")
    href = re.search(r'href="(/press/%C3%84[^"]*)"', browser.get("/press").text)
    assert href
    address = live(browser, href.group(1).replace("&amp;", "&"))
    assert browser.get(address).status_code == 204
    assert browser.get(address.split("?")[0] + "?shown=").status_code == 200


def test_names_that_nobody_gave_fill_no_memory(app: Flask, client_as: ClientAs) -> None:
    browser = client_as("reader")
    for number in range(420):
        browser.get(f"/press/none-{number}?shown=")
    assert len(app.extensions["blotter-press"].kept) <= 200


def test_the_press_room_tells_what_is_wrong_what_there_is_room_for_and_where_the_next_goes(
    room: Room, client_as: ClientAs
) -> None:
    room.sheet_in("P1")
    room.sheet_in("P2", adhesive="paste")
    room.weights("on", "P2")
    room.wait(hours=1, minutes=1)
    said = words(client_as("reader").get("/press"))
    assert "P1: 1 sheet without weights since 09:00, too long" in said
    assert "24 h PVA, acid-free none P1, layer 2; room for 7" in said
    assert "48 h Methyl cellulose 4 %, Wheat starch paste none P3, empty; room for 8" in said
    # By hand: 12 kg x 9.80665 m/s2 on 0.1224 m2; one sheet takes a paper, a foam and two boards.
    assert "P2 under weight 1 of 8 7 1 each 2 12 kg in 4 0.96 kPa 0.96 kPa" in said
    assert "All 2 22 2 each 5" in said
    room.wait(days=8)
    assert "P2: 1 sheet forgotten, ready since Friday 09:00" in words(client_as("reader").get("/press"))


def test_a_stack_tells_its_pressure_on_the_lowest_sheet_and_what_it_takes(room: Room, client_as: ClientAs) -> None:
    numbers: list[Any] = [room.sheet_in("P1") for _ in range(3)]
    room.weights("on", "P1")
    answer = client_as("reader").get("/press/P1")
    said = words(answer)
    # By hand: 12 kg, and 12.4 kg with two layers of 200 g, on 0.1224 m2.
    assert "0.96 kPa by the weights on each sheet; 0.99 kPa on the lowest, with what lies above it" in said
    assert "3 release papers, 3 foams, 4 boards and a lid" in said and "12 kg in 4 pieces, 3 kg each" in said
    links = re.findall(r'class="pile-link"[^>]*href="/sheets/([^"]+)"', answer.text)
    assert links == numbers[::-1]
