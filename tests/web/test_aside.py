"""Putting a line of the board aside: from the line to the form and back, with what was typed kept."""

from __future__ import annotations

import html
import re

import pytest
from flask.testing import FlaskClient

from app.db.engine import transaction
from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from app.queries.need import Need
from app.services.loads import make_load
from app.services.supplies import Told, add_supply
from app.web.need_links import HREFS, href_of
from tests.room import Room
from tests.web.conftest import ClientAs, send, words


@pytest.fixture
def late(room: Room) -> str:
    """A sheet that was glued two hours ago; the key of its line."""
    number = room.sheet_mounted()
    room.wait(hours=2)
    return f"mounted-too-long sheet {number}"


@pytest.fixture
def shelf(room: Room) -> str:
    """A shelf of four sheets that has waited too long; the key of its line."""
    for _ in range(4):
        room.sheet_ready()
    room.wait(days=105)
    return "stalled ready-for-mounting 2 5 –"


def form_at(browser: FlaskClient, key: str) -> str:
    """The address of the form, as the board's own link gives it."""
    links = (
        html.unescape(each) for each in re.findall(r'href="(/board/aside\?key=[^"]+)"', browser.get("/board").text)
    )
    return next(link for link in links if key.split()[0] in link)


def test_from_the_line_to_the_form_and_back_to_the_board(room: Room, client_as: ClientAs, shelf: str) -> None:
    browser = client_as("manager")
    assert "M1, shelf 1, ready for mounting" in words(browser.get("/board"))
    page = browser.get(form_at(browser, shelf))
    assert page.status_code == 200 and 'value="2027-03-12"' in page.text, "the next Friday on which the room is open"
    assert "4 sheets wait for mounting too long" in words(page)
    answer = send(browser, "/board/aside", key=shelf, until="2027-03-12", why="the table is full")
    assert answer.status_code == 302 and answer.location == "/board"
    said = words(browser.get("/board"))
    assert "M1, shelf 1, ready for mounting: put aside until Friday." in said
    assert "Put aside (1)" in said and "until Friday 00:00, by Hedda Brackwater: the table is full" in said
    assert f'href="{form_link(shelf)}"' not in browser.get("/board").text


def form_link(key: str) -> str:
    return "/board/aside?key=" + key.replace(" ", "+")


def test_it_is_taken_up_again_from_the_page_of_what_is_aside(room: Room, client_as: ClientAs, shelf: str) -> None:
    browser = client_as("trainer")
    send(browser, "/board/aside", key=shelf, until="2027-03-12", why="the table is full")
    page = browser.get("/board/aside")
    assert "Rosamund Ashgill" in words(page) and "the table is full" in words(page)
    (address,) = re.findall(r'action="(/board/aside/\d+/again)"', page.text)
    assert send(browser, address).location == "/board"
    assert "Put aside (" not in words(browser.get("/board")) and "Nothing is put aside." in words(
        browser.get("/board/aside")
    )
    assert send(browser, address).status_code == 404


@pytest.mark.parametrize(
    ("until", "why", "said"),
    [("2026-11-26", "", "Say why"), ("", "seen", "Say until which day."), ("soon", "seen", "That is no day."),
     ("2026-11-25", "seen", "Give a day after today"), ("2026-11-27", "seen", "until tomorrow at the latest"),
     ("2026-11-26", "x" * 301, "300 characters")],
)  # fmt: skip
def test_what_is_refused_is_said_and_what_was_typed_is_kept(
    client_as: ClientAs, late: str, until: str, why: str, said: str
) -> None:
    browser = client_as("manager")
    answer = send(browser, "/board/aside", key=late, until=until, why=why)
    assert answer.status_code == 422
    assert said.replace("tomorrow", "Thursday") in words(answer)
    assert f'value="{why}"' in answer.text
    assert not until or f'value="{until}"' in answer.text
    assert late.split()[-1][:3] in answer.text and "Put aside (" not in words(browser.get("/board"))


def test_what_sets_meanwhile_is_offered_until_the_next_open_day(client_as: ClientAs, late: str) -> None:
    browser = client_as("manager")
    page = browser.get(form_at(browser, late))
    assert 'value="2026-11-26"' in page.text and "At the latest Thursday." in words(page)


