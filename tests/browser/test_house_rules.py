"""Raising a time under weight in a browser: the rule's page, the question about the sheets lying there, the answer."""

from __future__ import annotations

import os
from pathlib import Path

from playwright.sync_api import Page, expect

from tests.browser.conftest import Served, sign_in
from tests.browser.test_access import SIZES, violations
from tests.services.days import pressed

HOUR = 3600


def looked_at(page: Page, name: str) -> None:
    """The page as it stands: nothing for axe, nothing off the screen."""
    assert violations(page) == {}, name
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert over <= 0, f"{name} is {over} px too wide at {width}"
        if folder := os.environ.get("BLOTTER_PICTURES"):
            page.screenshot(path=Path(folder) / f"{name}-{width}.png", full_page=True)


def test_a_minimum_is_raised_and_holds_for_the_sheets_lying_there(served: Served, page: Page) -> None:
    room = served.room
    room.wait(hours=-3)
    numbers = [pressed(room, stack) for stack in ("P1", "P2")]
    sign_in(served, page)
    page.goto(served.url("/room"))
    page.get_by_role("link", name="Hours under weight for PVA or EVA").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Hours under weight for PVA or EVA")
    page.get_by_label("New value").fill("30")
    page.get_by_label("Why?").fill("leaves lifted on three sheets")
    looked_at(page, "rule")
    page.get_by_role("button", name="Change it").click()
    expect(page.locator("main")).to_contain_text("2 sheets lie under press by the old minimum.")
    expect(page.get_by_label("Why?")).to_have_value("leaves lifted on three sheets")
    looked_at(page, "lying")
    page.get_by_role("button", name="Yes, for them too").click()
    expect(page.locator("main")).to_contain_text("30 h, for 2 sheets lying there too")
    looked_at(page, "answered")
    assert [room.row(number)["minimum_s"] for number in numbers] == [30 * HOUR, 30 * HOUR]


def test_no_is_one_press_even_without_a_reason(served: Served, page: Page) -> None:
    room = served.room
    room.wait(hours=-3)
    number = pressed(room)
    sign_in(served, page)
    page.goto(served.url("/room/rules/press_bulky_add_h"))
    page.get_by_label("New value").fill("36")
    page.get_by_label("Why?").fill("thick roots")
    page.get_by_role("button", name="Change it").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Hours added for a bulky sheet")
    page.goto(served.url("/room/rules/press_pva_h"))
    page.get_by_label("New value").fill("25")
    page.get_by_label("Why?").fill("a cold week")
    page.get_by_role("button", name="Change it").click()
    page.get_by_label("Why?").fill("")
    page.get_by_role("button", name="No, it keeps the old one").click()
    expect(page.locator("main")).to_contain_text("1 sheet lying there keeps the old minimum")
    assert room.row(number)["minimum_s"] == 24 * HOUR


def test_the_rules_of_a_one_person_room_fit_every_screen(served: Served, page: Page) -> None:
    sign_in(served, page)
    page.goto(served.url("/room/one-person"))
    looked_at(page, "one-person")
    page.get_by_label("Why?").fill("one of us has left")
    page.get_by_role("button", name="Set these rules").click()
    expect(page.locator("body")).to_contain_text("One-person room: 2 rules were changed.")
