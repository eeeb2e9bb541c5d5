"""The room's pages for the tests: the application on the room's own clock, and a browser for each role."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app import create_app
from app.config import Config
from app.db.engine import transaction
from app.services import people
from app.services.people import enrol_station, set_password
from app.web.security import STATION_COOKIE
from tests.room import LONDON, Room

PASSWORD = "a-long-enough-password"
CAST = {"manager": "hedda", "trainer": "rosamund", "volunteer": "olwen", "reader": "ines"}
ClientAs = Callable[[str], FlaskClient]


@pytest.fixture(autouse=True)
def quick_passwords(monkeypatch: pytest.MonkeyPatch) -> None:
    """Passwords are hashed cheaply here: what they cost to guess is not what these tests ask."""
    monkeypatch.setattr(people, "_hasher", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))


@pytest.fixture
def app(room: Room, tmp_path: Path) -> Flask:
    """The room's pages, on the room's own clock."""
    data = tmp_path / "data"
    data.mkdir()
    config = Config(data, "sqlite://", LONDON, "a key for the tests only")
    made = create_app(config, clock=lambda: room.now, database=room.database)
    made.testing = True
    # The application asks for its tokens as it does outside; the browsers below send them.
    return made


@pytest.fixture
def client_as(app: Flask, room: Room) -> ClientAs:
    """A browser in which somebody with a role is signed in; "nobody" for one in which nobody is."""

    def made(role: str) -> FlaskClient:
        client = app.test_client(use_cookies=True)
        if role != "nobody":
            sign_in(client, room, CAST[role])
        return client

    return made


@pytest.fixture
def station_client(app: Flask, room: Room) -> ClientAs:
    """The enrolled browser of a station, in which nobody is signed in with a password."""

    def made(slug: str) -> FlaskClient:
        with transaction(room.database) as session:
            secret = enrol_station(session, room.station[slug], room.worker["hedda"], room.now)
        client = app.test_client(use_cookies=True)
        client.set_cookie(STATION_COOKIE, secret)
        return client

    return made


def sign_in(client: FlaskClient, room: Room, who: str) -> None:
    """Give somebody a password, and sign in with it as they would."""
    with transaction(room.database) as session:
        set_password(session, room.worker[who], PASSWORD, room.now)
    name = {
        "hedda": "Hedda Brackwater",
        "rosamund": "Rosamund Ashgill",
        "olwen": "Olwen Tarrant",
        "ines": "Ines Caldwell",
    }[who]
    answer = client.post("/sign-in", data={"name": name, "password": PASSWORD, "csrf_token": token(client)})
    assert answer.status_code == 302, answer.text


def token(client: FlaskClient, path: str = "/sign-in") -> str:
    """The token that a page carries in its forms."""
    found = re.search(r'name="csrf_token" value="([^"]+)"', client.get(path).text)
    assert found, path
    return found.group(1)


def send(client: FlaskClient, path: str, **data: object) -> TestResponse:
    """Send a form as its page would, with the page's token."""
    return client.post(path, data={"csrf_token": token(client, "/password"), **data})


def words(answer: TestResponse) -> str:
    """The words of a page, without its marks."""
    run_on = re.sub(r"</?(?:a|b|i|span|strong|time)\b[^>]*>", "", answer.text)
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", run_on).split()))