def test_a_line_that_is_done_meanwhile_is_not_put_aside(room: Room, client_as: ClientAs, late: str) -> None:
    browser = client_as("manager")

    room.scans(late.split()[-1], "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    room.wait(seconds=2)
    sent = {"key": late, "until": "2026-11-26", "why": "seen"}
    for ask in (lambda: browser.get(form_link(late)), lambda: send(browser, "/board/aside", **sent)):
        answer = ask()
        assert answer.status_code == 302 and answer.location == "/board"
        assert "That line needs nobody any more." in words(browser.get("/board"))


@pytest.mark.parametrize("role", ["reader", "volunteer"])
def test_others_see_what_is_aside_and_why_but_neither_by_whom_nor_a_link(
    client_as: ClientAs, station_client: ClientAs, shelf: str, role: str
) -> None:
    send(client_as("manager"), "/board/aside", key=shelf, until="2027-03-12", why="the table is full")
    for browser in (client_as(role), station_client("press")):
        answer = browser.get("/board")
        assert "Put aside (1)" in words(answer) and "the table is full" in words(answer)
        assert "Hedda Brackwater" not in re.sub(r"<header.*?</header>", "", answer.text, flags=re.S)
        assert "/board/aside" not in answer.text
    assert client_as(role).get("/board/aside").status_code == 403


def test_a_wall_shows_nothing_of_it(client_as: ClientAs, shelf: str) -> None:
    browser = client_as("manager")
    send(browser, "/board/aside", key=shelf, until="2027-03-12", why="Piet is ill")
    answer = browser.get("/wall")
    assert "Piet is ill" not in answer.text and "/board/aside" not in answer.text and answer.status_code == 200


def test_a_hostile_reason_and_place_stay_text(room: Room, client_as: ClientAs, shelf: str) -> None:
    browser = client_as("manager")
    why = "<script>alert(1)</script>"
    assert send(browser, "/board/aside", key=shelf, until="2027-03-12", why=why).status_code == 302
    for path in ("/board", "/board/aside", form_link(shelf)):
        assert why not in browser.get(path).text and "&lt;script&gt;alert(1)" in browser.get(path).text


def test_a_line_put_aside_may_be_put_aside_for_longer(client_as: ClientAs, shelf: str) -> None:
    browser = client_as("manager")
    for until in ("2027-03-12", "2027-03-19"):
        assert send(browser, "/board/aside", key=shelf, until=until, why="still full").status_code == 302
    assert "19 Mar 00:00" in words(browser.get("/board/aside")) and "Put aside (1)" in words(browser.get("/board"))


def test_every_line_leads_somewhere(room: Room, client_as: ClientAs) -> None:
    """Each kind of end is walked to, of a room in which a line leads there."""

    browser, number = client_as("manager"), room.sheet_ready()
    ends = {"sheet": number, "stack": "P1", "stage": "dry", "stalled": "drying", "left-behind": "dry", "cabinet": "M1",
            "picks": "M1", "holds": "name-query", "backup": "", "supply": "1", "freezer": "", "dryer": "", "clean": "M1"}  # fmt: skip
    room.scans(COMMANDS["check"], "table-1")
    room.scans(room.code("shelf", "M1/2"), "table-1")
    room.scans(COMMANDS["pest"], "table-2")
    room.scans(number, "table-2")
    with transaction(room.database) as session:
        add_supply(session, "mounting-sheet", "Mounting sheets", Told(room.now, None))
        ends |= {"check": "1", "pest": "1", "load": make_load(session, room.now)["code"]}
    assert set(ends) == set(HREFS)
    for kind, end in ends.items():
        need = Need("stalled", "", "", None, "", kind, end, "ready-for-mounting", shelf="1")
        with browser.application.test_request_context():
            address = href_of(need)
        assert browser.get(address).status_code == 200, address
        assert "left_behind=1" in address or kind not in ("picks", "left-behind")


def test_the_list_and_the_page_say_what_is_left_behind(room: Room, client_as: ClientAs) -> None:
    forgotten = room.sheet_ready()
    room.wait(days=1)
    for _ in range(11):
        room.scans(room.sheet_mounted(), "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    browser = client_as("reader")
    assert "left behind" in words(browser.get(f"/sheets/{forgotten}"))
    assert "left behind: nine in ten that came later have gone on" in words(browser.get("/board"))
    for path in ("/sheets?left_behind=1", "/sheets/picks?left_behind=1", "/cabinets/M1/picks?shelf=1&left_behind=1"):
        answer = browser.get(path)
        assert answer.status_code == 200 and "000001" in answer.text, path
    assert "000001" not in words(browser.get("/cabinets/M1?shelf=2&left_behind=1"))
