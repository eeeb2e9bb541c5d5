"""A room on its first day: a manager, and nothing else. Every page opens, and says what to do instead of falling over."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import create_app
from app.config import Config
from app.db.engine import Database, transaction
from app.services.people import add_worker, set_password
from app.web.permissions import PERMISSIONS
from tests.room import LONDON
from tests.web.conftest import PASSWORD, token

FIRST_DAY = datetime(2026, 11, 25, 9, tzinfo=UTC)


@pytest.fixture
def empty(database: Database, tmp_path: Path) -> Flask:
    """The application of a room without anything in it."""
    with transaction(database) as session:
        worker, _badge = add_worker(session, "Hedda Brackwater", ["manager"], FIRST_DAY)
        set_password(session, worker, PASSWORD, FIRST_DAY)
    data = tmp_path / "data"
    data.mkdir()
    return create_app(
        Config(data, "sqlite://", LONDON, "a key for the tests only"), clock=lambda: FIRST_DAY, database=database
    )


def manager(app: Flask) -> FlaskClient:
    browser = app.test_client(use_cookies=True)
    sent = {"name": "Hedda Brackwater", "password": PASSWORD, "csrf_token": token(browser, "/sign-in")}
    assert browser.post("/sign-in", data=sent).status_code == 302
    return browser


def test_every_page_opens_on_the_first_day(empty: Flask) -> None:
    browser, seen, wrong = manager(empty), 0, []
    for rule in empty.url_map.iter_rules():
        methods = rule.methods or set()
        if "GET" not in methods or rule.arguments or not PERMISSIONS.get(rule.endpoint, frozenset()) & {"manager"}:
            continue
        # A pick list of everything is refused in a sentence, in every room.
        answer = browser.get(rule.rule + ("?stalled=1" if rule.rule == "/sheets/picks" else ""))
        seen += 1
        if answer.status_code not in (200, 302, 204):
            wrong.append((rule.rule, answer.status))
    assert not wrong and seen > 25


@pytest.mark.parametrize("path", ["/weeks/2026-W48", "/weeks/2026-W48.csv", "/weeks/2026-W48.xlsx", "/weeks/2026-W01", "/people/1", "/people/1/kept",
                                  "/room/rules/press_pva_h", "/sheets/picks?stalled=1", "/cabinets?sort=plant"])  # fmt: skip
def test_what_has_nothing_to_show_yet_says_so(empty: Flask, path: str) -> None:
    assert manager(empty).get(path).status_code == 200


@pytest.mark.parametrize("path", ["/weeks/2026-W52", "/people/99", "/cabinets/M1", "/sheets/TQX0000012", "/press/P1",
                                  "/room/rules/none"])  # fmt: skip
def test_what_is_not_there_is_said_to_be_none(empty: Flask, path: str) -> None:
    assert manager(empty).get(path).status_code == 404
