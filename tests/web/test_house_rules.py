"""A house rule on its own page, and what a raised time under weight asks about the sheets lying there."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db.engine import reading, transaction
from app.domain.house import RULES
from app.queries.house import house_now
from app.services.room import set_house_rule
from tests.room import Room
from tests.services.days import differences, pressed
from tests.web.conftest import ClientAs, send, words

PVA = "/room/rules/press_pva_h"
HOUR = 3600


def raised(browser: FlaskClient, hours: int) -> TestResponse:
    return send(browser, PVA, value=str(hours), reason="lifted leaves")


def hidden(browser: FlaskClient, path: str = f"{PVA}/lying") -> dict[str, str]:
    """The hidden fields of a page's form."""
    return dict(re.findall(r'name="(scan_id|version)"[^>]*? value="([^"]*)"', browser.get(path).text))


def answers(browser: FlaskClient, answer: str, **more: Any) -> TestResponse:
    return send(browser, f"{PVA}/lying", answer=answer, **{"reason": "lifted leaves", **hidden(browser), **more})


def rule_now(room: Room, name: str) -> int:
    with reading(room.database) as session:
        return int(getattr(house_now(session), name))


def test_every_rule_has_a_page_that_says_what_it_is(client_as: ClientAs) -> None:
    browser = client_as("manager")
    for row in RULES.values():
        answer = browser.get(f"/room/rules/{row.name}")
        said = words(answer)
        assert answer.status_code == 200 and f"{row.words} · Blotter" in said
        assert ("yes or no" if row.is_choice else f"{row.low} to {row.high}") in said
        with_history = '<ol class="log">' in answer.text
        assert ("Never changed: it is at its default." in said) is not with_history


def test_the_rooms_page_leads_to_the_page_of_each_rule(client_as: ClientAs) -> None:
    text = client_as("manager").get("/room").text
    assert all(f'href="/room/rules/{name}"' in text for name in RULES)


def test_what_more_there_is_to_know_stands_beside_the_value(client_as: ClientAs) -> None:
    assert "Only hours with the weights on count." in words(client_as("manager").get(PVA))


def test_a_change_stands_in_the_history_with_who_when_and_why(client_as: ClientAs) -> None:
    browser = client_as("manager")
    changed = send(browser, "/room/rules/run_sheets", value="8", reason="a second trolley")
    assert (changed.status_code, changed.location) == (302, "/room/rules/run_sheets")
    said = words(browser.get("/room/rules/run_sheets"))
    assert "Now 8 Default 6" in said and "8: a second trolley 09:00, Hedda Brackwater" in said
    assert "changed. It holds from now on" in said


def test_yes_and_no_are_chosen_and_said(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    assert '<option selected value="1">yes' in browser.get("/room/rules/not_own_work").text
    assert send(browser, "/room/rules/not_own_work", value="0", reason="two of us").status_code == 302
    assert rule_now(room, "not_own_work") == 0
    assert "Now no Default yes" in words(browser.get("/room/rules/not_own_work"))


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("run_sheets", "31", "between 1 and 30, not 31"),
        ("run_sheets", "a few", "Not a valid integer value."),
        ("run_sheets", "", "Give a whole number."),
        ("not_own_work", "2", "Not a valid choice."),
    ],
)
def test_what_is_wrong_stands_beside_the_field_and_what_was_typed_is_kept(
    room: Room, client_as: ClientAs, name: str, value: str, said: str
) -> None:
    before = rule_now(room, name)
    answer = send(client_as("manager"), f"/room/rules/{name}", value=value, reason="a second trolley")
    assert answer.status_code == 422 and said in words(answer)
    assert 'value="a second trolley"' in answer.text and rule_now(room, name) == before
    assert name == "not_own_work" or f'value="{value}"' in answer.text


@pytest.mark.parametrize("path", ["/room/rules/tea_time", "/room/rules/tea_time/lying", "/room/rules/run_sheets/lying"])
def test_a_page_that_there_is_not_is_not_found(client_as: ClientAs, path: str) -> None:
    browser = client_as("manager")
    assert browser.get(path).status_code == 404
    assert send(browser, path, answer="no", value="1", reason="why not").status_code == 404


