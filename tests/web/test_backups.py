"""Backups on the page of the room: made now, and copied to a second place that is named there or at the first start."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask import Flask
from sqlalchemy import text

from app import create_app
from app.config import Config
from app.db.engine import Database, open_database, reading, sqlite_url, transaction
from app.queries.backups import backups_kept
from app.queries.health import health
from app.services.audit import audit
from app.services.first import make_first_code
from tests.room import LONDON, WEDNESDAY, Room
from tests.web.conftest import ClientAs, token, words

pytestmark = pytest.mark.sqlite_only("a room on a server is backed up by the server's own tools")


def test_the_manager_backs_the_room_up_and_the_copy_is_a_whole_room(
    app: Flask, room: Room, client_as: ClientAs, tmp_path: Path
) -> None:
    number = room.sheet_ready()
    browser = client_as("manager")
    answer = browser.post("/backup", data={"csrf_token": token(browser, "/room")})
    said = words(browser.get("/room"))
    assert answer.status_code == 302 and "Backed up: blotter-" in said and "looked through and whole" in said
    assert "no second place is named" in said
    (copy,) = (tmp_path / "data" / "backups").glob("*.sqlite3")
    assert copy.stat().st_mode & 0o077 == 0
    copied = open_database(sqlite_url(copy))
    with reading(copied) as session:
        assert not list(audit(session, room.zone))
        assert session.execute(text("SELECT count(*) FROM sheet WHERE number = :n"), {"n": number}).scalar() == 1
    copied.engine.dispose()
    with reading(room.database) as session:
        assert health(session).last_backup == room.now.isoformat()


def test_a_backup_that_cannot_be_written_is_said_and_none_is_on_record(
    app: Flask, room: Room, client_as: ClientAs, tmp_path: Path
) -> None:
    (tmp_path / "data" / "backups").write_text("a file is in the way")
    browser = client_as("manager")
    browser.post("/backup", data={"csrf_token": token(browser, "/room")})
    assert "Nothing was backed up" in words(browser.get("/room"))
    with reading(room.database) as session:
        assert health(session).last_backup is None


def test_the_second_place_is_named_on_the_page_of_the_room_and_shown_there(
    room: Room, client_as: ClientAs, tmp_path: Path
) -> None:
    (tmp_path / "other").mkdir()
    browser = client_as("manager")
    answer = browser.post(
        "/backup/second-place", data={"csrf_token": token(browser, "/room"), "folder": str(tmp_path / "other")}
    )
    assert answer.status_code == 302 and answer.location == "/room", "what was done is said at its top"
    page = browser.get("/room")
    # Here both lie on one disk, and that is said.
    assert "their second place is on the same disk" in words(page) and f'value="{tmp_path / "other"}"' in page.text
    browser.post("/backup", data={"csrf_token": token(browser, "/room")})
    assert len(list((tmp_path / "other").glob("blotter-*/blotter-*.sqlite3"))) == 1
    browser.post("/backup/second-place", data={"csrf_token": token(browser, "/room"), "folder": ""})
    with reading(room.database) as session:
        assert backups_kept(session).place == ""


@pytest.mark.parametrize(
    ("folder", "said"), [("other", "whole path"), ("/no/such/folder", "There is no folder"), ("/" + "x" * 1001, "1000")]
)
def test_a_folder_that_is_none_stands_in_its_field_with_the_reason(
    room: Room, client_as: ClientAs, folder: str, said: str
) -> None:
    browser = client_as("manager")
    answer = browser.post("/backup/second-place", data={"csrf_token": token(browser, "/room"), "folder": folder})
    assert answer.status_code == 422 and said in words(answer) and f'value="{folder}"' in answer.text
    assert "Nothing was changed" in words(answer)
    with reading(room.database) as session:
        assert backups_kept(session).place == ""


def test_only_the_manager_makes_or_names_anything(client_as: ClientAs) -> None:
    for role in ("trainer", "volunteer", "reader", "nobody"):
        browser = client_as(role)
        for address in ("/backup", "/backup/second-place"):
            status = browser.post(
                address, data={"csrf_token": token(browser, "/sign-in"), "folder": "/tmp"}
            ).status_code
            assert status in (401, 403), (role, address)


@pytest.fixture
def empty(database: Database, tmp_path: Path) -> tuple[Flask, str]:
    """A room on its first day, and the code on its console."""
    data = tmp_path / "data"
    data.mkdir()
    made = create_app(
        Config(data, "sqlite://", LONDON, "a key for the tests only"), clock=lambda: WEDNESDAY, database=database
    )
    made.testing = True
    with transaction(database) as session:
        code = make_first_code(session)
    assert code is not None
    return made, code


def test_the_second_place_is_named_at_the_first_start(
    empty: tuple[Flask, str], database: Database, tmp_path: Path
) -> None:
    app, code = empty
    (tmp_path / "other").mkdir()
    browser = app.test_client()
    first = {"code": code, "name": "Hedda Brackwater", "password": "paste-and-paper", "folder": str(tmp_path / "other")}
    assert browser.post("/first", data={"csrf_token": token(browser, "/first"), **first}).status_code == 302
    with reading(database) as session:
        assert backups_kept(session).place == str(tmp_path / "other")


def test_a_folder_that_is_none_at_the_first_start_opens_the_room_all_the_same_and_is_told(
    empty: tuple[Flask, str], database: Database
) -> None:
    app, code = empty
    browser = app.test_client()
    first = {"code": code, "name": "Hedda Brackwater", "password": "paste-and-paper", "folder": "/no/such/folder"}
    assert browser.post("/first", data={"csrf_token": token(browser, "/first"), **first}).status_code == 302
    assert "is not named yet: There is no folder /no/such/folder" in words(browser.get("/room"))


def test_whoever_does_not_know_the_code_learns_nothing_of_the_folders_here(empty: tuple[Flask, str]) -> None:
    app, _ = empty
    answers = []
    for folder in ("/etc", "/no/such/folder"):
        browser = app.test_client()
        first = {"code": "AAAA-BBBB-CCCC", "name": "Somebody", "password": "a-long-password", "folder": folder}
        answer = browser.post("/first", data={"csrf_token": token(browser, "/first"), **first})
        answers.append((answer.status_code, words(answer).replace(folder, "")))
    assert answers[0] == answers[1] and answers[0][0] == 422
