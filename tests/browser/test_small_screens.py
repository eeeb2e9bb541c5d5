"""The station on a tablet and a telephone: the field stays in sight, the answer is read whole, nothing is too small to touch."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from app.db.engine import transaction
from app.domain.practice import Start, practice_pattern, practice_sheets
from app.services.practice import set_practising
from tests.browser.conftest import Served, answered, enrol, scan, watch
from tests.browser.test_access import violations
from tests.browser.test_scanner import typed

SIZES = [(768, 1024), (1024, 768), (390, 844)]
# At 200 % a page has half as many CSS pixels each way.
ZOOMED = [(512, 384), (384, 512), (720, 450)]
READY = next(sheet.number for sheet in practice_sheets(practice_pattern(())) if sheet.start is Start.READY)
Opened = Callable[..., Page]

# WCAG 2.2, 2.5.5 (AAA) has 44 CSS pixels; links inside a sentence are excepted there, too.
SMALL = """() => [...document.querySelectorAll('a, button, summary, select, input:not([type=hidden])')]
    .filter(each => each.checkVisibility() && !each.closest('p') && !each.matches('.skip'))
    .filter(each => { const box = each.getBoundingClientRect(); return box.height < 44 || box.width < 44; })
    .map(each => each.outerHTML.slice(0, 90))"""
OVER = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
# Whether a thing is seen: inside the window, and not under what stays at its upper edge.
SEEN = """selector => {
    const each = document.querySelector(selector), box = each.getBoundingClientRect();
    const at = y => document.elementFromPoint(box.left + Math.min(20, box.width / 2), y);
    return box.top >= 0 && box.bottom <= innerHeight && [box.top + 3, box.bottom - 3].every(y => each.contains(at(y)) || at(y).contains(each));
}"""


@pytest.fixture
def opened(served: Served, browser: Browser) -> Iterator[Opened]:
    """A device of a size, touched with a finger, whose browser is a station; its console stays clean."""
    contexts: list[BrowserContext] = []
    errors: list[str] = []

    def device(width: int, height: int, slug: str = "table-1", *, touch: bool = True, again: bool = False) -> Page:
        if not again:
            mobile = {"is_mobile": True} if touch and width < 800 else {}
            contexts.append(browser.new_context(viewport={"width": width, "height": height}, has_touch=touch,
                                                reduced_motion="reduce", **mobile))  # fmt: skip
            contexts[-1].set_default_timeout(20_000)
        enrol(served, contexts[-1], slug)
        page = contexts[-1].new_page()
        watch(page, errors)
        page.goto(served.url("/station"))
        page.wait_for_function("() => document.getElementById('scan-form').dataset.keeps")
        return page

    yield device
    for context in contexts:
        context.close()
    assert errors == []


def an_answer(served: Served, page: Page, is_practice: bool) -> None:
    """A sheet is taken up, with all that its answer has to say."""
    if is_practice:
        scan(page, served.room.code("badge", "olwen"))
        answered(page, "Hello, Olwen.")
    scan(page, READY if is_practice else served.room.sheet_ready())
    answered(page, "Taken up.")


@pytest.mark.parametrize("is_practice", [False, True], ids=["real", "practice"])
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_station_is_worked_on_a_small_screen(
    served: Served, opened: Opened, width: int, height: int, is_practice: bool
) -> None:
    if is_practice:
        with transaction(served.room.database) as session:
            set_practising(session, served.room.station["table-1"], True, served.room.now, by=None)
    page = opened(width, height)
    assert page.evaluate(OVER) <= 0 and page.evaluate(SMALL) == []
    an_answer(served, page, is_practice)
    assert page.evaluate(OVER) <= 0 and page.evaluate(SMALL) == []
    for thing in ("#code", "#answer-word", ".answer-number", ".answer-next"):
        assert page.evaluate(SEEN, thing), thing
    assert violations(page) == {}
    # Down at the last scans and the lists the field is still there, and the next answer is brought up to it.
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    assert page.evaluate("scrollY") > 0 and page.evaluate(SEEN, "#code")
    scan(page, "TQX 999999 9")
    answered(page, "Stop.")
    assert page.evaluate(SEEN, "#answer-word") and page.evaluate(SEEN, "#code")


@pytest.mark.parametrize(("width", "height"), ZOOMED)
def test_nothing_is_lost_at_two_hundred_per_cent(served: Served, opened: Opened, width: int, height: int) -> None:
    page = opened(width, height, touch=False)
    an_answer(served, page, is_practice=False)
    assert page.evaluate(OVER) <= 0
    assert page.evaluate(SEEN, "#code") and page.evaluate(SEEN, "#answer-word")
    assert violations(page) == {}
    # Whatever has the focus is not hidden under the field (WCAG 2.2, 2.4.11).
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    page.locator("aside summary, aside button").last.focus()
    for key in ["Shift+Tab"] * 30:
        page.keyboard.press(key)
        hidden = page.evaluate("""() => { const at = document.activeElement, box = at.getBoundingClientRect();
            if (at === document.body || at.closest('#scan-form')) return '';
            const found = document.elementFromPoint(box.left + box.width / 2, box.bottom - 2);
            return found && (at.contains(found) || found.contains(at)) ? '' : at.outerHTML.slice(0, 80); }""")
        assert hidden == ""


def test_the_keyboard_on_the_glass_comes_up_only_when_it_is_called(served: Served, opened: Opened) -> None:
    page = opened(390, 844)
    field, toggle = page.locator("#code"), page.get_by_role("button", name="Keyboard")
    assert field.get_attribute("inputmode") == "none" and toggle.get_attribute("aria-pressed") == "false"
    toggle.tap()
    assert field.get_attribute("inputmode") == "text" and toggle.get_attribute("aria-pressed") == "true"
    assert page.evaluate("document.activeElement.id") == "code"
    # It is remembered for this station in this browser, and for no other station.
    page.reload()
    assert page.locator("#code").get_attribute("inputmode") == "text"
    other = opened(390, 844, "table-2", again=True)
    assert other.locator("#code").get_attribute("inputmode") == "none"
    assert "camera of this device is not used" in other.locator("#by-touch").inner_text()


def test_where_there_is_a_mouse_nothing_is_said_of_touch(opened: Opened) -> None:
    page = opened(1440, 900, touch=False)
    assert page.locator("#code").get_attribute("inputmode") is None
    assert page.locator("#keyboard").is_hidden() and page.locator("#by-touch").is_hidden()


def test_a_scanner_paired_with_the_telephone_types_without_the_keyboard(served: Served, opened: Opened) -> None:
    page, number = opened(390, 844), served.room.sheet_ready()
    page.locator("body").tap(position={"x": 5, "y": 5})
    # A scanner over Bluetooth is a keyboard to the browser; 30 ms a character is common practice, no source.
    page.keyboard.type(number, delay=30)
    page.keyboard.press("Enter")
    answered(page, "Taken up.")
    # Each key carries its moment, so that a busy machine does not make a hand of the scanner.
    typed(page, number, "Tab")
    page.wait_for_function("() => document.querySelectorAll('#scans li').length >= 2")
    assert served.room.steps(number).count("take-up") == 1
    assert page.evaluate("document.activeElement.id") == "code"


def test_with_the_keyboard_up_the_answer_and_what_to_do_next_are_read(served: Served, opened: Opened) -> None:
    # No browser without a screen raises a real keyboard; one takes about half of a telephone's height (from memory), and the page
    # asks for the window to be made lower by it.
    page = opened(390, 440)
    assert "resizes-content" in (page.locator("meta[name=viewport]").get_attribute("content") or "")
    an_answer(served, page, is_practice=False)
    for thing in ("#code", "#answer-word", ".answer-next"):
        assert page.evaluate(SEEN, thing), thing
