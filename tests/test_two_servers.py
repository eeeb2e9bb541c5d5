"""Two servers on one room in PostgreSQL: what both are told at once is written once, and each sees what the other wrote."""

from __future__ import annotations

import json
import re
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from app import create_app
from app.clock import utc_now
from app.config import Config
from app.db.engine import Database, open_database, reading, transaction
from app.db.models import Entry, Scan, Sheet
from app.domain.stages import Step
from app.services.audit import audit
from app.services.people import make_token, set_password
from tests.databases import SERVER, address
from tests.room import LONDON, Room
from tests.test_cli import Served, served
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.skipif(not SERVER, reason="several server processes are for PostgreSQL")
SCANS, HANDS = 200, 4


class Both:
    """A room and the two servers that serve it, with a key for each station."""

    def __init__(self, room: Room, keys: dict[str, str], servers: tuple[Served, Served]) -> None:
        self.room, self.keys, self.servers = room, keys, servers

    def scan(self, server: int, station: str, scan_id: str, code: str, **more: Any) -> tuple[int, dict[str, Any]]:
        """Send a scan to one of the servers; the status and what it said."""
        body = json.dumps({"scan_id": scan_id, "code": code, **more}).encode()
        headers = {"Authorization": f"Bearer {self.keys[station]}", "Content-Type": "application/json"}
        asked = urllib.request.Request(f"{self.servers[server].address}/api/scans", body, headers)
        try:
            with urllib.request.urlopen(asked, timeout=60) as answer:
                return answer.status, json.loads(answer.read())
        except urllib.error.HTTPError as refused:
            return refused.code, json.loads(refused.read())


@pytest.fixture
def both(database: Database, tmp_path: Path) -> Iterator[Both]:
    """Two servers of one room, as the command line starts them."""
    room = Room(database, utc_now())
    with transaction(database) as session:
        keys = {at: make_token(session, "scan", at, room.now, station_id=room.station[at])
                for at in ("intake", "table-1", "table-2")}  # fmt: skip
        keys["read"] = make_token(session, "read", "the board's", room.now)
        set_password(session, room.worker["hedda"], PASSWORD, room.now)
    start = ("serve", "--data", str(tmp_path), "--port", "0")
    with served(*start) as one, served(*start) as other:
        yield Both(room, keys, (one, other))


def at_once(deeds: list[Any]) -> list[Any]:
    """What each deed gives, all begun together."""
    found: list[Any] = [None] * len(deeds)
    ready = threading.Barrier(len(deeds))

    def do(place: int) -> None:
        ready.wait()
        found[place] = deeds[place]()

    threads = [threading.Thread(target=do, args=(place,)) for place in range(len(deeds))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    return found


def agrees(room: Room) -> bool:
    with reading(room.database) as session:
        return list(audit(session, LONDON)) == []


def test_two_hundred_scans_through_both_are_each_written_once(both: Both) -> None:
    sent = [(f"kept-{each}", both.room.new_number()) for each in range(SCANS)]

    def hand(server: int, turn: int) -> list[int]:
        mine = sent[server::2][turn::HANDS]
        return [both.scan(server, "intake", scan_id, code, step="take-in")[0] for scan_id, code in mine]

    told = at_once([lambda server=server, turn=turn: hand(server, turn) for server in (0, 1) for turn in range(HANDS)])
    assert sorted(status for hands in told for status in hands) == [200] * SCANS
    with reading(both.room.database) as session:
        taken_in = select(func.count()).select_from(Entry).where(Entry.step == Step.TAKE_IN)
        kept = select(func.count()).select_from(Scan).where(Scan.scan_id.startswith("kept-"))
        sheets = select(func.count(Sheet.id.distinct()))
        assert [session.execute(each).scalar_one() for each in (taken_in, kept, sheets)] == [SCANS] * 3
    assert agrees(both.room)


def test_of_two_who_take_up_the_same_sheet_one_does(both: Both) -> None:
    for turn in range(10):
        number = both.room.sheet_ready()
        told = at_once([
            lambda server=server, at=at, turn=turn, number=number: both.scan(server, at, f"{at}-{turn}", number, step="take-up")
            for server, at in enumerate(("table-1", "table-2"))
        ])  # fmt: skip
        assert both.room.steps(number).count(Step.TAKE_UP) == 1, told
        assert sorted(status for status, _ in told) == [200, 422], told
    assert agrees(both.room)


def test_one_scan_sent_to_both_at_once_is_written_once_and_answered_alike(both: Both) -> None:
    for turn in range(10):
        number = both.room.new_number()
        told = at_once([
            lambda server=server, turn=turn, number=number: both.scan(server, "intake", f"twice-{turn}", number, step="take-in")
            for server in (0, 1)
        ])  # fmt: skip
        assert both.room.steps(number) == [Step.TAKE_IN]
        assert {status for status, _ in told} == {200} and told[0][1] == told[1][1], told
    assert agrees(both.room)


def test_the_board_of_one_shows_what_the_other_wrote(both: Both) -> None:
    one, other = both.servers
    other.post("/sign-in", name="Hedda Brackwater", password=PASSWORD)
    address = re.search(r'hx-get="(/board/live[^"]*)"', other.get("/board"))
    assert address
    assert other.get(address.group(1).replace("&amp;", "&")) == ""
    assert both.scan(0, "intake", "seen-by-both", both.room.new_number(), step="take-in")[0] == 200
    # A script that wrote through one server finds it at the other at once, a page within five seconds.
    stages = json.loads(other.get("/api/board", both.keys["read"]))["stages"]
    assert stages[0]["count"] == 1
    until, shown = time.monotonic() + 6, ""
    while not shown and time.monotonic() < until:
        time.sleep(0.25)
        shown = other.get(address.group(1).replace("&amp;", "&"))
    assert 'id="board"' in shown


def test_a_script_that_wrote_through_one_finds_it_at_the_other_within_the_same_second(
    room: Room, tmp_path: Path
) -> None:
    with transaction(room.database) as session:
        key = make_token(session, "read", "the board's", room.now)
    other = open_database(address(room.database))
    config = Config(tmp_path, "", LONDON, "a key for the tests only")
    browser = create_app(config, clock=lambda: room.now, database=other).test_client()

    def waiting() -> int:
        found = browser.get("/api/board", headers={"Authorization": f"Bearer {key}"}).get_json()["stages"]
        return sum(int(stage["count"]) for stage in found)

    assert waiting() == 0
    for many in (1, 2):
        room.sheet_ready()
        assert waiting() == many
    other.engine.dispose()


def test_a_house_rule_changed_at_one_is_in_force_at_the_other(both: Both) -> None:
    one, other = both.servers
    for server in both.servers:
        server.post("/sign-in", name="Hedda Brackwater", password=PASSWORD)
    assert "30" not in re.findall(r'name="value"[^>]*value="(\d+)"', other.get("/room/rules/press_pva_h"))
    one.post("/room/rules/press_pva_h", value="30", reason="it is damp")
    assert "30" in re.findall(r'name="value"[^>]*value="(\d+)"', other.get("/room/rules/press_pva_h"))
