"""A whole shift without a mouse, with script and without it: at the table, at the press, and to find a sheet."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from tests.browser.conftest import Served, enrol, watch
from tests.browser.walking import Walker, at_the_press, at_the_table, shift


@pytest.fixture(params=[True, False], ids=["with script", "without script"])
def screen(request: pytest.FixtureRequest, browser: Browser) -> Iterator[BrowserContext]:
    """A browser that runs scripts, or one that does not."""
    opened = browser.new_context(
        viewport={"width": 1440, "height": 900}, reduced_motion="reduce", java_script_enabled=request.param
    )
    opened.set_default_timeout(20_000)
    yield opened
    opened.close()


def walker_at(served: Served, screen: BrowserContext, slug: str, errors: list[str]) -> Walker:
    # Whoever goes to another place leaves the page before: left open, it would go on speaking with a token that is taken away here.
    for page in screen.pages:
        page.close()
    screen.clear_cookies()
    enrol(served, screen, slug)
    page = screen.new_page()
    watch(page, errors)
    page.goto(served.url("/station"))
    return Walker(page)


def test_a_whole_shift_is_worked_with_the_keyboard_alone(served: Served, screen: BrowserContext) -> None:
    room, sheets, errors = served.room, shift(served), list[str]()
    table = walker_at(served, screen, "table-1", errors)
    at_the_table(table, sheets)
    table.signs_out()
    assert [room.stage(each) for each in (sheets.first, sheets.second)] == ["mounted", "mounted"]
    assert room.row(sheets.first)["mounted_by"] == [room.worker["piet"]]
    press = walker_at(served, screen, "press", errors)
    at_the_press(press, room, sheets)
    assert room.stage(sheets.ready) == "dry"
    assert room.steps(sheets.ready)[-3:] == ["take-out", "correct", "take-out"]
    assert {room.row(each)["stack_id"] for each in (sheets.first, sheets.second)} == {room.stack["P1"]}
    find(press, sheets.ready)
    assert table.lost == press.lost == [] and errors == []


def find(walker: Walker, number: str) -> None:
    """The station's way to a sheet: its link, the field, the page of the sheet, and back to the station."""
    walker.push("Find a sheet", key="Shift+Tab")
    walker.page.wait_for_url("**/search**")
    walker.go_to("Number, plant")
    walker.page.keyboard.type(number)
    walker.press("Enter")
    walker.page.locator("h1").get_by_text(number[3:9]).wait_for()


def test_the_focus_goes_from_the_field_through_the_answer_and_round_without_a_trap(
    served: Served, screen: BrowserContext
) -> None:
    sheets, errors = shift(served), list[str]()
    walker = walker_at(served, screen, "press", errors)
    walker.signs_in("Piet Lindqvist")
    walker.types(sheets.ready, "Not yet.")
    seen = set()
    for _ in range(60):
        walker.press("Tab")
        if walker.page.evaluate("() => document.activeElement === document.body"):
            break  # past the last thing, where the browser's own frame is
        at = walker.focus()
        seen.add(at["name"] or at["id"])
    assert "It is already out" in seen and "Find a sheet" not in seen and len(seen) > 8
    assert walker.lost == [] and errors == []


def test_what_is_typed_anywhere_goes_to_the_field(served: Served, context: BrowserContext, page: Page) -> None:
    enrol(served, context, "press")
    page.goto(served.url("/station"))
    walker = Walker(page)
    walker.go_to("Help")
    page.keyboard.type("TQX")
    assert page.evaluate("() => [document.activeElement.id, document.activeElement.value]") == ["code", "TQX"]
