"""Two stations without a line about one sheet, in both orders; and a backup that is put back while stations hold scans."""

from __future__ import annotations

import shutil
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from app.clock import utc_now
from app.db.engine import Database, reading, transaction
from app.services.backup import make_backup
from app.services.room import set_house_rule
from tests.browser.conftest import answered, scan
from tests.browser.lines import Line, back, keeps, line_of, stands
from tests.browser.test_line_alone import EVERY
from tests.room import LONDON, Room
from tests.services.days import differences


@pytest.fixture
def room(database: Database) -> Room:
    """The room of the tests, now."""
    return Room(database, utc_now() - timedelta(minutes=1))


def opened(line: Line, browser: Browser, home: Path, slug: str) -> Page:
    context = line.browser(browser, home / slug)
    line.enrol(context, slug)
    page = context.pages[0]
    page.goto(line.url())
    stands(page, "up")
    return page


def kept_alone(page: Page, codes: list[str]) -> None:
    """Scan these without a line."""
    page.bring_to_front()
    for count, code in enumerate(codes, start=1):
        scan(page, code)
        keeps(page, count)


def sent(page: Page) -> list[str]:
    """The line is back for this station; what could not be written is listed."""
    back(page)
    stands(page, "up")
    keeps(page, 0)
    return page.locator("#aside li").all_inner_texts()


@pytest.mark.parametrize("first", ["table-1", "press"])
def test_two_stations_tell_of_one_sheet_in_either_order(
    room: Room, browser: Browser, tmp_path: Path, first: str
) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        # The hours between two scans go by here in seconds.
        set_house_rule(session, "double_read_s", 0, "a test in a hurry", room.now, by=room.worker["hedda"])
    with line_of(room, tmp_path) as line:
        line.up()
        pages = {slug: opened(line, browser, tmp_path, slug) for slug in ("table-1", "press")}
        for page in pages.values():
            # What waits goes by on the steady clocks, in no time.
            page.evaluate(
                "() => { const real = performance.now.bind(performance); window.on = 0; performance.now = () => real() + window.on; }"
            )
        line.cut()
        kept_alone(pages["table-1"], [number])
        pages["table-1"].evaluate("() => { window.on += 21000; }")
        scan(pages["table-1"], number)
        keeps(pages["table-1"], 2)
        kept_alone(pages["press"], [room.code("off", "P1"), number, room.code("on", "P1")])
        for page in pages.values():
            page.evaluate("() => { window.on += 21000; }")
        # Each asks by itself, too: the other's line is mended only when its turn comes.
        for page in pages.values():
            page.context.route(EVERY, lambda route: route.abort())
        line.up()
        aside: dict[str, list[str]] = {}
        for slug in sorted(pages, key=lambda slug: slug != first):
            pages[slug].context.unroute(EVERY)
            aside[slug] = sent(pages[slug])
        told_late(room, pages, aside, number, first)
    assert differences(room.database) == []


def told_late(room: Room, pages: dict[str, Page], aside: dict[str, list[str]], number: str, first: str) -> None:
    assert aside["table-1"] == []
    assert room.steps(number)[2:4] == ["take-up", "mount"]
    if first == "table-1":
        assert aside["press"] == [] and room.stage(number) == "under-press"
        return
    # The press could not know who had glued it: it lists the sheet, and scanned again it is laid in.
    assert len(aside["press"]) == 1 and "Which one?" in aside["press"][0] and room.stage(number) == "mounted"
    page = pages["press"]
    page.bring_to_front()
    scan(page, room.code("off", "P1"))
    page.wait_for_function(
        "() => /^(Weights off|Put under weight)/.test(document.getElementById('answer-word').textContent.trim())"
    )
    if room.stage(number) == "mounted":
        # Longer than a minute after it was asked the question does not stand any more, and the sheet is scanned again.
        scan(page, number)
        answered(page, "Put under weight.")
    page.get_by_role("button", name="I have seen to these").click()
    page.locator("#aside").wait_for(state="hidden")
    assert room.stage(number) == "under-press"


def test_a_backup_is_put_back_while_stations_hold_scans(room: Room, browser: Browser, tmp_path: Path) -> None:
    """What was written after the backup is gone from the room, and from the browser, which had let go of it when it was
    written: only paper brings it back. What was kept when the server died is written once, in the restored room.
    """
    gone, first, second = (room.sheet_ready() for _ in range(3))
    with line_of(room, tmp_path) as line:
        line.up()
        pages = {slug: opened(line, browser, tmp_path, slug) for slug in ("table-1", "table-2")}
        with reading(room.database) as session:
            make_backup(session, tmp_path / "copy.sqlite3", LONDON)
        scan(pages["table-1"], gone)
        answered(pages["table-1"], "Taken up.")
        assert room.steps(gone)[-1] == "take-up"
        line.cut()
        kept_alone(pages["table-1"], [first])
        kept_alone(pages["table-2"], [second])
        put_back(room.database, tmp_path)
        line.up()
        for page in pages.values():
            assert sent(page) == []
    assert [room.steps(number).count("take-up") for number in (gone, first, second)] == [0, 1, 1]
    assert differences(room.database) == []


def put_back(database: Database, folder: Path) -> None:
    """Put the copy in the place of the room's file, with the program stopped."""
    database.engine.dispose()
    for ending in ("-wal", "-shm"):
        (folder / f"blotter.sqlite3{ending}").unlink(missing_ok=True)
    shutil.copy(folder / "copy.sqlite3", folder / "blotter.sqlite3")


def test_a_scan_that_was_written_and_not_answered_is_not_written_twice(
    room: Room, browser: Browser, tmp_path: Path
) -> None:
    """The server dies between writing and answering: the page asks again with the same id, and gets the answer."""
    number = room.sheet_ready()
    with line_of(room, tmp_path) as line:
        line.up()
        page = opened(line, browser, tmp_path, "table-1")
        page.evaluate("""() => { const ask = window.fetch; window.fetch = (where, ...all) => ask(where, ...all).then((answer) => {
            if (String(where) === '/station/scan') throw new TypeError('cut'); return answer; }); }""")
        scan(page, number)
        stands(page, "down")
        written: list[Any] = room.log(number)
        assert written[-1]["step"] == "take-up"
        line.cut()
        line.up()
        page.reload()
        answered(page, "Taken up.")
        keeps(page, 0)
        assert room.log(number) == written