def test_the_last_open_weekday_is_not_closed(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    with transaction(room.database) as session:
        for name in ("open_monday", "open_tuesday", "open_wednesday", "open_thursday"):
            set_house_rule(session, name, 0, "short week", room.now)
    answer = send(browser, "/room/rules/open_friday", value="0", reason="holidays")
    assert answer.status_code == 422 and "At least one weekday must be open." in words(answer)
    assert rule_now(room, "open_friday") == 1


def test_raising_a_minimum_asks_about_the_sheets_lying_there(room: Room, client_as: ClientAs) -> None:
    ready, fresh = pressed(room), room.sheet_mounted()
    room.wait(hours=25)
    room.weights("off", "P1")
    room.scans(fresh, "press", stack="P1")
    browser = client_as("manager")
    answer = raised(browser, 30)
    assert answer.location == f"{PVA}/lying"
    said = words(browser.get(answer.location))
    assert "2 sheets lie under press by the old minimum. Shall the new one hold for them too?" in said
    assert "1 of them may come out now by the old one." in said
    assert "P1 ordinary 24 h 30 h now" in said and "P1 ordinary 24 h 30 h not running" in said
    assert room.row(ready)["minimum_s"] == 24 * HOUR
    assert "2 sheets were laid in by a shorter minimum." in words(browser.get(PVA))


def test_yes_makes_them_longer_and_says_so_on_the_rules_page(room: Room, client_as: ClientAs) -> None:
    number = pressed(room)
    browser = client_as("manager")
    raised(browser, 30)
    answer = answers(browser, "yes", reason="the slow jar")
    assert answer.location == PVA and room.row(number)["minimum_s"] == 30 * HOUR
    said = words(browser.get(PVA))
    assert "Longer under weight. It holds for 1 sheet too, from now on." in said
    assert "30 h, for 1 sheet lying there too (the slow jar) 09:00, Hedda Brackwater" in said
    assert "laid in by a shorter minimum" not in said and differences(room.database) == []


def test_no_needs_no_reason_and_is_written_down(room: Room, client_as: ClientAs) -> None:
    number = pressed(room)
    browser = client_as("manager")
    raised(browser, 30)
    assert answers(browser, "no", reason="").location == PVA
    assert room.row(number)["minimum_s"] == 24 * HOUR
    said = words(browser.get(PVA))
    assert "1 sheet lying there keeps the old minimum 09:00, Hedda Brackwater" in said
    assert "1 sheet was laid in by a shorter minimum." in said, "who changes their mind finds the way back"


@pytest.mark.parametrize(("before", "after"), [(24, 24), (24, 20), (30, 28)])
def test_lowering_and_leaving_do_not_ask(room: Room, client_as: ClientAs, before: int, after: int) -> None:
    pressed(room)
    browser = client_as("manager")
    raised(browser, before)
    assert raised(browser, after).location == PVA


def test_nothing_is_asked_where_nothing_lies(client_as: ClientAs) -> None:
    browser = client_as("manager")
    assert raised(browser, 30).location == PVA
    assert "No sheet lies by a shorter minimum." in words(browser.get(f"{PVA}/lying"))


def test_yes_without_a_reason_is_asked_again(room: Room, client_as: ClientAs) -> None:
    number = pressed(room)
    browser = client_as("manager")
    raised(browser, 30)
    answer = answers(browser, "yes", reason=" ")
    assert answer.status_code == 422 and "Say why; it stays in the log." in words(answer)
    assert room.row(number)["minimum_s"] == 24 * HOUR


def test_an_answer_to_an_older_list_is_not_taken(room: Room, client_as: ClientAs) -> None:
    number = pressed(room)
    browser = client_as("manager")
    raised(browser, 30)
    old = hidden(browser)
    raised(browser, 40)
    answer = answers(browser, "yes", **old, reason="typed with care")
    assert answer.status_code == 422 and "A house rule was changed meanwhile." in words(answer)
    assert room.row(number)["minimum_s"] == 24 * HOUR and 'value="typed with care"' in answer.text
    # The page that says so lists them anew: its own answer is taken.
    again = dict(re.findall(r'name="(scan_id|version)"[^>]*? value="([^"]*)"', answer.text))
    assert answers(browser, "yes", **again).status_code == 302
    assert room.row(number)["minimum_s"] == 40 * HOUR


def test_the_button_pressed_twice_and_after_the_last_came_out_does_no_harm(room: Room, client_as: ClientAs) -> None:
    number = pressed(room)
    browser = client_as("manager")
    raised(browser, 30)
    fields = hidden(browser)
    assert [answers(browser, "yes", **fields).status_code for _ in range(2)] == [302, 302]
    assert room.steps(number).count("restate") == 1
    late = answers(browser, "yes", **{**fields, "scan_id": "another"})
    assert late.status_code == 422 and "No sheet lies by a shorter minimum any more." in words(late)


@pytest.mark.parametrize("version", ["", "-1", "1; drop", "9" * 30])
def test_a_list_that_is_named_wrong_is_no_answer(room: Room, client_as: ClientAs, version: str) -> None:
    number = pressed(room)
    browser = client_as("manager")
    raised(browser, 30)
    assert answers(browser, "yes", version=version).status_code == 422
    assert room.row(number)["minimum_s"] == 24 * HOUR


def test_the_rules_of_a_one_person_room_are_shown_and_set_together(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    said = words(browser.get("/room/one-person"))
    assert "Nobody passes a sheet that they mounted or mended themselves yes no" in said
    assert send(browser, "/room/one-person", reason=" ").status_code == 422 and rule_now(room, "not_own_work") == 1
    assert send(browser, "/room/one-person", reason="Hedda is alone").location == "/room/one-person"
    assert (rule_now(room, "not_own_work"), rule_now(room, "own_work_next_day")) == (0, 1)
    assert "One-person room: 2 rules were changed." in words(browser.get("/room/one-person"))
    send(browser, "/room/one-person", reason="again")
    assert "The rules were like that already." in words(browser.get("/room/one-person"))
