"""A short cabinet check by scanner, from the card to the closing, and its page that keeps itself up to date."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from app.domain.numbers import COMMANDS
from tests.browser.conftest import Served, answered, enrol, scan, sign_in
from tests.browser.test_access import violations
from tests.queries.looking import label
from tests.services.counted import cabinet_code, fates

SIZES = [(1440, 900), (1024, 768), (390, 844)]


def look_at(page: Page, name: str) -> None:
    """Keep a picture of the page where the environment names a folder for it."""
    folder = os.environ.get("BLOTTER_PICTURES")
    if folder:
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def fits(page: Page, what: str) -> None:
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert over <= 0, f"{what} is {over} px too wide at {width}"
        look_at(page, f"{what}-{width}")
    page.set_viewport_size({"width": 1024, "height": 768})


def test_a_check_by_scanner(served: Served, context: BrowserContext, page: Page) -> None:
    room = served.room
    room.wait(hours=-2)
    here, gone = room.sheet_ready(), room.sheet_ready()
    label(room, gone, plant="Carex nigra", collector="Tamsin Oxley", record_number="118")
    stray = room.sheet_mounted("table-2")
    room.wait(hours=2)
    enrol(served, context, "filing")
    page.goto(served.url("/station"))
    scan(page, COMMANDS["check"])
    answered(page, "Which one?")
    scan(page, cabinet_code(room, "M1"))
    answered(page, "Check begun.")
    scan(page, room.code("shelf", "M1/1"))
    answered(page, "M1, shelf 1.")
    scan(page, here)
    answered(page, "Found.")
    page.get_by_text("M1: 1 of 2 seen").wait_for()
    scan(page, stray)
    answered(page, "Not its place.")
    assert "Mounting table 2" in page.locator("#answer").inner_text()
    assert page.locator("#answer").get_attribute("data-kind") == "stop" and violations(page) == {}
    fits(page, "station-elsewhere")
    scan(page, here)
    answered(page, "Already counted.")
    page.get_by_role("button", name="Cannot be read").click()
    answered(page, "Not readable.")
    page.get_by_role("button", name="Stop here").click()
    answered(page, "Stopped.")
    scan(page, COMMANDS["check"])
    answered(page, "Which one?")
    scan(page, cabinet_code(room, "M1"))
    answered(page, "Going on.")
    scan(page, COMMANDS["done"])
    answered(page, "Which one?")
    fits(page, "station-done")
    page.get_by_role("button", name="Everything that lies there was scanned").click()
    answered(page, "Check done.")
    assert {str(each) for each in fates(room).values()} == {"found", "missing", "elsewhere"}
    assert room.row(stray)["stage"] == "mounted" and room.row(here)["shelf_id"] is not None


def test_the_page_of_a_check_comes_up_to_date_and_is_closed(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    room.wait(hours=-2)
    here, gone, stray = room.sheet_ready(), room.sheet_ready(), room.sheet_mounted("table-2")
    label(room, gone, plant="Carex nigra", collector="Tamsin Oxley", record_number="118")
    room.scans(COMMANDS["check"], "filing")
    room.scans(cabinet_code(room, "M1"), "filing")
    sign_in(served, page)
    page.goto(served.url("/checks/1"))
    assert page.get_by_text("0 of 2 seen").is_visible()
    for code in (here, stray, room.new_number()):
        room.scans(code, "filing")
    page.get_by_text("1 of 2 seen").wait_for(timeout=15_000)
    assert page.locator("h1").count() == 1 and violations(page) == {}
    fits(page, "check-open")
    page.get_by_role("button", name="All of it was scanned").click()
    page.get_by_role("heading", name="Expected, but not found").wait_for()
    assert page.get_by_text("to be closed").is_visible() and violations(page) == {}
    page.get_by_role("button", name="Close it").click()
    page.get_by_text("still missing").wait_for()
    assert room.row(gone)["holds"] == "not-found"
    fits(page, "check-closed")
    page.emulate_media(media="print")
    for hidden in (".frame", ".deeds", ".actions"):
        assert not page.locator(hidden).first.is_visible(), hidden
    assert page.get_by_role("heading", name="Number unknown here").is_visible()
    look_at(page, "check-paper")


@pytest.mark.parametrize("path", ["/checks", "/cabinets/M1/check", "/checks/1/drawn", "/cabinets/M1"])
def test_the_other_pages_fit_and_can_be_read_by_all(served: Served, page: Page, path: str) -> None:
    from tests.services.counted import draws

    room = served.room
    room.wait(hours=-2)
    for _ in range(3):
        room.sheet_ready()
    draws(room, "M1", 2, seed=4)
    sign_in(served, page)
    page.goto(served.url(path))
    assert violations(page) == {}
    fits(page, path.strip("/").replace("/", "-"))
