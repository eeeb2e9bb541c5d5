"""A line is put aside by hand, and what is unfolded on the board stays so when the board is drawn anew."""

from __future__ import annotations

import re

from playwright.sync_api import Page

from tests.browser.conftest import Served, sign_in
from tests.browser.test_access import SIZES, violations
from tests.browser.test_board import WATCH, ask_now, look

OF_THE_SHELF = re.compile("put aside.*M1, shelf 1")


def a_late_shelf(served: Served) -> None:
    """Five sheets in M1 that have waited for a year, and one glued two hours ago."""
    served.room.wait(days=-365)
    for _ in range(5):
        served.room.sheet_ready()
    served.room.wait(days=365, hours=-2)
    served.room.sheet_mounted()
    served.room.wait(hours=2)


def test_a_line_is_put_aside_and_the_fold_stays_open_when_the_board_changes(served: Served, page: Page) -> None:
    a_late_shelf(served)
    look(served, page)
    page.get_by_role("link", name=OF_THE_SHELF).click()
    assert violations(page) == {}
    page.get_by_label("Why?").fill("the table is full until the visitors have gone")
    page.get_by_role("button", name="Put it aside").click()
    page.wait_for_url("**/board")
    fold = page.locator("#put-aside")
    assert not page.get_by_text("5 sheets wait for mounting too long").is_visible()
    fold.locator("summary").click()
    assert page.get_by_text("the table is full until the visitors have gone").is_visible()
    assert violations(page) == {}
    page.evaluate(WATCH)
    served.room.sheet_ready()
    page.wait_for_timeout(1100)  # the board is read at most once a second
    ask_now(page)
    page.get_by_role("heading", name="Ready for mounting").wait_for()
    assert page.locator(".stage-ready-for-mounting .stage-count").inner_text() == "6"
    assert fold.get_attribute("open") is not None
    page.get_by_role("link", name="Take one up again").click()
    page.get_by_role("button", name=re.compile("Take it up again.*M1")).click()
    page.wait_for_url("**/board")
    assert page.get_by_text("5 sheets wait for mounting too long").is_visible() and not fold.is_visible()


def test_form_and_list_fit_on_every_screen(served: Served, page: Page) -> None:
    a_late_shelf(served)
    sign_in(served, page)
    page.goto(served.url("/board"))
    address = page.get_by_role("link", name=OF_THE_SHELF).get_attribute("href") or ""
    page.goto(served.url(address))
    page.get_by_label("Why?").fill("the table is full")
    page.get_by_role("button", name="Put it aside").click()
    page.wait_for_url("**/board")
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        for path in ("/board", "/board/aside", address):
            page.goto(served.url(path))
            over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            assert over <= 0, f"{path} is {over} px too wide at {width}"
