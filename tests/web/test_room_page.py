"""The room's own page: what is in it, and the house rules with reason and history."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from app import create_app
from app.config import Config
from app.db.engine import reading, transaction
from app.domain.house import RULES
from app.queries.house import house_now
from app.services.people import add_worker, set_password
from tests.databases import Rooms
from tests.room import LONDON, WEDNESDAY, Room
from tests.web.conftest import PASSWORD, ClientAs, send, token, words

ADDED: list[tuple[dict[str, Any], str]] = [
    ({"what": "cabinet", "name": "M2", "kind": "ready-for-mounting", "many": "3"}, "M2 ready for mounting, 3 shelves"),
    ({"what": "stack", "name": "P9", "many": "12", "mass": "8.5", "pieces": "3"}, "P9 0 of 12 sheets, 8.5 kg in 3 pieces"),
    ({"what": "bundle", "name": "Tray 7", "kind": "tray"}, "Tray 7 tray, 0 sheets KB 000001·K"),
    ({"what": "consignment", "name": "Survey", "code": "QF-26", "kind": "exchange", "arrived_on": "2026-10-30"},
     "Survey QF-26, exchange"),
    ({"what": "pattern", "name": "old", "many": "5", "has_check": "y"}, "OLD and 5 digits, with a check character"),
    ({"what": "adhesive", "name": "PVA, lot 9", "code": "pva-9", "kind": "pva", "lot": "9"}, "PVA, lot 9 pva-9, pva, lot 9"),
]  # fmt: skip


@pytest.mark.parametrize(("form", "shown"), ADDED, ids=lambda each: each["what"] if isinstance(each, dict) else "")
def test_what_is_added_to_the_room_stands_on_its_page(client_as: ClientAs, form: dict[str, Any], shown: str) -> None:
    browser = client_as("manager")
    answer = send(browser, "/room", **form)
    assert answer.status_code == 302 and answer.location == f"/room#{form['what']}"
    assert shown in words(browser.get("/room"))


WRONG: list[tuple[dict[str, Any], str]] = [
    ({"what": "cabinet", "name": "M1", "kind": "", "many": "3"}, "The name M1 is taken."),
    ({"what": "cabinet", "name": "M3", "kind": "attic", "many": "3"}, "Not a valid choice."),
    ({"what": "cabinet", "name": "", "kind": "", "many": "3"}, "It needs a name."),
    ({"what": "stack", "name": "P9", "many": "0", "mass": "8", "pieces": "3"}, "between 1 and 200"),
    ({"what": "pattern", "name": "VB", "many": "6"}, "VB is kept for the codes on cards"),
    ({"what": "pattern", "name": "TQX", "many": "7"}, "nearly this length"),
    (
        {"what": "consignment", "name": "Survey", "code": "a b", "kind": "gift"},
        "Letters, digits, dots and hyphens only.",
    ),
    ({"what": "adhesive", "name": "Glue", "code": "g", "kind": "tar"}, "Not a valid choice."),
]


@pytest.mark.parametrize(("form", "said"), WRONG)
def test_what_cannot_be_added_is_told_beside_its_field_with_the_form_open(
    client_as: ClientAs, form: dict[str, Any], said: str
) -> None:
    answer = send(client_as("manager"), "/room", **form)
    assert answer.status_code == 422 and said in words(answer) and '<details class="no-print" open>' in answer.text


def test_something_that_no_room_has_is_a_wrong_request(client_as: ClientAs) -> None:
    assert send(client_as("manager"), "/room", what="aquarium", name="A").status_code == 400


def test_a_house_rule_is_changed_with_a_reason_and_keeps_its_history(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    assert send(browser, "/room/rules/press_pva_h", value="30", reason="the new glue sets slowly").status_code == 302
    with reading(room.database) as session:
        assert house_now(session).press_pva_h == 30
    said = words(browser.get("/room"))
    assert "30 since 09:00, Hedda Brackwater: the new glue sets slowly" in said


def test_every_house_rule_stands_on_the_page_with_its_bounds(client_as: ClientAs) -> None:
    said = words(client_as("manager").get("/room"))
    assert all(row.words in said for row in RULES.values())
    assert "1 to 336" in said and "yes or no" in said


@pytest.mark.parametrize(
    ("value", "status"), [("0", 422), ("1", 302), ("336", 302), ("337", 422), ("a day", 422), ("", 422)]
)
def test_a_value_outside_its_bounds_is_refused(client_as: ClientAs, value: str, status: int) -> None:
    answer = send(client_as("manager"), "/room/rules/press_pva_h", value=value, reason="trying")
    assert answer.status_code == status
    assert ('id="press_pva_h-value-error"' in answer.text) is (status == 422)


def test_a_rule_is_not_changed_without_a_reason(room: Room, client_as: ClientAs) -> None:
    answer = send(client_as("manager"), "/room/rules/press_pva_h", value="30", reason=" ")
    assert answer.status_code == 422 and 'id="press_pva_h-reason-error"' in answer.text
    with reading(room.database) as session:
        assert house_now(session).press_pva_h == 24


def test_a_rule_that_the_house_has_not_is_not_found(client_as: ClientAs) -> None:
    assert send(client_as("manager"), "/room/rules/tea_time", value="4", reason="why not").status_code == 404


def test_every_page_of_an_empty_room_says_something_helpful(rooms: Rooms, tmp_path: Path) -> None:
    database = rooms.open(tmp_path / "empty.sqlite3")
    with transaction(database) as session:
        worker_id, _ = add_worker(session, "Hedda Brackwater", ("manager",), WEDNESDAY)
        set_password(session, worker_id, PASSWORD, WEDNESDAY)
    app = create_app(
        Config(tmp_path, "", LONDON, "a key for the tests only"), clock=lambda: WEDNESDAY, database=database
    )
    app.testing = True
    browser = app.test_client()
    browser.post("/sign-in", data={"name": "Hedda Brackwater", "password": PASSWORD, "csrf_token": token(browser)})
    for path in (
        "/board",
        "/sheets",
        "/press",
        "/cabinets",
        "/intake",
        "/room",
        "/search",
        "/people/tokens",
        "/stations",
    ):
        answer = browser.get(path)
        assert answer.status_code == 200 and ('class="empty"' in answer.text or "To begin" in answer.text), path
    database.engine.dispose()
