"""The doors of the program: a station's page and its key, a manager's key, the pages of those who sign in, and the command line."""

from __future__ import annotations

import io
import itertools
import json
from collections.abc import Mapping
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from unittest.mock import patch

from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.test import TestResponse

from app import create_app
from app.cli import main
from app.config import Config
from app.db.engine import reading, transaction
from app.db.models import Scan, table_of
from app.services import room as furnishing
from app.services.people import add_worker, enrol_station, make_token, retire_worker, set_password
from app.web.security import STATION_COOKIE
from tests.databases import found_by_programs
from tests.machine.freezer import FREEZERS
from tests.machine.model import BUNDLES, NUMBERS
from tests.machine.steps import Said
from tests.room import LONDON, Room
from tests.web.api_client import bearer

SCAN = table_of(Scan)
PASSWORD = "a-long-enough-password"
NAMES = {"hedda": "Hedda Brackwater", "rosamund": "Rosamund Ashgill", "olwen": "Olwen Tarrant", "ines": "Ines Caldwell"}
CONSIGNMENT = "QF-26"
# What stands for the moment in the commands: they run on the room's clock here.
CLOCKS = ("app.commands.utc_now", "app.file_commands.utc_now")


@dataclass(frozen=True)
class Sent:
    """One request as it went out, so that it can be sent again."""

    door: str
    who: str
    path: str
    fields: Mapping[str, Any]


