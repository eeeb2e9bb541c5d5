"""What a station's script asks of the server, and what the server takes of scans that were kept."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.domain.numbers import COMMANDS
from tests.room import Room
from tests.web.conftest import ClientAs, token
from tests.web.test_roles import closed

MS = 1000


def ms(room: Room, **ago: float) -> str:
    return str(int((room.now - timedelta(**ago)).timestamp() * MS))


def sends(browser: FlaskClient, path: str, **fields: object) -> TestResponse:
    csrf = token(browser, "/station")
    return browser.post(path, data={"csrf_token": csrf, **fields}, headers={"X-Station": "1"})


def facts(browser: FlaskClient) -> dict[str, Any]:
    found = re.search(r"data-facts='([^']+)'", browser.get("/station").text)
    assert found
    told: dict[str, Any] = json.loads(found[1])
    return told


def test_a_contact_says_how_much_is_held(room: Room, station_client: ClientAs) -> None:
    browser = station_client("table-1")
    assert sends(browser, "/station/contact", held=0).get_json() == {"station": room.station["table-1"]}
    assert room.station_row("table-1")["clear_at"] == room.now and room.station_row("table-1")["seen_at"] is None
    room.wait(minutes=5)
    answer = sends(browser, "/station/contact", held=2)
    row = room.station_row("table-1")
    assert (row["seen_at"], row["clear_at"]) == (room.now, room.now - timedelta(minutes=5))
    assert answer.headers["X-Now"] == ms(room)
    assert browser.post("/station/contact", data={"held": 0}).status_code == 400


def test_the_list_of_the_press_says_when_each_sheet_may_come_out(room: Room, station_client: ClientAs) -> None:
    room.weights("off", "P1")
    number = room.sheet_in("P1", adhesive="straps")
    room.weights("on", "P1")
    began = room.now
    room.weights("off", "P2")
    bare = room.sheet_in("P2")
    browser = station_client("press")
    room.wait(minutes=30)
    told = browser.get("/station/out").get_json()
    stacks = {stack["name"]: stack for stack in told["stacks"]}
    # Two hours for straps (house rule), by the clock of its weights.
    ready = int((began + timedelta(hours=2)).timestamp() * MS)
    assert (
        told["at"] == int(ms(room))
        and stacks["P1"]["sheets"] == {number: ready}
        and stacks["P2"]["sheets"] == {bare: None}
    )
    assert [stacks[name]["weightsOn"] for name in ("P1", "P2")] == [True, False]
    assert [stacks[name]["inHand"] for name in ("P1", "P2", "P3")] == [False, True, False]
    assert (stacks["P1"]["on"], stacks["P1"]["off"]) == (room.code("on", "P1"), room.code("off", "P1"))
    room.wait(hours=30)
    room.weights("off", "P1")
    (stack,) = (each for each in browser.get("/station/out").get_json()["stacks"] if each["name"] == "P1")
    assert stack["sheets"] == {number: ready}, "what had its time has it still when the weights are lifted"


def test_the_worker_looks_after_the_station_and_nothing_else(client_as: ClientAs) -> None:
    answer = closed(client_as("nobody").get("/station/worker.js"))
    assert answer.status_code == 200 and answer.mimetype == "text/javascript"
    assert answer.headers["Service-Worker-Allowed"] == "/station"
    assert "worker-src 'self'" in answer.headers["Content-Security-Policy"]


def test_the_page_tells_its_script_what_may_be_kept(room: Room, station_client: ClientAs) -> None:
    told = {slug: facts(station_client(slug)) for slug in ("table-1", "press", "drying")}
    assert told["table-1"]["safe"] == ["mount", "put-under-weight", "take-up", "weights-off", "weights-on"]
    assert told["table-1"]["bare"] == ["take-up", "mount"]
    assert told["press"]["bare"] == ["put-under-weight", "take-out"]
    assert set(told["drying"]["bare"]) & set(told["drying"]["safe"]) == set()
    assert ["sheet", "TQX", 6, True] in told["press"]["shapes"]
    assert told["press"]["cards"]["undo"] == COMMANDS["undo"]
    assert told["press"]["zone"] == "Europe/London"


def test_a_scan_made_as_another_station_is_not_written_here(room: Room, station_client: ClientAs) -> None:
    number, browser = room.sheet_ready(), station_client("table-1")
    other, own = str(room.station["table-2"]), str(room.station["table-1"])
    for path in ("/station/scan", "/station/undo"):
        assert sends(browser, path, code=number, made_at=other, scan_id="s-1").status_code == 403
    assert room.steps(number)[-1] == "arrive-dry"
    assert "Taken up." in sends(browser, "/station/scan", code=number, made_at=own, scan_id="s-1").text


@pytest.mark.parametrize(("minutes", "word"), [(1, "Taken out."), (2, "Not yet.")])
def test_a_take_out_that_waited_is_taken_within_a_minute_and_no_longer(
    room: Room, station_client: ClientAs, minutes: int, word: str
) -> None:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=30)
    room.weights("off", "P1")
    browser = station_client("press")
    sends(browser, "/station/contact", held=0)
    room.wait(minutes=10)
    answer = sends(browser, "/station/scan", code=number, happened_ms=ms(room, minutes=minutes), held=1)
    assert word in answer.text
    assert answer.headers["X-Answer"] == ("done" if minutes == 1 else "not-yet")


def test_an_uncertain_time_goes_in_with_its_bounds_and_is_read_on_the_sheets_page(
    room: Room, station_client: ClientAs, client_as: ClientAs
) -> None:
    number, browser = room.sheet_ready(), station_client("table-1")
    sends(browser, "/station/contact", held=0)
    room.wait(hours=3)
    bounds = {"not_before_ms": ms(room, hours=2), "happened_ms": ms(room, hours=1)}
    assert "Taken up." in sends(browser, "/station/scan", code=number, held=0, **bounds).text
    log = client_as("manager").get(f"/sheets/{number}").text
    assert "Its time is uncertain: between Wed 25 Nov 10:00 and Wed 25 Nov 11:00." in log


def test_without_a_lower_bound_it_is_the_last_clear_word(room: Room, station_client: ClientAs) -> None:
    """A page opened without the server has heard nothing: it says 0, and the room knows better."""
    number, browser = room.sheet_ready(), station_client("table-1")
    sends(browser, "/station/contact", held=0)
    since = room.now
    room.wait(hours=3)
    sends(browser, "/station/scan", code=number, held=0, not_before_ms="0", happened_ms=ms(room, hours=1))
    assert room.log(number)[-1]["facts"]["not_before"] == since.isoformat()


def test_an_undo_that_waited_is_not_guessed(room: Room, station_client: ClientAs) -> None:
    number, browser = room.sheet_ready(), station_client("table-1")
    sends(browser, "/station/scan", code=number, held=0)
    entry = room.log(number)[-1]["id"]
    room.wait(minutes=5)
    late = sends(browser, "/station/undo", entry=entry, reason="not-done-yet", happened_ms=ms(room, minutes=2), held=1)
    assert late.status_code == 422 and room.steps(number)[-1] == "take-up"
    assert "Undone." in sends(browser, "/station/undo", entry=entry, reason="not-done-yet").text
