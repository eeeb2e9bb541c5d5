"""The line goes down in the middle of the work: nothing is lost, nothing is written twice, and times are right or say that they are not."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from app.clock import utc_now
from app.db.engine import Database
from tests.browser.conftest import scan
from tests.browser.lines import (
    HOSTS,
    Line,
    back,
    keeps,
    kept,
    line_of,
    near,
    opens_without,
    scans_to_the_end,
    self_signed,
    stands,
)
from tests.room import Room
from tests.services.days import differences

TWO_HOURS_MS = 2 * 3600 * 1000


@pytest.fixture
def room(database: Database) -> Room:
    """The room of the tests, now."""
    return Room(database, utc_now() - timedelta(minutes=1))


def online(page: Page, numbers: list[str], room: Room) -> dict[str, datetime]:
    """Scan these at a line that is up."""
    made = {}
    for number in numbers:
        made[number] = utc_now()
        scan(page, number)
        page.wait_for_function("() => document.getElementById('code').value === ''")
    page.wait_for_function(
        "count => document.querySelectorAll('#scans li').length >= Math.min(count, 12)", arg=len(numbers)
    )
    while not all(len(room.steps(number)) == 3 for number in numbers):
        page.wait_for_timeout(20)
    return made


@pytest.mark.parametrize("host", HOSTS)
@pytest.mark.parametrize("safe", [False, True], ids=["http", "https"])
def test_thirty_scans_across_a_dead_server_and_a_closed_browser(
    room: Room, browser: Browser, tmp_path: Path, host: str, safe: bool
) -> None:
    """The device's clock is two hours wrong all the while, and is set by two hours more while the page is open."""
    numbers = [room.sheet_ready() for _ in range(30)]
    with line_of(room, tmp_path, tls=self_signed(tmp_path) if safe else None) as line:
        line.up()
        context = line.browser(browser, tmp_path / "browser", offset_ms=TWO_HOURS_MS)
        line.enrol(context, "table-1", host)
        page = context.pages[0]
        page.goto(line.url(host=host))
        stands(page, "up")
        opens = opens_without(page)
        assert opens is (safe or host == "127.0.0.1")
        made = online(page, numbers[:10], room)
        line.cut()
        page.evaluate("() => { window.off += 2 * 3600 * 1000; }")
        for count, number in enumerate(numbers[10:20], start=1):
            made[number] = scans_to_the_end(page, number, count)
        assert "10 scans are kept here" in page.locator("#line").inner_text()
        context.close()
        page = reopened(line, browser, tmp_path, host, opens)
        for number in numbers[20:]:
            made[number] = scans_to_the_end(page, number, len(kept(page)) + 1) if opens else utc_now()
            if not opens:
                scan(page, number)
        if opens:
            line.up()
            back(page)
        while not all("take-up" in room.steps(number) for number in numbers):
            page.wait_for_timeout(50)
        keeps(page, 0)
        assert page.locator("#aside").is_hidden()
    written(room, numbers, made)


def reopened(line: Line, browser: Browser, tmp_path: Path, host: str, opens: bool) -> Page:
    """The browser is opened again: without the server where the page can be, and else once it is back."""
    context = line.browser(browser, tmp_path / "browser", offset_ms=TWO_HOURS_MS)
    page = context.pages[0]
    if not opens:
        line.up()
    page.goto(line.url(host=host))
    stands(page, "down" if opens else "up")
    return page


def written(room: Room, numbers: list[str], made: dict[str, datetime]) -> None:
    """Each once, in order; the time is right within the moment that a scan may take, or is marked, with bounds that hold."""
    entries = [room.log(number)[-1] for number in numbers]
    assert [entry["step"] for entry in entries] == ["take-up"] * 30
    assert [room.steps(number).count("take-up") for number in numbers] == [1] * 30
    assert [entry["id"] for entry in entries] == sorted(entry["id"] for entry in entries)
    for number, entry in list(zip(numbers, entries, strict=True))[:10]:
        assert entry["time_from"] == "server" and near(entry["happened_at"], made[number])
    for number, entry in list(zip(numbers, entries, strict=True))[10:20]:
        assert entry["time_from"] == "station-uncertain"
        earliest = datetime.fromisoformat(entry["facts"]["not_before"])
        assert earliest - timedelta(seconds=1) <= made[number] <= entry["happened_at"]
        assert near(earliest, made[number]), "the bound before is the last that was heard, told on by the steady clock"
    for number, entry in list(zip(numbers, entries, strict=True))[20:]:
        # What waits for less than ten seconds is written as of when the server heard it.
        assert "not_before" not in entry["facts"] and near(entry["happened_at"], made[number], 11)
    assert differences(room.database) == []
