"""The computer's clock jumps, both ways, while the room is open: nothing comes out of the press by it, and nothing is lost."""

from __future__ import annotations

import http.client
import json
import re
import time
import urllib.parse
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Heartbeat, table_of
from app.domain.numbers import mint
from app.services.people import set_password
from tests.faults.conftest import Place
from tests.faults.nursery import CLOCK
from tests.faults.served import Nursery, Served, differences, furnished, opened, serving
from tests.room import TQX, Room

PASSWORD = "a-long-enough-password"


@pytest.fixture
def lying(migrated: Path, nursery: Nursery, tmp_path: Path) -> Iterator[tuple[Place, str]]:
    """A room on a clock that can be set, with a sheet under weight that needs two hours, and its number."""
    numbers = list[str]()

    def also(room: Room) -> None:
        numbers.append(room.sheet_in("P1", adhesive="straps"))
        assert room.weights("on", "P1").kind == "done"
        with transaction(room.database) as session:
            set_password(session, room.worker["hedda"], PASSWORD, room.now)

    keys = furnished(migrated, tmp_path, also)
    (tmp_path / CLOCK).write_text("0")
    with serving(tmp_path, nursery) as served:
        served.up()
        _is_alive(tmp_path)
        yield Place(served, keys, tmp_path), numbers[0]


def _is_alive(folder: Path) -> None:
    """Wait for the room's first sign of life: by it the next start knows what day it was."""
    until = time.monotonic() + 20
    with opened(folder) as database:
        while True:
            with reading(database) as session:
                if session.execute(select(table_of(Heartbeat).c.beat_at)).first() is not None:
                    return
            assert time.monotonic() < until, "no sign of life"
            time.sleep(0.02)


def test_a_clock_that_runs_ahead_takes_nothing_out_until_somebody_says_it_is_right(lying: tuple[Place, str]) -> None:
    (place, number), ids = lying, iter(range(100))
    _jumps(place, hours=3)
    assert _clock(place)["doubtful"]
    assert _weights(place, ids, on=False) == (200, set())
    assert _out(place, ids, number) == (422, {"clock-doubtful"})
    # Everything that cannot come too early goes on.
    assert _scan(place, ids, _new(1), station="intake", step="take-in")[0] == 200
    _somebody_says_it_is_right(place.served)
    assert not _clock(place)["doubtful"]
    assert _out(place, ids, number) == (200, set())
    assert differences(place.folder) == []


def test_a_clock_that_is_set_back_writes_nothing_before_what_was_written_and_goes_on_when_it_is_right(
    lying: tuple[Place, str],
) -> None:
    (place, number), ids = lying, iter(range(100))
    assert _scan(place, ids, _new(2), station="intake", step="take-in")[0] == 200
    _jumps(place, days=-2)
    assert _out(place, ids, number) == (422, {"clock-behind"})
    assert _weights(place, ids, on=False) == (422, {"clock-behind"})
    dry = {"dryness": True, "label": True}
    assert _scan(place, ids, _new(2), station="intake", step="arrive-dry", facts=dry) == (422, {"clock-behind"})
    assert _scan(place, ids, _new(3), station="intake", step="take-in")[0] == 200
    _jumps(place)
    assert _scan(place, ids, _new(2), station="intake", step="arrive-dry", facts=dry)[0] == 200
    assert differences(place.folder) == []


@pytest.mark.parametrize("jump", [{"days": -1}, {"days": 30}])
def test_a_room_that_opens_on_another_day_is_asked_for_the_date_first(
    lying: tuple[Place, str], jump: dict[str, int]
) -> None:
    (place, number), ids = lying, iter(range(100))
    place.served.kill()
    _jumps(place, **jump)
    place.served.up()
    assert _clock(place)["doubtful"]
    assert _out(place, ids, number)[1] & {"clock-doubtful", "clock-behind"}
    place.served.kill()
    _jumps(place)
    place.served.up()
    assert not _clock(place)["doubtful"]
    assert differences(place.folder) == []


def _jumps(place: Place, **span: float) -> None:
    """The computer's clock stands so far from the right time from now on."""
    (place.folder / CLOCK).write_text(str(timedelta(**span).total_seconds()))


def _clock(place: Place) -> Any:
    return json.loads(place.served.get("/api/health", place.keys.manager)[1])["clock"]


def _scan(place: Place, ids: Iterator[int], code: str, **more: Any) -> tuple[int, set[str]]:
    status, told = place.served.post(
        "/api/scans", place.keys.manager, {"scan_id": f"clock-{next(ids)}", "code": code, **more}
    )
    return status, {each["code"] for each in told.get("refusals", ())}


def _out(place: Place, ids: Iterator[int], number: str) -> tuple[int, set[str]]:
    status, codes = _scan(place, ids, number, station="press", step="take-out")
    return status, codes - {
        "weights-on",
        "too-early",
    } if "clock-doubtful" in codes or "clock-behind" in codes else codes


def _weights(place: Place, ids: Iterator[int], *, on: bool) -> tuple[int, set[str]]:
    body = {"scan_id": f"clock-{next(ids)}", "on": on}
    status, told = place.served.post("/api/stacks/P1/weights", place.keys.manager, body)
    return status, {each["code"] for each in told.get("refusals", ())}


def _new(which: int) -> str:
    return mint(TQX, 900 + 10 * which)[1]


def _somebody_says_it_is_right(served: Served) -> None:
    """The manager signs in and presses the button under the question."""
    with closing(http.client.HTTPConnection("127.0.0.1", served.port, timeout=60)) as line:
        cookies: dict[str, str] = {}

        def asks(method: str, path: str, fields: dict[str, str] | None = None) -> str:
            heads = {"Cookie": "; ".join(f"{name}={value}" for name, value in cookies.items()),
                     "Content-Type": "application/x-www-form-urlencoded"}  # fmt: skip
            line.request(method, path, urllib.parse.urlencode(fields) if fields else None, heads)
            response = line.getresponse()
            cookies.update(each.split(";")[0].split("=", 1) for each in response.headers.get_all("Set-Cookie", []))
            assert response.status in (200, 302), (path, response.status)
            return response.read().decode()

        def token(page: str) -> str:
            found = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', page)
            assert found is not None
            return found.group(1)

        mark = token(asks("GET", "/sign-in"))
        asks("POST", "/sign-in", {"name": "Hedda Brackwater", "password": PASSWORD, "csrf_token": mark})
        asks("POST", "/clock", {"csrf_token": token(asks("GET", "/password")), "next": "/"})
