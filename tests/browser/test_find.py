"""A given sheet is found in three interactions: type, choose, read where to walk; also with a letter wrong."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from app import create_app
from app.clock import utc_now
from app.config import Config
from app.db.engine import Database, reading
from app.domain.numbers import COMMANDS
from app.queries.listing import list_sheets
from app.queries.sheets import sheet_page
from seed_demo import fill
from tests.browser.conftest import Served, answered, enrol, on_the_air, scan, sign_in
from tests.browser.test_access import violations
from tests.queries.looking import label
from tests.room import LONDON


@pytest.mark.parametrize("typed", ["Geranium sylv", "geranuim", "Brackwater 118", "118", "TQX 1"])
def test_type_choose_and_read(served: Served, page: Page, typed: str) -> None:
    room = served.room
    room.wait(hours=-3)
    number = room.sheet_ready()
    label(room, number, plant="Geranium sylvaticum", collector="A. Brackwater", record_number="118")
    label(room, room.sheet_ready(), plant="Poa annua", collector="T. Oxley", record_number="9")
    sign_in(served, page)
    page.get_by_label("Find a sheet, a plant").press_sequentially(typed)  # 1: type
    page.locator("#suggestions a", has_text="TQX 000001").click()  # 2: choose
    walk = page.locator("#walk")  # 3: read
    assert walk.is_visible() and walk.inner_text().startswith(
        "In M1, shelf 1, in front of TQX 000002·L; last in hand at Intake"
    )
    assert "by Rosamund Ashgill." in walk.inner_text()
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 0 and violations(page) == {}


def test_in_the_demo_a_sheet_is_found_by_what_its_label_says(database: Database, tmp_path: Path, page: Page) -> None:
    now = utc_now()
    told = fill(database, LONDON, now, small=True)
    with reading(database) as session:
        lying = list_sheets(session, now, LONDON, stage="ready-for-mounting").rows
        sheet = next(row for row in lying if row.plant and row.place and not row.holds)
        found = sheet_page(session, sheet.number, now, LONDON)
    assert found is not None
    with on_the_air(create_app(Config(tmp_path, "", LONDON, "k" * 40), database=database)) as port:
        page.goto(f"http://127.0.0.1:{port}/sign-in")
        page.get_by_label("Your name or number").fill(told.manager_name)
        page.get_by_label("Password").fill(told.password)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_label("Find a sheet, a plant").press_sequentially(f"{found.collector} {found.record_number}")
        page.locator("#suggestions a", has_text=found.shown).click()
        page.locator("#walk").wait_for()
        assert page.locator("#walk").inner_text().startswith(found.walk.begins) and sheet.place in found.walk.begins


def test_a_sheet_without_a_number_gets_its_slip_at_the_station(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    room.wait(hours=-3)
    number = room.sheet_ready()
    label(room, number, plant="Poa annua")
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    scan(page, COMMANDS["no-number"])
    answered(page, "Which one?")
    page.get_by_label("On the label").fill("Poa anua")
    page.get_by_role("button", name="Look for it").click()
    page.get_by_role("button", name="TQX 000001").wait_for()
    assert violations(page) == {}
    page.get_by_role("button", name="None of these").click()
    page.get_by_role("link", name="Print its slip").wait_for()
    assert violations(page) == {} and room.row("TQX000002L")["holds"] == "number-query"
    page.get_by_role("link", name="Print its slip").click()
    assert page.get_by_text("TQX 000002·L").first.is_visible()


def test_the_page_for_one_without_a_number_is_fit_for_everybody(served: Served, page: Page) -> None:
    room = served.room
    room.wait(hours=-3)
    label(room, room.sheet_ready(), plant="Poa annua")
    sign_in(served, page)
    for path in ("/no-number", "/no-number?on_label=Poa+anua", "/no-number?on_label=Viola"):
        page.goto(served.url(path))
        assert violations(page) == {} and page.locator("h1").count() == 1
        for width in (390, 1440):
            page.set_viewport_size({"width": width, "height": 800})
            over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            assert over <= 0, (path, width)
