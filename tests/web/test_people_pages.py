"""People, badges, rights, and keys for scripts, on their pages."""

from __future__ import annotations

import re

import pytest

from app.db.engine import reading
from app.queries.furniture import badge_of
from app.queries.people import worker_by_id, workers
from app.services.people import holder_of
from tests.room import Room
from tests.web.conftest import PASSWORD, ClientAs, send, token, words


def test_a_new_worker_gets_a_badge_to_print(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    answer = send(browser, "/people", name="  Tamsin   Orrell ", rights=["volunteer"])
    assert answer.status_code == 302
    page = words(browser.get(answer.location))
    with reading(room.database) as session:
        tamsin = next(each for each in workers(session) if each.name == "Tamsin Orrell")
        badge = badge_of(session, tamsin.worker_id)
    assert f"VB {badge[2:-1]}·{badge[-1]}" in page and "volunteer" in page


@pytest.mark.parametrize(("name", "rights", "said"), [("", ["reader"], "It needs a name."), ("Tamsin", [], "Choose at least one."),
                                                      ("Tamsin", ["queen"], "is not a valid choice")])  # fmt: skip
def test_a_worker_needs_a_name_and_a_right(client_as: ClientAs, name: str, rights: list[str], said: str) -> None:
    answer = send(client_as("manager"), "/people", name=name, rights=rights)
    assert answer.status_code == 422 and said in words(answer)


def test_two_who_work_here_have_names_that_can_be_told_apart(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    answer = send(manager, "/people", name="olwen  TARRANT", rights=["volunteer"])
    assert answer.status_code == 422
    assert "olwen TARRANT works here already, as W02. Add what tells the two apart." in words(answer)
    assert send(manager, "/people", name="Olwen Tarrant (Tuesdays)", rights=["volunteer"]).status_code == 302
    send(manager, f"/people/{room.worker['piet']}/retire")
    assert send(manager, "/people", name="Piet Lindqvist", rights=["volunteer"]).status_code == 302


def test_a_new_badge_takes_the_place_of_the_old_one(room: Room, client_as: ClientAs) -> None:
    old = room.code("badge", "piet")
    send(client_as("manager"), f"/people/{room.worker['piet']}/badge")
    assert room.code("badge", "piet") != old
    assert room.scans(old, "table-2").kind == "stop"


def test_a_worker_who_left_opens_nothing_and_stays_in_the_log(room: Room, client_as: ClientAs) -> None:
    number, browser, olwen = room.sheet_mounted("table-1"), client_as("manager"), room.worker["olwen"]
    theirs = client_as("volunteer")
    assert theirs.get("/board").status_code == 200
    assert send(browser, f"/people/{olwen}/retire").status_code == 302
    assert theirs.get("/board").status_code == 302
    assert "Olwen Tarrant has left." in words(browser.get(f"/people/{olwen}"))
    assert "mounted by Olwen Tarrant" in words(browser.get(f"/sheets/{number}"))


def test_the_last_manager_neither_leaves_nor_gives_up_the_right(room: Room, client_as: ClientAs) -> None:
    browser, hedda = client_as("manager"), room.worker["hedda"]
    assert send(browser, f"/people/{hedda}/retire").location == f"/people/{hedda}"
    assert "The room needs a manager who can sign in." in words(browser.get(f"/people/{hedda}"))
    answer = send(browser, f"/people/{hedda}/rights", rights=["reader"])
    assert answer.status_code == 422 and "The room needs a manager" in words(answer)
    assert browser.get("/people").status_code == 200


def test_a_right_that_is_taken_away_is_gone_at_the_next_page(room: Room, client_as: ClientAs) -> None:
    browser, trainer = client_as("manager"), client_as("trainer")
    number = room.sheet_ready()
    send(browser, f"/people/{room.worker['rosamund']}/rights", rights=["volunteer"])
    assert send(trainer, f"/sheets/{number}/hold", hold="name-query", reason="why").status_code == 403


@pytest.mark.parametrize(("password", "status"), [("x" * 9, 422), ("x" * 10, 302), ("x" * 201, 422)])
def test_a_password_has_ten_characters_at_least(room: Room, client_as: ClientAs, password: str, status: int) -> None:
    answer = send(client_as("manager"), f"/people/{room.worker['piet']}/password", password=password)
    assert answer.status_code == status


def test_a_password_set_by_the_manager_signs_every_old_browser_out(room: Room, client_as: ClientAs) -> None:
    theirs, browser = client_as("reader"), client_as("manager")
    room.wait(seconds=1)
    send(browser, f"/people/{room.worker['ines']}/password", password="another-long-one")
    assert theirs.get("/board").status_code == 302
    fresh = client_as("nobody")
    form = {"name": "Ines Caldwell", "csrf_token": token(fresh)}
    assert fresh.post("/sign-in", data={**form, "password": PASSWORD}).status_code == 422
    assert fresh.post("/sign-in", data={**form, "password": "another-long-one"}).status_code == 302


@pytest.mark.parametrize(
    ("pin", "status"), [("123", 422), ("1234", 302), ("12345678", 302), ("123456789", 422), ("12a4", 422)]
)
def test_a_pin_is_four_to_eight_digits(room: Room, client_as: ClientAs, pin: str, status: int) -> None:
    assert send(client_as("manager"), f"/people/{room.worker['piet']}/pin", pin=pin).status_code == status


def test_somebody_who_is_not_there_has_no_page(client_as: ClientAs) -> None:
    browser = client_as("manager")
    assert browser.get("/people/999").status_code == 404 and send(browser, "/people/999/badge").status_code == 404


def test_a_key_is_shown_once_and_then_only_by_its_name(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    form = {"name": "The scanner at the press", "scope": "scan", "station": str(room.station["press"]), "days": "30"}
    assert send(browser, "/people/tokens", **form).status_code == 302
    shown = browser.get("/people/tokens")
    key = re.search(r"write it down now: ([\w-]{43})", words(shown))
    assert key and key.group(1) not in browser.get("/people/tokens").text
    with reading(room.database) as session:
        holder = holder_of(session, key.group(1), room.now)
    assert holder is not None and (holder.scope, holder.station_id) == ("scan", room.station["press"])


def test_a_managers_key_acts_for_the_manager_who_made_it(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    send(browser, "/people/tokens", name="night script", scope="manage", station="", days="1")
    key = re.search(r"write it down now: ([\w-]{43})", words(browser.get("/people/tokens")))
    assert key
    with reading(room.database) as session:
        holder = holder_of(session, key.group(1), room.now)
    assert holder is not None and holder.worker_id == room.worker["hedda"]


def test_a_revoked_key_opens_nothing(room: Room, client_as: ClientAs) -> None:
    browser = client_as("manager")
    send(browser, "/people/tokens", name="night script", scope="read", station="", days="1")
    key = re.search(r"write it down now: ([\w-]{43})", words(browser.get("/people/tokens")))
    assert key
    send(browser, "/people/tokens/1/revoke")
    with reading(room.database) as session:
        assert holder_of(session, key.group(1), room.now) is None
    assert "revoked" in words(browser.get("/people/tokens"))


def test_a_key_that_scans_belongs_to_a_station(client_as: ClientAs) -> None:
    answer = send(client_as("manager"), "/people/tokens", name="scanner", scope="scan", station="", days="30")
    assert answer.status_code == 422 and "belongs to a station" in words(answer)


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", '"><img src=x>'])
def test_a_name_is_shown_and_never_run(room: Room, client_as: ClientAs, name: str) -> None:
    browser = client_as("manager")
    where = send(browser, "/people", name=name, rights=["reader"]).location
    send(browser, "/people/tokens", name=name, scope="read", station="", days="1")
    for path in (where, "/people", "/people/tokens", "/room"):
        text = browser.get(path).text
        assert "<script>alert" not in text and "<img" not in text, path
    with reading(room.database) as session:
        worker = worker_by_id(session, int(where.rsplit("/", 1)[1]))
    assert worker is not None and worker.name == name
