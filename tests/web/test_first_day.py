"""What a manager meets on the first day: boxes to tick, a pattern that mints, a browser that becomes a station."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from flask import Flask
from sqlalchemy import select, update

from app import create_app
from app.config import Config
from app.db.engine import reading, transaction
from app.db.models import Change, NumberPattern, Station
from tests.room import LONDON, Room
from tests.web.conftest import ClientAs, send, sign_in, token, words


@pytest.mark.parametrize("path", ["/people", "/people/2"])
def test_no_browser_asks_for_every_right_at_once(client_as: ClientAs, path: str) -> None:
    boxes = re.findall(r'<input[^>]*name="rights"[^>]*>', client_as("manager").get(path).text)
    assert len(boxes) == 4 and not [each for each in boxes if "required" in each]


def minting(room: Room) -> list[str]:
    with reading(room.database) as session:
        return list(session.scalars(select(NumberPattern.prefix).where(NumberPattern.mints)))


def ticked(page: str) -> bool:
    found = re.search(r'<input[^>]*name="mints"[^>]*>', page)
    assert found
    return "checked" in found[0]


def test_the_first_pattern_is_offered_as_the_one_by_which_the_room_mints(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    assert not ticked(manager.get("/room").text)
    with transaction(room.database) as session:
        session.execute(update(NumberPattern).values(mints=False))
    assert ticked(manager.get("/room").text)
    # Whoever took the tick out meets it so again with what was wrong.
    wrong = send(manager, "/room", what="pattern", name="TQX", many="7")
    assert wrong.status_code == 422 and not ticked(wrong.text)


def test_the_room_can_be_told_later_by_which_pattern_it_mints(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    assert send(manager, "/room", what="pattern", name="QFB", many="6", has_check="y").status_code == 302
    page = manager.get("/room")
    assert "Mint new numbers by QFB" in words(page) and "Mint new numbers by TQX" not in words(page)
    with reading(room.database) as session:
        pattern = session.scalar(select(NumberPattern.id).where(NumberPattern.prefix == "QFB"))
    assert send(manager, "/room/minting", pattern=pattern).location == "/room#pattern"
    page = manager.get("/room")
    assert "The room mints new numbers by QFB from now on." in words(page) and "Mint new numbers by TQX" in words(page)
    assert minting(room) == ["QFB"]
    with reading(room.database) as session:
        last = session.scalars(select(Change).order_by(Change.id.desc()).limit(1)).one()
    assert (last.subject, last.subject_id, last.new, last.changed_by) == (
        "number pattern",
        pattern,
        "QFB",
        room.worker["hedda"],
    )
    volunteer = client_as("trainer")
    given = send(volunteer, "/no-number", on_label="Viola")
    assert given.status_code == 302 and "QFB000001" in given.location


@pytest.mark.parametrize("pattern", ["99", "x", ""])
def test_a_pattern_that_is_not_there_mints_nothing(room: Room, client_as: ClientAs, pattern: str) -> None:
    manager = client_as("manager")
    send(manager, "/room/minting", pattern=pattern)
    assert "There is no such pattern." in words(manager.get("/room")) and minting(room) == ["TQX"]


def test_the_list_to_begin_with_stands_until_the_first_station(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    assert "To begin" not in words(manager.get("/room"))
    with transaction(room.database) as session:
        session.execute(update(Station).values(closed_at=room.now))
    assert "To begin" in words(manager.get("/room"))


def test_a_new_station_says_which_button_makes_it_one(client_as: ClientAs) -> None:
    manager = client_as("manager")
    send(manager, "/stations", name="Side table", kind="mounting")
    page = manager.get("/stations")
    assert (
        "press “Make this browser Side table”" in words(page)
        and "<button>Make this browser Side table</button>" in page.text
    )


def test_a_browser_that_becomes_a_station_signs_the_manager_out(app: Flask, room: Room, client_as: ClientAs) -> None:
    manager, copied = client_as("manager"), app.test_client(use_cookies=True)
    cookie = manager.get_cookie("blotter")
    assert cookie
    copied.set_cookie("blotter", cookie.value)
    assert copied.get("/people").status_code == 200
    made = manager.post("/stations/press/enrol", data={"csrf_token": token(manager, "/stations")})
    assert made.location == "/station" and manager.get("/station").status_code == 200
    assert manager.get("/").location == "/station"
    assert manager.get("/people").status_code == 403 and copied.get("/people").status_code == 302
    # Whoever wants both can have both: the password is asked for again.
    sign_in(manager, room, "hedda")
    assert manager.get("/people").status_code == 200 and manager.get("/station").status_code == 200


def test_the_question_whether_the_clock_is_right_names_the_year(room: Room, tmp_path: Path) -> None:
    from app.services.people import enrol_station
    from app.web.security import STATION_COOKIE

    app = create_app(
        Config(tmp_path, "", LONDON, "a key for the tests only"), clock=lambda: room.now, database=room.database
    )
    with transaction(room.database) as session:
        secret = enrol_station(session, room.station["press"], room.worker["hedda"], room.now)
    browser = app.test_client(use_cookies=True)
    browser.set_cookie(STATION_COOKIE, secret)
    assert "Right?" not in words(browser.get("/station"))
    app.extensions["blotter"].watch.doubtful_since_start = True
    assert "It is Wednesday 25 Nov 2026, 09:00. Right?" in words(browser.get("/station"))