class Doors:
    """Everything through which somebody gets at one room."""

    def __init__(self, room: Room, folder: Path) -> None:
        self.room, self.folder = room, folder
        self._ids = itertools.count(1)
        data = folder / "data"
        data.mkdir()
        self.app = create_app(Config(data, "", LONDON, "x" * 32), clock=lambda: room.now, database=room.database)
        # So that a fault of the program fails the test itself, and is not only a 500.
        self.app.config["PROPAGATE_EXCEPTIONS"] = True
        self.script = self.app.test_client()
        self.keys: dict[str, str] = {}
        self.badges = {who: room.code("badge", who) for who in room.worker}
        with transaction(room.database) as session:
            for name in BUNDLES:
                furnishing.add_bundle(session, name)
            for name, degrees in FREEZERS.items():
                furnishing.add_cabinet(session, name, None, room.now, freezes_to_c=degrees)
            furnishing.add_consignment(session, CONSIGNMENT, "Quillmoor Fells 2026")
            room.worker["tove"], self.badges["tove"] = add_worker(session, "Tove Marsh", ["volunteer"], room.now)
            retire_worker(session, room.worker["tove"], room.now, by=room.worker["hedda"])
            self.keys["manager"] = make_token(session, "manage", "m", room.now, worker_id=room.worker["hedda"])
            self.keys["read"] = make_token(session, "read", "r", room.now, worker_id=room.worker["ines"])
            for slug, station_id in room.station.items():
                self.keys[slug] = make_token(session, "scan", slug, room.now, station_id=station_id)
            for who in NAMES:
                set_password(session, room.worker[who], PASSWORD, room.now)
        self._browsers: dict[str, tuple[FlaskClient, str]] = {}
        self.codes = {(side, name): room.code(side, name) for side in ("on", "off") for name in room.stack}

    def next_id(self) -> str:
        return f"deed-{next(self._ids)}"

    # -- asking -------------------------------------------------------------------------------------------------
    def send(self, sent: Sent) -> TestResponse:
        """Send a request by its door."""
        if sent.door == "key":
            return self.script.post(f"/api{sent.path}", data=json.dumps(sent.fields), headers=bearer(self.keys[sent.who]),
                                    content_type="application/json")  # fmt: skip
        client, token = self._browser(sent.who)
        heads = {"X-Station": "1"} if sent.door == "page" else {}
        return client.post(sent.path, data={**sent.fields, "csrf_token": token}, headers=heads)

    def said(self, sent: Sent) -> Said:
        """Send a request, and what was answered: as scripts are told, or as it is stored beside the scan."""
        response = self.send(sent)
        assert response.status_code in (200, 302, 422), (response.status_code, response.text[:400])
        if sent.door == "key":
            told = response.get_json(force=True)
            return Said(told["answer"], frozenset(each["code"] for each in told.get("refusals", ())))
        return self.stored(str(sent.fields["scan_id"]))

    def stored(self, scan_id: str) -> Said:
        """The answer that is kept beside a scan."""
        with reading(self.room.database) as session:
            kept = session.execute(select(SCAN.c.answer).where(SCAN.c.scan_id == scan_id)).scalar_one()
        return Said(kept["kind"], frozenset(each["code"] for each in kept["refusals"]))

    def get(self, path: str) -> Any:
        """What a script reads with the manager's key."""
        response = self.script.get(f"/api{path}", headers=bearer(self.keys["manager"]))
        assert response.status_code == 200, response.text
        return response.get_json()

    def command(self, *argv: str) -> tuple[int, str]:
        """Run a command on this room, on the room's clock: its status and what it said."""
        said = io.StringIO()
        with (redirect_stdout(said), redirect_stderr(said), patch(CLOCKS[0], self._now), patch(CLOCKS[1], self._now),
              found_by_programs(self.room.database)):  # fmt: skip
            status = main([*argv, "--data", str(self.folder)])
        return status, said.getvalue()

    def _now(self) -> datetime:
        return self.room.now

    def _browser(self, who: str) -> tuple[FlaskClient, str]:
        if who not in self._browsers:
            client = self.app.test_client(use_cookies=True)
            self._browsers[who] = (
                self._enrolled(client, who) if who in self.room.station else self._signed_in(client, who)
            )
        return self._browsers[who]

    def _enrolled(self, client: FlaskClient, slug: str) -> tuple[FlaskClient, str]:
        with transaction(self.room.database) as session:
            secret = enrol_station(session, self.room.station[slug], self.room.worker["hedda"], self.room.now)
        client.set_cookie(STATION_COOKIE, secret)
        return client, client.get("/station/token").get_json()["token"]

    def _signed_in(self, client: FlaskClient, who: str) -> tuple[FlaskClient, str]:
        from tests.web.conftest import token

        sent = {"name": NAMES[who], "password": PASSWORD, "csrf_token": token(client)}
        assert client.post("/sign-in", data=sent).status_code == 302
        return client, token(client, "/password")

    def card_of(self, table: Any, name: str) -> str:
        """The code on the card of something that was made while the room is worked in."""
        with reading(self.room.database) as session:
            return str(session.execute(select(table.c.code).where(table.c.name == name)).scalar_one())

    # -- requests -----------------------------------------------------------------------------------------------
    def scan_by_key(self, who: str, code: str, **fields: Any) -> Sent:
        """A scan sent with the manager's key, or a station's."""
        return Sent("key", who, "/scans", {"scan_id": self.next_id(), "code": code, **fields})

    def scan_on_page(
        self, slug: str, code: str, *, step: str | None, stack: str, facts: Mapping[str, Any], already_done: bool
    ) -> Sent:
        """A scan sent by a station's page, as its form and its buttons send it."""
        fields: dict[str, Any] = {"scan_id": self.next_id(), "code": code}
        fields |= {"step": step} if step else {}
        fields |= {"stack": stack} if stack else {}
        fields |= {"already_done": "1"} if already_done else {}
        fields |= {f"facts.{name}": {True: "yes", False: "no"}.get(value, value) for name, value in facts.items()}
        return Sent("page", slug, "/station/scan", fields)

    def of_sheet(self, who: str, number: str, deed: str, **fields: Any) -> Sent:
        """A deed on the page of a sheet, by whoever is signed in there with a password."""
        return Sent("form", who, f"/sheets/{number}/{deed}", {"scan_id": self.next_id(), **fields})


def number_of(who: tuple[str, ...]) -> list[str]:
    """Workers as scripts name them."""
    return [NUMBERS[each] for each in who]
