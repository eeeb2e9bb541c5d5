"""What the page has without the server, over https and over http; and a page that was kept and is no longer this browser's."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from app.clock import utc_now
from app.db.engine import Database, transaction
from app.services.room import close_browser
from tests.browser.conftest import scan
from tests.browser.lines import back, keeps, line_of, opens_without, self_signed, stands
from tests.room import Room


@pytest.fixture
def room(database: Database) -> Room:
    """The room of the tests, now."""
    return Room(database, utc_now() - timedelta(minutes=1))


def test_over_https_the_page_opens_without_the_server_looks_as_it_did_and_keeps_a_scan(
    room: Room, browser: Browser, tmp_path: Path
) -> None:
    number = room.sheet_ready()
    with line_of(room, tmp_path, tls=self_signed(tmp_path)) as line:
        line.up()
        context = line.browser(browser, tmp_path / "browser")
        line.enrol(context, "table-1", "room.test")
        page = context.pages[0]
        page.goto(line.url(host="room.test"))
        assert opens_without(page) and "also opens while the server is away" in page.locator("#keeps").inner_text()
        looks = "() => ['#scan-form button', '#code', '#answer'].map((each) => getComputedStyle(document.querySelector(each)).font)"
        looked = page.evaluate(looks)
        # Only the station's page is kept, and what it is made of.
        page.goto(line.url("/stations/scanner-check", "room.test"))
        kept = page.evaluate("""async () => { const all = []; for (const name of await caches.keys())
            for (const one of await (await caches.open(name)).keys()) all.push(new URL(one.url).pathname); return all; }""")
        assert "/station" in kept and "/static/station.js" in kept and "/static/base.css" in kept
        assert all(path == "/station" or path.startswith("/static/") for path in kept)
        line.cut()
        page.goto(line.url(host="room.test"))
        stands(page, "down")
        assert page.locator("h1").inner_text() == "Mounting table 1" and page.evaluate(looks) == looked
        scan(page, number)
        keeps(page, 1)
        page.reload()
        stands(page, "down")
        keeps(page, 1)
        assert "time uncertain" in page.locator("#kept li").inner_text()
        line.up()
        back(page)
        keeps(page, 0)
        assert room.steps(number)[-1] == "take-up"


def test_over_plain_http_on_a_name_of_the_house_it_says_that_it_has_not(
    room: Room, browser: Browser, tmp_path: Path
) -> None:
    with line_of(room, tmp_path) as line:
        line.up()
        context = line.browser(browser, tmp_path / "browser")
        line.enrol(context, "table-1", "room.test")
        page = context.pages[0]
        page.goto(line.url(host="room.test"))
        assert (
            page.evaluate(
                "() => [window.isSecureContext, Boolean(navigator.serviceWorker), Boolean(crypto.randomUUID)]"
            )
            == [False] * 3
        )
        assert not opens_without(page)
        said = page.locator("#keeps").inner_text()
        assert re.search(
            "Scans are kept in this browser until the server has them.*this page cannot be opened again: leave it open",
            said,
        )


def test_a_kept_page_whose_browser_was_sent_away_says_so_and_loses_nothing(
    room: Room, browser: Browser, tmp_path: Path
) -> None:
    number = room.sheet_ready()
    with line_of(room, tmp_path, tls=self_signed(tmp_path)) as line:
        line.up()
        context = line.browser(browser, tmp_path / "browser")
        line.enrol(context, "table-1")
        page = context.pages[0]
        page.goto(line.url())
        assert opens_without(page)
        line.cut()
        page.goto(line.url())
        stands(page, "down")
        scan(page, number)
        keeps(page, 1)
        with transaction(room.database) as session:
            close_browser(session, room.station["table-1"], utc_now(), by=room.worker["hedda"])
        line.up()
        back(page)
        stands(page, "shut")
        assert "1 scan is kept here, and nothing of it is lost: tell the manager." in page.locator("#line").inner_text()
        # The page is not shown from here any more, and what it kept is sent once the browser is that station again.
        page.goto(line.url())
        assert "/sign-in" in page.url
        assert page.evaluate(
            "async () => (await (await caches.open('blotter-station-1')).match('/station')) === undefined"
        )
        assert room.steps(number)[-1] == "arrive-dry"
        line.enrol(context, "table-1")
        page.goto(line.url())
        keeps(page, 0)
        stands(page, "up")
        assert room.steps(number)[-1] == "take-up"
