"""A day and a night told through the doors, under a frozen clock: stations, the manager's page and the scripts' interface."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from freezegun import freeze_time

from app import create_app
from app.clock import Watch
from app.config import Config
from app.db.engine import Database, transaction
from app.services.people import enrol_station, make_token, set_password
from tests.room import LONDON, Room

# Saturday 24 October 2026, the day before the clocks go back in London (tzdata; the rule is published by nidirect.gov.uk).
MORNING = datetime(2026, 10, 24, 9, 0, tzinfo=UTC)
PASSWORD = "herbarium-paste"


class Doors:
    """The room's stations and pages, each in a browser of its own, without script."""

    def __init__(self, room: Room, folder: Path) -> None:
        self.room = room
        self.app = create_app(Config(folder, "", LONDON, "k" * 40), database=room.database, watch=Watch())
        self.browsers: dict[str, FlaskClient] = {}

    def at(self, slug: str) -> FlaskClient:
        """The browser that stands at a station."""
        if slug not in self.browsers:
            with transaction(self.room.database) as session:
                secret = enrol_station(session, self.room.station[slug], self.room.worker["hedda"], MORNING)
            client = self.app.test_client()
            client.set_cookie("blotter-station", secret)
            self.browsers[slug] = client
        return self.browsers[slug]

    def manager(self) -> FlaskClient:
        """The manager's browser, signed in with a password."""
        if "manager" not in self.browsers:
            with transaction(self.room.database) as session:
                set_password(session, self.room.worker["hedda"], PASSWORD, MORNING)
            client = self.app.test_client()
            page = client.get("/sign-in").get_data(as_text=True)
            sent = {"csrf_token": token_in(page), "name": "Hedda Brackwater", "password": PASSWORD}
            assert client.post("/sign-in", data=sent).status_code == 302
            self.browsers["manager"] = client
        return self.browsers["manager"]

    def scan(self, slug: str, code: str, **more: str) -> str:
        """Scan at a station; returns the word of the answer and what it says, without its marks."""
        client = self.at(slug)
        page = client.get("/station").get_data(as_text=True)
        answer = client.post(
            "/station/scan", data={"csrf_token": token_in(page), "code": code, "scan_id": self.room.next_id(), **more}
        )
        text = answer.get_data(as_text=True)
        part = re.search(r'<section id="answer".*?</section>', text, re.S)
        assert part is not None, text
        return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", part.group()))


def token_in(page: str) -> str:
    found = re.search(r'name="csrf_token" value="([^"]+)"', page)
    assert found is not None
    return found.group(1)


def test_a_night_under_weight_when_the_clocks_go_back(database: Database, tmp_path: Path) -> None:
    room = Room(database, MORNING)
    doors = Doors(room, tmp_path)
    with freeze_time(MORNING) as clock:
        numbers = _mount_three(room, doors, clock.tick)
        doors.scan("press", room.code("off", "P1"))
        for number in numbers:
            clock.tick(30)
            assert "Put under weight." in doors.scan("press", number)
        clock.tick(60)
        assert "3 sheets in P1. Right?" in doors.scan("press", room.code("on", "P1"))
        on_at = datetime.now(UTC)
        # 24 hours under weight end an hour earlier by the wall clock, because the night has 25.
        clock.move_to(on_at + timedelta(hours=23, minutes=59))
        early = doors.scan("press", numbers[0])
        wall = (on_at + timedelta(hours=24)).astimezone(LONDON)
        assert "Not yet." in early and f"may come out {wall:%H:%M}" in early and "1 min more" in early
        assert (wall.hour, wall.minute) == (on_at.astimezone(LONDON).hour - 1, on_at.minute)
        _no_door_lets_it_out(room, doors, numbers[0])
        clock.move_to(on_at + timedelta(hours=24))
        assert "Ready. The weights are on P1." in doors.scan("press", numbers[0])
        doors.scan("press", room.code("off", "P1"))
        clock.tick(30)
        assert "Taken out." in doors.scan("press", numbers[0])
    assert [room.stage(number) for number in numbers] == ["dry", "under-press", "under-press"]


def test_the_manager_lets_a_sheet_out_early_and_it_stays_marked(database: Database, tmp_path: Path) -> None:
    room = Room(database, MORNING)
    doors = Doors(room, tmp_path)
    with freeze_time(MORNING) as clock:
        number = _mount_three(room, doors, clock.tick)[0]
        doors.scan("press", room.code("off", "P1"))
        doors.scan("press", number)
        clock.tick(30)
        doors.scan("press", room.code("on", "P1"))
        clock.tick(3600)
        doors.scan("press", room.code("off", "P1"))
        clock.tick(30)
        page = doors.manager().get(f"/sheets/{number}").get_data(as_text=True)
        form = {"csrf_token": token_in(page), "scan_id": "early-1", "reason": "the visitor's train leaves at noon"}
        answer = doors.manager().post(f"/sheets/{number}/early", data=form, follow_redirects=True)
        assert answer.status_code == 200
        log = doors.manager().get(f"/sheets/{number}").get_data(as_text=True)
    entry = room.log(number)[-1]
    assert (entry["step"], entry["to_stage"], entry["early_by_s"]) == ("take-out", "dry", 23 * 3600)
    assert entry["reason"] == "the visitor's train leaves at noon"
    assert "the visitor&#39;s train leaves at noon" in log and "23 h" in log


def _mount_three(room: Room, doors: Doors, tick: Callable[[float], Any]) -> list[str]:
    numbers = [room.sheet_ready() for _ in range(3)]
    for number in numbers:
        tick(30)
        assert "Taken up." in doors.scan("table-1", number)
        tick(600)
        assert "Mounted." in doors.scan("table-1", number)
    return numbers


def _no_door_lets_it_out(room: Room, doors: Doors, number: str) -> None:
    """The page without script, a step named by hand, a backdated time, the deed called done, the scripts' interface."""
    now = datetime.now(UTC)
    later = str(int((now + timedelta(hours=2)).timestamp() * 1000))
    for more in (
        {"step": "take-out"},
        {"step": "take-out", "happened_ms": later},
        {"step": "take-out", "facts.label": "yes"},
    ):
        assert "Taken out." not in doors.scan("press", number, **more)
    with transaction(room.database) as session:
        key = make_token(session, "scan", "a scanner", now, station_id=room.station["press"])
    client = doors.app.test_client()
    asked = {"scan_id": "api-1", "code": number, "step": "take-out", "workers": ["W02"]}
    for more in ({}, {"early": True, "reason": "please"}, {"happened_at": (now + timedelta(hours=1)).isoformat()}):
        answer = client.post(
            "/api/scans", json={**asked, "scan_id": f"api-{more}", **more}, headers={"Authorization": f"Bearer {key}"}
        )
        assert answer.status_code == 422, answer.get_json()
        assert answer.get_json()["refusals"][0]["code"] in ("too-early", "manager-only", "too-old", "weights-on")
    assert room.stage(number) == "under-press"
