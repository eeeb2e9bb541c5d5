"""In which language a page is said: by the worker's choice, else by the browser's; at a station by whoever works there."""

from __future__ import annotations

import re
from secrets import token_urlsafe

from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.test import TestResponse

from app.db.engine import reading, transaction
from app.db.models import Change
from app.domain.numbers import COMMANDS
from app.queries.spoken import language_of_worker
from app.services.spoken import choose_language
from app.web.languages import available
from tests.room import Room
from tests.web.conftest import ClientAs, token

THERE_ARE = {"en": "English", "nl": "Nederlands"}


def tongue(client: FlaskClient, path: str, **headers: str) -> str:
    """The language that a page says it is written in, in its head and in its mark-up alike."""
    answer = client.get(path, headers=headers, follow_redirects=True)
    found = re.search(r'<html lang="([a-z-]+)">', answer.get_data(as_text=True))
    assert found is not None and answer.headers["Content-Language"] == found.group(1)
    return found.group(1)


def test_there_is_english_and_one_more() -> None:
    assert available() == THERE_ARE


def test_a_page_speaks_as_the_browser_prefers_until_a_worker_chooses(client_as: ClientAs, room: Room) -> None:
    manager = client_as("manager")
    dutch = {"Accept-Language": "nl-BE,nl;q=0.9,en;q=0.5"}
    assert tongue(manager, "/board") == "en"
    assert tongue(manager, "/board", **dutch) == "nl"
    assert tongue(manager, "/board", **{"Accept-Language": "fi"}) == "en"
    sent = {"csrf_token": token(manager, "/me"), "language": "en"}
    assert manager.post("/me/language", data=sent).status_code == 302
    assert tongue(manager, "/board", **dutch) == "en"
    manager.post("/me/language", data=sent | {"language": "nl"})
    assert tongue(manager, "/board") == tongue(manager, "/week") == "nl"
    manager.post("/me/language", data=sent | {"language": ""})
    assert tongue(manager, "/board") == "en" and tongue(manager, "/board", **dutch) == "nl"


def test_one_workers_language_is_not_the_next_ones(client_as: ClientAs) -> None:
    manager, trainer = client_as("manager"), client_as("trainer")
    manager.post("/me/language", data={"csrf_token": token(manager, "/me"), "language": "nl"})
    for _ in range(3):
        assert tongue(manager, "/board") == "nl" and tongue(trainer, "/board") == "en"


def test_a_language_that_is_not_there_changes_nothing(client_as: ClientAs) -> None:
    manager = client_as("manager")
    sent = {"csrf_token": token(manager, "/me"), "language": "x" * 300}
    told = manager.post("/me/language", data=sent, follow_redirects=True).get_data(as_text=True)
    assert "There is no such language here." in told and tongue(manager, "/board") == "en"


def test_a_station_speaks_to_whoever_signed_in_last(station_client: ClientAs, room: Room) -> None:
    station = station_client("table-1")
    room.scans(COMMANDS["done"], "table-1")
    chooses(room, "olwen", "nl")
    assert tongue(station, "/station") == "en"
    greeted = scans(station, room.code("badge", "olwen"))
    assert (greeted.headers["X-Answer"], greeted.headers["Content-Language"]) == ("done", "nl")
    assert tongue(station, "/station") == tongue(station, "/cautions") == "nl"
    assert scans(station, room.code("badge", "piet")).headers["Content-Language"] == "en"
    assert tongue(station, "/station") == "en"


def test_who_works_at_a_station_chooses_there_and_nobody_else_does(station_client: ClientAs, room: Room) -> None:
    station = station_client("table-1")
    room.scans(COMMANDS["done"], "table-1")
    scans(station, room.code("badge", "olwen"))
    sent = {"csrf_token": token(station, "/station"), "language": "nl"}
    station.post("/station/language", data=sent | {"worker": str(room.worker["hedda"])})
    station.post("/station/language", data=sent | {"worker": "no number"})
    assert tongue(station, "/station") == "en" and chosen(room, "hedda") is None
    station.post("/station/language", data=sent | {"worker": str(room.worker["olwen"])})
    assert tongue(station, "/station") == "nl" and chosen(room, "olwen") == "nl"


def test_the_choice_is_written_down_like_any_other_change(room: Room) -> None:
    chooses(room, "olwen", "nl")
    chooses(room, "olwen", "nl")
    with reading(room.database) as session:
        asked = select(Change.old, Change.new).where(Change.what == "language")
        assert [tuple(row) for row in session.execute(asked)] == [(None, "nl")]


def chooses(room: Room, who: str, code: str) -> None:
    with transaction(room.database) as session:
        choose_language(session, room.worker[who], code, THERE_ARE, room.now, by=room.worker[who])


def chosen(room: Room, who: str) -> str | None:
    with reading(room.database) as session:
        return language_of_worker(session, room.worker[who])


def scans(station: FlaskClient, code: str) -> TestResponse:
    sent = {"csrf_token": token(station, "/station"), "code": code, "scan_id": token_urlsafe(8)}
    return station.post("/station/scan", data=sent, headers={"X-Station": "1"})
