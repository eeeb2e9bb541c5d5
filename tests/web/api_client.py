"""Scripts as the tests send them: a room with its interface, and keys of every kind."""

from __future__ import annotations

import itertools
import json
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app import create_app
from app.clock import Watch
from app.config import Config
from app.db.engine import transaction
from app.services.people import make_token
from tests.room import LONDON, Room

STRANGE: tuple[Any, ...] = (None, True, 0, -1, 1.5, 10**14, "", " ", "x" * 5000, "\0", [], {}, [[]], {"a": {"b": []}})


class Scripts:
    """A room and those who ask it by script; ids are made as a sender would make them."""

    def __init__(self, room: Room, folder: Path) -> None:
        self.room = room
        config = Config(folder, "", LONDON, "x" * 32)
        self.watch = Watch()
        self.app = create_app(config, clock=lambda: self.room.now, database=room.database, watch=self.watch)
        # So that a fault of the program fails the test itself, and is not only a 500.
        self.app.config["PROPAGATE_EXCEPTIONS"] = True
        self.client: FlaskClient = self.app.test_client()
        self._ids = itertools.count(1)

    def key(self, scope: str = "manage", *, at: str = "", who: str = "hedda", days: int | None = None) -> str:
        """A key: a manager's, one that only reads, or with `at` a station's."""
        of: dict[str, Any] = {"station_id": self.room.station[at]} if at else {"worker_id": self.room.worker[who]}
        with transaction(self.room.database) as session:
            return make_token(session, "scan" if at else scope, "a test's", self.room.now, days=days, **of)

    def next_id(self) -> str:
        return f"script-{next(self._ids)}"

    def post(self, path: str, key: str, body: Any = None, **fields: Any) -> TestResponse:
        """Send a body; fields make one with an id of its own."""
        sent = body if body is not None else {"scan_id": self.next_id(), **fields}
        return self.client.post(
            f"/api{path}", data=json.dumps(sent), headers=bearer(key), content_type="application/json"
        )

    def scan(self, key: str, code: str, **fields: Any) -> TestResponse:
        return self.post("/scans", key, code=code, **fields)

    def get(self, path: str, key: str = "") -> TestResponse:
        return self.client.get(f"/api{path}", headers=bearer(key) if key else {})


def bearer(key: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {key}"}


def codes(response: TestResponse) -> list[str]:
    """The codes of a refusal; the response is checked to be a problem of status 422."""
    body = response.get_json(force=True)
    assert response.status_code == 422, (response.status_code, body)
    assert response.mimetype == "application/problem+json"
    assert body["status"] == 422 and body["type"].endswith("/refused") and body["title"] and body["detail"]
    return [refusal["code"] for refusal in body["refusals"]]


def problem(response: TestResponse, status: int) -> dict[str, Any]:
    """A problem of this status, by RFC 9457 section 3.1: type, title, status and detail."""
    body: dict[str, Any] = response.get_json(force=True)
    assert response.status_code == status, (response.status_code, body)
    assert response.mimetype == "application/problem+json"
    assert body["status"] == status and body["type"].startswith("/problems/") and body["title"] and body["detail"]
    return body
