"""The trainer's pages: signing off and ending it as somebody would, and what they say to one who asks for nonsense."""

from __future__ import annotations

import re

import pytest

from app.db.engine import transaction
from app.domain.stages import Step
from app.services.people import retire_worker
from app.services.room import set_house_rule
from tests.room import Room
from tests.services.test_sign_offs import signs
from tests.web.conftest import ClientAs, send, words

UP = {"step": "take-up", "difficulty": "ordinary"}


def asks(room: Room) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, "sign_offs", 1, "we teach by steps", room.now)


def test_the_trainer_signs_somebody_off_and_the_station_lets_them(room: Room, client_as: ClientAs) -> None:
    asks(room)
    browser, olwen, number = client_as("trainer"), room.worker["olwen"], room.sheet_ready()
    assert room.scans(number, "table-1").kind == "stop"
    assert "every scan of it is refused: pass ordinary sheets as dry, take up ordinary sheets" in words(
        browser.get("/teaching")
    )
    answer = send(browser, f"/teaching/{olwen}/sign-off", **UP)
    assert answer.status_code == 302 and answer.location == f"/teaching/{olwen}"
    page = words(browser.get(answer.location))
    assert "Olwen Tarrant may take up ordinary sheets alone now." in page
    assert "alone since 09:00 by Rosamund Ashgill" in page
    assert "ordinary sheets since 09:00 by Rosamund Ashgill" in words(browser.get("/teaching"))
    room.wait(minutes=1)
    assert room.scans(number, "table-1").kind == "done"


def test_ending_says_why_and_asks_the_station_again(room: Room, client_as: ClientAs) -> None:
    asks(room)
    signs(room, "olwen")
    signs(room, "olwen", "bulky")
    browser, olwen = client_as("manager"), room.worker["olwen"]
    choice = re.search(r'<option value="(\d+)">Take up ordinary sheets', browser.get(f"/teaching/{olwen}").text)
    assert choice
    room.wait(minutes=1)
    assert send(browser, f"/teaching/{olwen}/end", sign_off=choice.group(1), reason="too much glue").status_code == 302
    page = words(browser.get(f"/teaching/{olwen}"))
    assert "no longer does this alone: take up ordinary sheets, take up bulky or spiny sheets." in page
    assert "Sign-off ended: take up ordinary sheets, 09:01 by Hedda Brackwater “too much glue”" in page
    assert "End a sign-off" not in page
    assert room.scans(room.sheet_ready(), "table-1").kind == "stop"


def test_a_reason_that_is_missing_keeps_what_was_chosen(room: Room, client_as: ClientAs) -> None:
    signs(room, "olwen")
    signs(room, "olwen", step=Step.INSPECT)
    browser, olwen = client_as("trainer"), room.worker["olwen"]
    second = re.findall(r'<option value="(\d+)"', browser.get(f"/teaching/{olwen}").text)[1]
    answer = send(browser, f"/teaching/{olwen}/end", sign_off=second, reason=" ")
    assert answer.status_code == 422 and "Say why; it stays in the log." in words(answer)
    assert f'<option selected value="{second}">' in answer.text


def test_a_sign_off_of_somebody_else_or_that_has_ended_is_not_ended_here(room: Room, client_as: ClientAs) -> None:
    signs(room, "olwen")
    signs(room, "piet")
    browser, piet = client_as("trainer"), room.worker["piet"]
    olwens = re.findall(r'<option value="(\d+)"', browser.get(f"/teaching/{room.worker['olwen']}").text)[0]
    for sent in (olwens, "999", "", "one"):
        answer = send(browser, f"/teaching/{piet}/end", sign_off=sent, reason="because")
        assert answer.status_code == 422 and "does not hold any more" in words(answer), sent
    assert "ordinary sheets since" in words(browser.get("/teaching"))
    assert "alone since" in words(browser.get(f"/teaching/{room.worker['olwen']}"))


@pytest.mark.parametrize(
    "form", [{}, {"step": "mount", "difficulty": "ordinary"}, {"step": "take-up", "difficulty": "huge"}]
)
def test_nonsense_is_answered_with_a_sentence(room: Room, client_as: ClientAs, form: dict[str, str]) -> None:
    answer = send(client_as("trainer"), f"/teaching/{room.worker['olwen']}/sign-off", **form)
    assert answer.status_code == 422 and "Choose a step and what kind of sheets." in words(answer)


def test_ordinary_sheets_come_first_on_the_page_too(room: Room, client_as: ClientAs) -> None:
    browser, olwen = client_as("trainer"), room.worker["olwen"]
    answer = send(browser, f"/teaching/{olwen}/sign-off", step="take-up", difficulty="bulky")
    assert answer.status_code == 422 and "Ordinary sheets come first: sign Olwen Tarrant off to" in words(answer)
    page = browser.get(f"/teaching/{olwen}").text
    assert page.count("Sign off<span") == 4 and page.count("ordinary sheets first") == 12
    send(browser, f"/teaching/{olwen}/sign-off", **UP)
    assert browser.get(f"/teaching/{olwen}").text.count("Sign off<span") == 6


def test_signing_off_twice_says_so(room: Room, client_as: ClientAs) -> None:
    browser, olwen = client_as("trainer"), room.worker["olwen"]
    for said in ("may take up ordinary sheets alone now", "might take up ordinary sheets alone already"):
        send(browser, f"/teaching/{olwen}/sign-off", **UP)
        assert said in words(browser.get(f"/teaching/{olwen}"))


def test_readers_and_those_who_left_have_no_page_here(room: Room, client_as: ClientAs) -> None:
    browser = client_as("trainer")
    with transaction(room.database) as session:
        retire_worker(session, room.worker["piet"], room.now, by=None)
    for worker_id in (room.worker["ines"], room.worker["piet"], 999):
        assert browser.get(f"/teaching/{worker_id}").status_code == 404
        assert send(browser, f"/teaching/{worker_id}/sign-off", **UP).status_code == 404


def test_a_room_that_does_not_keep_the_rule_is_told_so(client_as: ClientAs) -> None:
    assert "The house rule is not kept here" in words(client_as("manager").get("/teaching"))


def test_what_has_lain_for_long_is_marked(room: Room, client_as: ClientAs) -> None:
    signs(room, "olwen")
    browser = client_as("trainer")
    assert "not done yet" not in words(browser.get("/teaching"))
    room.wait(weeks=13)
    browser = client_as("trainer")
    assert "not done yet" in words(browser.get("/teaching"))


def test_the_week_leads_here_whoever_may_come_in(client_as: ClientAs) -> None:
    for role, leads in (("trainer", True), ("manager", True), ("volunteer", False), ("reader", False)):
        answer = client_as(role).get("/week", follow_redirects=True)
        assert answer.status_code == 200 and ('href="/teaching"' in answer.text) is leads, role
