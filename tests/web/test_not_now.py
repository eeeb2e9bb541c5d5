"""While the database cannot be used, pages, stations and scripts are told so, with a status on which they send again."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any, NoReturn

import pytest

from app.db.engine import NotNow
from app.web import board, not_now, stations
from app.web.not_now import DO
from tests.room import Room
from tests.web.api_client import Scripts, problem
from tests.web.conftest import ClientAs, token, words

SAID = {
    "database is locked": "Another program holds the room's database.",
    "database or disk is full": "The disk of the room's computer is full.",
    "attempt to write a readonly database": "The room's database may only be read.",
    "disk I/O error": "The room's database does not answer.",
}


def fails(monkeypatch: pytest.MonkeyPatch, module: Any, name: str, why: str) -> None:
    """From now on this function of a page cannot use the database."""

    def cannot(*_: object, **__: object) -> NoReturn:
        raise NotNow("BEGIN", None, sqlite3.OperationalError(why))

    monkeypatch.setattr(module, name, cannot)


@pytest.mark.parametrize("why", SAID)
def test_a_station_is_told_what_is_the_matter_and_keeps_its_scan(
    room: Room, station_client: ClientAs, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    browser = station_client("intake")
    csrf = token(browser, "/station")
    fails(monkeypatch, stations, "scan_once", why)
    answer = browser.post(
        "/station/scan", data={"csrf_token": csrf, "code": room.new_number()}, headers={"X-Station": "1"}
    )
    # Any status of 500 makes a station give a scan up after five tries; this one does not.
    assert answer.status_code == 503 and answer.headers["Retry-After"] == "5" and "X-Answer" not in answer.headers
    assert SAID[why] in words(answer) and DO in words(answer)


def test_where_not_even_the_frame_of_a_page_can_be_drawn_the_words_stand_alone(
    room: Room, client_as: ClientAs, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser = client_as("manager")
    fails(monkeypatch, board, "kept_board", "database is locked")
    fails(monkeypatch, not_now, "page", "database is locked")
    answer = browser.get("/board")
    assert answer.status_code == 503 and answer.text == f"{SAID['database is locked']} {DO}\n"


def test_a_script_is_told_by_a_problem_of_status_503(
    room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from app.web import api

    scripts = Scripts(room, tmp_path)
    key, number = scripts.key(at="intake"), room.new_number()
    with monkeypatch.context() as patched:
        fails(patched, api, "answer_once", "database or disk is full")
        sent = {"scan_id": "kept", "code": number, "step": "take-in"}
        response = scripts.post("/scans", key, sent)
        assert problem(response, 503)["detail"] == f"{SAID['database or disk is full']} {DO}"
        assert response.headers["Retry-After"] == "5"
    assert scripts.post("/scans", key, sent).status_code == 200
    assert room.stage(number) == "intake"
