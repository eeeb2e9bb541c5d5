"""The program's own log: who, what, how it ended and how long it took; no name, nothing that was asked or sent; and it is small."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import create_app
from app.config import Config
from app.db.engine import transaction
from app.logs import FILES, LARGEST, keep_log
from app.services.people import enrol_station, make_token, set_password
from app.web import request_log
from app.web.security import STATION_COOKIE
from tests.room import LONDON, Room
from tests.test_cli import served
from tests.web.conftest import PASSWORD, sign_in

LINE = re.compile(
    r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z (INFO|WARNING) (\S+) ([A-Z]+) (\S+|\(no such address\)) (\d{3}) (\d+) ms( slow)?$"
)


@pytest.fixture
def app(room: Room, tmp_path: Path) -> Iterator[Flask]:
    """The room's pages, with a log."""
    made = create_app(
        Config(tmp_path, "sqlite://", LONDON, "a key for the tests only"),
        clock=lambda: room.now,
        database=room.database,
    )
    handler = keep_log(tmp_path, made.logger)
    yield made
    let_log_go(handler, made.logger)


def let_log_go(handler: logging.Handler, *more: logging.Logger) -> None:
    """Keep no log any more, so that the next test finds the logger as it was."""
    own = logging.getLogger("blotter")
    for logger in (own, *more):
        logger.removeHandler(handler)
    own.setLevel(logging.NOTSET)
    own.propagate = True
    handler.close()


def lines(folder: Path) -> list[str]:
    path = folder / "logs" / "blotter.log"
    return path.read_text(encoding="utf-8").splitlines() if path.exists() else []


def said(folder: Path) -> list[tuple[str, ...]]:
    """Who, what, where and how it ended, of every line; each is of the one shape."""
    found = [LINE.match(line) for line in lines(folder)]
    assert all(found), lines(folder)
    return [match.group(2, 3, 4, 5) for match in found if match]


def as_hedda(app: Flask, room: Room) -> FlaskClient:
    client = app.test_client()
    sign_in(client, room, "hedda")
    return client


def test_every_request_is_one_line_with_the_number_of_whoever_asked(app: Flask, room: Room, tmp_path: Path) -> None:
    with transaction(room.database) as session:
        secret = enrol_station(session, room.station["press"], room.worker["hedda"], room.now)
        key = make_token(session, "read", "the wall", room.now, worker_id=room.worker["hedda"])
    browser, station, script = as_hedda(app, room), app.test_client(), app.test_client()
    station.set_cookie(STATION_COOKIE, secret)
    (tmp_path / "logs" / "blotter.log").write_text("")
    browser.get("/board?shown=Hedda")
    station.get("/station")
    script.get("/api/board", headers={"Authorization": f"Bearer {key}"})
    script.get("/api/board")
    assert said(tmp_path) == [
        ("W01", "GET", "/board", "200"), (f"station-{room.station['press']}", "GET", "/station", "200"),
        ("key-1", "GET", "/api/board", "200"), ("-", "GET", "/api/board", "401"),
    ]  # fmt: skip


def test_nothing_of_what_was_asked_for_or_sent_is_in_it(app: Flask, room: Room, tmp_path: Path) -> None:
    browser = as_hedda(app, room)
    browser.get("/search?q=Lindqvist")
    browser.get("/sheets/Piet-Lindqvist%0a2026 forged")
    browser.get("/Piet/Lindqvist/was/here")
    browser.post("/sign-in", data={"name": "Hedda Brackwater", "password": PASSWORD})
    written = "\n".join(lines(tmp_path))
    for text in ("Lindqvist", "Piet", "Hedda", "forged", PASSWORD, "csrf"):
        assert text not in written, text
    paths = [where for _, _, where, _ in said(tmp_path)]
    assert "/search" in paths and "/sheets/<number>" in paths and "(no such address)" in paths


def test_a_page_that_only_looks_whether_anything_is_new_and_files_are_left_out(
    app: Flask, room: Room, tmp_path: Path
) -> None:
    browser = as_hedda(app, room)
    mark = re.search(r"shown=([\w-]+)", browser.get("/board").text)
    assert mark
    before = len(lines(tmp_path))
    assert browser.get(f"/board/live?shown={mark.group(1)}").status_code == 204
    browser.get("/static/base.css").close()
    assert len(lines(tmp_path)) == before


def test_what_takes_long_is_a_warning_even_where_it_would_be_left_out(
    app: Flask, room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    moments = iter(range(1000))
    monkeypatch.setattr(request_log, "perf_counter", lambda: next(moments) * 1.5)
    app.test_client().get("/static/base.css").close()
    assert re.search(r"WARNING - GET /static/base.css 200 1500 ms slow$", lines(tmp_path)[-1])


def test_an_error_is_written_with_its_kind_and_places_and_without_what_it_said(
    app: Flask, room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def falls() -> None:
        raise KeyError("Piet Lindqvist")

    monkeypatch.setattr("app.web.board.kept_board", falls)
    app.config["PROPAGATE_EXCEPTIONS"] = False
    assert as_hedda(app, room).get("/board").status_code == 500
    written = "\n".join(lines(tmp_path))
    assert "KeyError" in written and "board.py" in written and "Lindqvist" not in written
    assert " 500 " in written


def test_the_log_is_a_few_files_of_two_megabytes_and_its_owner_s_alone(tmp_path: Path) -> None:
    assert (FILES, LARGEST) == (5, 2_000_000)
    handler = keep_log(tmp_path)
    handler.maxBytes = 2000  # type: ignore[attr-defined]
    try:
        for number in range(1000):
            logging.getLogger("blotter.requests").info("line %d of a log that is turned over", number)
    finally:
        let_log_go(handler)
    files = sorted((tmp_path / "logs").iterdir())
    assert [path.name for path in files] == ["blotter.log", *(f"blotter.log.{each}" for each in range(1, 5))]
    assert all(path.stat().st_size <= 2000 for path in files) and "line 999 " in files[0].read_text()
    assert (tmp_path / "logs").stat().st_mode & 0o077 == 0


def test_a_log_that_cannot_be_written_stops_nobody_and_says_so_once(
    app: Flask, room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    browser = as_hedda(app, room)
    (tmp_path / "logs" / "blotter.log").unlink()
    for handler in app.logger.handlers:
        if isinstance(handler, logging.FileHandler):
            handler.close()
    (tmp_path / "logs" / "blotter.log").mkdir()
    assert [browser.get("/board").status_code for _ in range(3)] == [200, 200, 200]
    assert capsys.readouterr().err.count("cannot be written") == 1


def test_a_room_that_is_served_keeps_its_log_and_the_tests_rooms_keep_none(room: Room, tmp_path: Path) -> None:
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], PASSWORD, room.now)
    room.database.engine.dispose()
    with served("serve", "--data", str(tmp_path), "--port", "0") as there:
        there.get("/api/health")
        there.post("/sign-in", name="Hedda Brackwater", password=PASSWORD)
    found = said(tmp_path)
    assert ("-", "GET", "/api/health", "200") in found and "Hedda" not in "\n".join(lines(tmp_path))
    assert any(who == "W01" for who, *_ in found)
    assert not logging.getLogger("blotter").handlers
