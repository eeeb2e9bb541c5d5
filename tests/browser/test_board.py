"""The board while somebody looks at it: still when nothing changes, quietly new where something does, plain when it is alone."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page

from app.db.engine import transaction
from tests.browser.conftest import Served, sign_in
from tests.browser.test_access import violations

A_MINUTE_S = 62
# Every change to the page is written down, what a live region would say of it apart.
WATCH = """() => {
  window.changes = []; window.asked = 0;
  const live = (node) => (node.nodeType === 1 ? node : node.parentElement)?.closest('[aria-live], [role=status], [role=alert]');
  new MutationObserver((all) => all.forEach((each) => window.changes.push(
    `${live(each.target) ? 'said: ' : ''}${each.type} ${each.target.nodeName}#${each.target.id ?? ''} ${each.attributeName ?? ''}`
  ))).observe(document, {subtree: true, childList: true, attributes: true, characterData: true});
  document.addEventListener('htmx:after:request', (event) => { window.asked += 1; window.lastAnswer = event.detail.ctx.response.status; });
}"""


def a_still_room(served: Served) -> str:
    """Something in every part of the board, old enough that no age is said in minutes or hours; the number of a sheet."""
    room = served.room
    room.wait(days=-9)
    number = room.sheet_in("P1")
    room.sheet_in("P1")
    room.weights("on", "P1")
    for _ in range(3):
        room.sheet_ready()
    room.wait(days=9)
    return number


def look(served: Served, page: Page) -> None:
    """Open the board and begin to watch it."""
    sign_in(served, page)
    page.goto(served.url("/board"))
    page.evaluate(WATCH)


def ask_now(page: Page) -> None:
    """The board asks for news, as it does every 15 seconds."""
    before = page.evaluate("() => window.asked")
    page.evaluate("() => htmx.trigger(document.getElementById('board'), 'every')")
    page.wait_for_function("before => window.asked > before", arg=before)


def changes(page: Page) -> list[str]:
    """What has changed on the page since it was watched."""
    found: list[str] = page.evaluate("() => window.changes")
    return found


def test_an_unchanged_board_does_not_change_the_page_for_a_minute_and_its_live_regions_say_nothing(
    served: Served, page: Page
) -> None:
    a_still_room(served)
    look(served, page)
    page.wait_for_timeout(A_MINUTE_S * 1000)
    assert page.evaluate("() => window.asked") >= 4 and page.evaluate("() => window.lastAnswer") == 204
    assert changes(page) == []


def test_a_scan_changes_what_it_touches_and_nothing_the_reader_has_in_hand(served: Served, page: Page) -> None:
    """Focus, scroll, what is being typed and what is selected stay; the untouched stages are not even written again."""
    a_still_room(served)
    page.set_viewport_size({"width": 390, "height": 844})
    look(served, page)
    page.get_by_role("link", name="Dry", exact=True).focus()
    page.evaluate("() => window.scrollTo(0, 400)")
    page.evaluate("() => getSelection().selectAllChildren(document.querySelector('.stage-intake .stage-name'))")
    kept = "() => [document.activeElement.href, Math.round(scrollY), getSelection().toString().trim()]"
    before = page.evaluate(kept)
    nodes = page.evaluate_handle("() => [...document.querySelectorAll('.stage')]")
    served.room.sheet_ready()
    page.wait_for_timeout(1100)
    ask_now(page)
    page.wait_for_function("() => document.querySelector('.stage-ready-for-mounting .stage-count').textContent === '4'")
    assert page.evaluate(kept) == before and before[1] == 400
    assert page.evaluate("nodes => nodes.every(node => node.isConnected)", nodes)
    assert not [each for each in changes(page) if each.startswith("said: ")]


def test_an_opened_line_and_what_is_typed_beside_it_outlive_a_change(served: Served, page: Page) -> None:
    a_still_room(served)
    look(served, page)
    find = page.get_by_role("searchbox").first
    find.fill("Drose")
    served.room.sheet_ready()
    page.wait_for_timeout(1100)
    ask_now(page)
    page.wait_for_function("() => document.querySelector('.stage-ready-for-mounting .stage-count').textContent === '4'")
    assert find.input_value() == "Drose"


def test_a_board_that_hears_nothing_says_so_and_takes_it_back(served: Served, context: BrowserContext) -> None:
    page = context.new_page()
    a_still_room(served)
    sign_in(served, page)
    page.clock.install()
    page.goto(served.url("/board"))
    page.clock.run_for(20_000)
    assert page.locator("#board-lost").is_hidden()
    context.set_offline(True)
    page.clock.run_for(70_000)
    page.wait_for_function("() => !document.getElementById('board-lost').hidden")
    assert "may be old" in page.locator("#board-lost").inner_text()
    context.set_offline(False)
    page.clock.run_for(16_000)
    page.wait_for_function("() => document.getElementById('board-lost').hidden")


@pytest.mark.parametrize("path", ["/board", "/wall"])
@pytest.mark.parametrize(("width", "height"), [(1920, 1080), (1440, 900), (390, 844)])
def test_the_board_fits_a_wall_a_laptop_and_a_telephone(
    served: Served, page: Page, path: str, width: int, height: int
) -> None:
    a_still_room(served)
    sign_in(served, page)
    page.set_viewport_size({"width": width, "height": height})
    page.goto(served.url(path))
    wide: Any = page.evaluate("() => document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0
    assert violations(page) == {}


def test_the_wall_says_the_seven_stages_large_and_is_whole_on_one_screen(served: Served, page: Page) -> None:
    a_still_room(served)
    sign_in(served, page)
    page.set_viewport_size({"width": 1920, "height": 1080})
    page.goto(served.url("/wall"))
    figure = page.locator(".stage-count").first
    assert float(figure.evaluate("node => parseFloat(getComputedStyle(node).fontSize)")) >= 70
    assert page.locator("header.frame").count() == 0
    assert page.evaluate("() => document.documentElement.scrollHeight") <= 1080


def test_the_board_is_printed_on_paper_width_with_every_stage(served: Served, page: Page) -> None:
    a_still_room(served)
    with transaction(served.room.database):
        pass
    sign_in(served, page)
    page.set_viewport_size({"width": 718, "height": 1000})
    page.goto(served.url("/board"))
    page.emulate_media(media="print")
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 718
    assert page.locator(".stage:visible").count() == 7 and page.locator("header.frame:visible").count() == 0
