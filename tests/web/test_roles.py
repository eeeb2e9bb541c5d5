"""Who may do what: every address in every role, against the one table that says so."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from flask import Flask, url_for
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db.engine import transaction
from app.domain.stages import Step
from app.services.people import make_token
from app.web.permissions import PERMISSIONS, TOKEN_SCOPES
from app.web.security import HEADERS
from tests.room import Room
from tests.web.conftest import CAST, ClientAs, token

ROLES = ("nobody", "station", "reader", "volunteer", "trainer", "manager")
# What each role counts as: nobody signed in, a station's browser, or all the rights that the cast's worker holds.
COUNTS_AS = {
    "nobody": {"anyone"},
    "station": {"anyone", "station"},
    "reader": {"anyone", "reader"},
    "volunteer": {"anyone", "volunteer"},
    "trainer": {"anyone", "trainer", "volunteer"},
    "manager": {"anyone", "manager", "trainer", "volunteer"},
}


def test_every_address_is_in_the_table_and_the_table_names_nothing_else(app: Flask) -> None:
    endpoints = {rule.endpoint for rule in app.url_map.iter_rules()}
    assert endpoints == set(PERMISSIONS) | set(TOKEN_SCOPES)
    assert not set(PERMISSIONS) & set(TOKEN_SCOPES)


def test_every_right_in_the_table_is_one_that_somebody_can_hold() -> None:
    held = set().union(*COUNTS_AS.values())
    assert all(allowed and allowed <= held for allowed in PERMISSIONS.values())


@pytest.mark.parametrize("role", ROLES)
def test_each_role_reaches_what_the_table_allows_and_nothing_else(
    app: Flask, room: Room, client_as: ClientAs, station_client: ClientAs, role: str
) -> None:
    number = room.sheet_in("P1")
    room.scans(number, step=Step.PUT_HOLD, who="hedda", reason="to look at", facts={"hold": "name-query"})
    with transaction(room.database) as session:
        make_token(session, "read", "a key", room.now)
    browser = station_client("table-2") if role == "station" else client_as(role)
    csrf = token(browser, TOKEN_FROM[role])
    wrong = []
    # What signs out comes last: no copy of the cookie opens anything after it.
    last = {"stations.enrol": 1, "doors.sign_out": 2}
    for endpoint, method, address in sorted(addresses(app, room, number), key=lambda each: last.get(each[0], 0)):
        answer = ask(browser, method, address, csrf)
        if is_let_in(answer) is not bool(COUNTS_AS[role] & PERMISSIONS[endpoint]):
            wrong.append(f"{method} {address} ({endpoint}): {answer.status}")
        if answer.status_code >= 500:
            wrong.append(f"{method} {address} fell over: {answer.status}")
    assert not wrong


@pytest.mark.parametrize("role", ROLES)
def test_no_cookie_opens_the_interface_for_scripts(
    app: Flask, room: Room, client_as: ClientAs, station_client: ClientAs, role: str
) -> None:
    number = room.sheet_in("P1")
    browser = station_client("table-2") if role == "station" else client_as(role)
    asked = [each for each in every_address(app, room, number) if each[0] in TOKEN_SCOPES]
    assert len(asked) == len(TOKEN_SCOPES)
    assert {ask(browser, method, address, "").status_code for _, method, address in asked} == {401}


def test_every_answer_carries_the_safe_headers(app: Flask, room: Room, client_as: ClientAs) -> None:
    number = room.sheet_in("P1")
    browser, nobody = client_as("manager"), client_as("nobody")
    answers = [ask(browser, method, address, "") for _, method, address in every_address(app, room, number)]
    answers += [closed(nobody.get(path)) for path in ("/", "/board", "/nowhere", "/static/nothing.css", "/sheets/ABC")]
    answers += [browser.put("/board"), closed(browser.get("/static/base.css")), browser.post("/board")]
    assert {answer.status_code // 100 for answer in answers} == {2, 3, 4}
    for answer in answers:
        assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS, answer.request.path


def test_pages_are_kept_in_no_cache_and_styles_are(client_as: ClientAs) -> None:
    assert client_as("manager").get("/board").headers["Cache-Control"] == "no-store"
    assert "max-age" in closed(client_as("nobody").get("/static/base.css")).headers["Cache-Control"]


def test_the_policy_lets_nothing_in_that_stands_in_the_page_itself(client_as: ClientAs) -> None:
    # Content Security Policy Level 3 (W3C): without 'unsafe-inline' neither inline script nor inline style runs.
    policy = client_as("nobody").get("/sign-in").headers["Content-Security-Policy"]
    assert "unsafe" not in policy and policy.startswith("default-src 'none'")


def test_a_deed_without_the_token_of_its_page_is_not_done(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    answer = client_as("manager").post(f"/sheets/{number}/withdraw", data={"reason": "sent in exchange"})
    assert answer.status_code == 400
    assert room.row(number)["closed_as"] is None


def test_whoever_is_turned_away_is_told_where_the_door_is(client_as: ClientAs) -> None:
    answer = client_as("nobody").get("/sheets?stage=dry")
    assert answer.status_code == 302 and answer.location == "/sign-in?next=/sheets?stage%3Ddry"


def test_the_cast_holds_the_rights_that_the_roles_count_as(room: Room, client_as: ClientAs) -> None:
    shown = client_as("manager").get("/people").text
    assert "manager, trainer, volunteer" in shown and "trainer, volunteer" in shown
    assert set(CAST) <= set(ROLES)


def ask(browser: FlaskClient, method: str, address: str, csrf: str) -> TestResponse:
    """Ask as this browser would, each time with the cookies that it came with."""
    fresh = browser.application.test_client()
    fresh._cookies = dict(browser._cookies or {})  # a browser that has just been opened again
    data = {"csrf_token": csrf} if method == "POST" and csrf else None
    return closed(fresh.open(address, method=method, data=data))


def closed(answer: TestResponse) -> TestResponse:
    """The answer, read to its end, so that no file stays open behind it."""
    answer.get_data()
    answer.close()
    return answer


def is_let_in(answer: TestResponse) -> bool:
    """Whether the door let this request in."""
    sent_to_door = answer.status_code == 302 and (answer.location or "").startswith("/sign-in?next=")
    return answer.status_code not in (401, 403) and not sent_to_door


def addresses(app: Flask, room: Room, number: str) -> Iterator[tuple[str, str, str]]:
    """Every address that a browser may ask for, with each of its methods."""
    yield from (each for each in every_address(app, room, number) if each[0] in PERMISSIONS)


def every_address(app: Flask, room: Room, number: str) -> list[tuple[str, str, str]]:
    entry = room.log(number)[0]["id"]
    samples = {"check_id": 1, "number": number, "entry": entry, "slug": "table-1", "worker_id": room.worker["piet"], "token_id": 1, "aside_id": 1, "file_id": 1, "pest_id": 1, "supply_id": 1, "lot_id": 1, "hand_over_id": 1,
               "filename": "base.css", "label": "2026-W48"}  # fmt: skip
    names = {
        "press.one": "P1",
        "press.late": "P1",
        "cabinets.one": "M1",
        "cabinets.picks": "M1",
        "cabinets.table": "M1",
        "freezer.clean": "M1",
        "freezer.say_clean": "M1",
        "checks.begin": "M1",
        "rules.one": "run_sheets",
        "rules.change": "run_sheets",
        "rules.lying": "press_pva_h",
        "rules.answer": "press_pva_h",
    }
    found = []
    with app.test_request_context():
        for rule in app.url_map.iter_rules():
            values = {**samples, "name": names.get(rule.endpoint, ""), "code": room.code("on", "P1")}
            address = url_for(rule.endpoint, **{name: values[name] for name in rule.arguments})
            found += [(rule.endpoint, method, address) for method in sorted((rule.methods or set()) & {"GET", "POST"})]
    return found


TOKEN_FROM = {"nobody": "/sign-in", "station": "/station", **dict.fromkeys(CAST, "/password")}
