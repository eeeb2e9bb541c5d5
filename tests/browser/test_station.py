"""A volunteer's first five minutes, and the scans that must not get lost, in a real browser."""

from __future__ import annotations

import math
import re

import pytest
from playwright.sync_api import BrowserContext, Page

from app.domain.numbers import shown
from tests.browser.conftest import Served, answered, enrol, scan, taken_up
from tests.room import TQX


@pytest.mark.parametrize("host", ["127.0.0.1", "room.test"])
def test_a_volunteer_is_right_at_the_first_scan(served: Served, context: BrowserContext, page: Page, host: str) -> None:
    room = served.room
    first, second = room.sheet_ready(), room.sheet_ready()
    enrol(served, context, "table-1", host)
    page.goto(served.url("/", host))
    assert page.url == served.url("/station", host)
    scan(page, room.code("badge", "piet"))
    answered(page, "Hello, Piet.")
    assert "Piet Lindqvist" in page.locator("#at-work").inner_text()
    # Nothing was clicked: the field has the focus again and again.
    scan(page, first)
    answered(page, "Taken up.")
    assert page.locator("#answer .answer-number").inner_text() == shown(first, [TQX])
    assert page.locator("#answer").get_attribute("data-kind") == "done"
    scan(page, second)
    page.wait_for_function(
        "text => document.querySelector('#answer .answer-number')?.textContent.trim() === text",
        arg=shown(second, [TQX]),
    )
    scan(page, first)
    answered(page, "Mounted.")
    assert "Now put it in stack P1" in page.locator("#answer").inner_text()
    page.get_by_text("Undo this scan").click()
    page.get_by_role("button", name="Not done yet").click()
    answered(page, "Undone.")
    assert room.stage(first) == "ready-for-mounting"
    scan(page, "TQX 999999 9")
    answered(page, "Stop.")
    assert page.evaluate("document.activeElement.id") == "code"
    outcomes = page.locator("#scans .scan-outcome").all_inner_texts()
    assert len(outcomes) >= 4


def test_twenty_scans_fifty_milliseconds_apart_all_arrive_in_order(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    numbers = [room.sheet_ready() for _ in range(20)]
    enrol(served, context, "table-2")
    served.slow_s = 0.2
    page.goto(served.url("/station"))
    page.evaluate("""() => { window.seen = []; new MutationObserver(() => {
        const shown = document.querySelector('#answer .answer-number');
        if (shown) window.seen.push(shown.textContent.trim());
    }).observe(document.getElementById('answer-place'), {childList: true}); }""")
    for number in numbers:
        page.locator("#code").fill(number)
        page.keyboard.press("Enter")
        page.wait_for_timeout(50)
    page.wait_for_function("count => window.seen.length >= count", arg=20, timeout=30_000)
    assert page.evaluate("window.seen") == [shown(number, [TQX]) for number in numbers]
    taken = [(room.log(number)[-1]["id"], number) for number in numbers if room.steps(number)[-1] == "take-up"]
    assert [number for _, number in sorted(taken)] == numbers


def scanned_at_a_cut_line(served: Served, context: BrowserContext, page: Page) -> str:
    """A sheet is scanned while the line is down; the screen says that it is kept."""
    number = served.room.sheet_ready()
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    page.wait_for_function("() => document.getElementById('scan-form').dataset.keeps === 'lasting'")
    page.route("**/station/scan", lambda route: route.abort())
    scan(page, number)
    page.wait_for_function("() => !document.getElementById('line').hidden")
    return number


def test_a_scan_that_meets_a_broken_line_is_kept_and_sent_once(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room, number = served.room, scanned_at_a_cut_line(served, context, page)
    assert "1 scan is kept here" in page.locator("#line").inner_text()
    page.unroute("**/station/scan")
    answered(page, "Taken up.")
    page.locator("#line").wait_for(state="hidden")
    assert room.steps(number).count("take-up") == 1


def test_kept_scans_survive_the_page_being_closed(served: Served, context: BrowserContext, page: Page) -> None:
    room, number = served.room, scanned_at_a_cut_line(served, context, page)
    page.close()
    again = context.new_page()
    again.goto(served.url("/station"))
    answered(again, "Taken up.")
    assert room.steps(number).count("take-up") == 1


def test_the_station_is_worked_by_keyboard_alone(served: Served, context: BrowserContext, page: Page) -> None:
    room = served.room
    number = taken_up(served, context, page)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.tagName") == "BUTTON"
    for _ in range(8):
        if page.evaluate("document.activeElement.textContent").strip().startswith("Undo"):
            break
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    answered(page, "Undone.")
    assert room.row(number)["table_id"] is None
    # A key typed anywhere goes to the scan field again; Tab was never taken back.
    page.evaluate("document.activeElement.blur()")
    page.keyboard.type("T")
    assert page.evaluate("[document.activeElement.id, document.getElementById('code').value]") == ["code", "T"]


def test_the_station_works_without_script(served: Served, browser, context: BrowserContext) -> None:  # type: ignore[no-untyped-def]
    room = served.room
    number = room.sheet_ready()
    plain = browser.new_context(java_script_enabled=False)
    enrol(served, plain, "table-1")
    page = plain.new_page()
    page.goto(served.url("/station"))
    page.locator("#code").fill(number)
    page.get_by_role("button", name="Enter", exact=True).click()
    assert page.locator("#answer-word").inner_text() == "Taken up."
    # The same page sent twice (a reload that asks to send again) writes nothing twice.
    page.reload()
    assert room.steps(number).count("take-up") == 1
    plain.close()


def test_the_answer_is_readable_from_two_metres(served: Served, context: BrowserContext, page: Page) -> None:
    # Snellen's 20/20 letter spans 5 minutes of arc (from memory). Four times that for the word of the answer, twice for the rest,
    # is common practice for signs, no source. A pixel of a 24-inch screen at 1440 by 900 is 0.36 mm, a capital 0.7 of its size.
    taken_up(served, context, page)

    def size(selector: str) -> float:
        css = page.evaluate("selector => getComputedStyle(document.querySelector(selector)).fontSize", selector)
        return float(re.sub("px", "", css))

    def minutes_of_arc(selector: str) -> float:
        return math.degrees(math.atan(size(selector) * 0.7 * 0.36 / 2000)) * 60

    assert minutes_of_arc("#answer-word") >= 20
    assert minutes_of_arc("#answer .answer-next") >= 10 and minutes_of_arc("#answer .answer-number") >= 10
    assert size("#code") >= 40
