"""The press room while somebody looks at it: it changes by itself, keeps what is in hand, and goes by keyboard and on paper."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page

from app.db.engine import transaction
from app.services.room import add_stack
from tests.browser.conftest import Served, sign_in
from tests.browser.test_access import violations
from tests.browser.test_board import WATCH, changes

ASK = """() => { htmx.trigger(document.getElementById('press'), 'every'); }"""


def a_high_stack(served: Served, sheets: int = 20) -> list[str]:
    """A stack of twenty under weight, the upper half ready."""
    room = served.room
    room.wait(days=-3)
    with transaction(room.database) as session:
        room.stack["P9"] = add_stack(session, "P9", room.now, capacity=20, mass_kg=12)
    numbers = [room.sheet_in("P9", adhesive="paste" if place % 2 else "pva", bulk="bulky" if place == sheets - 1 else "ordinary")
               for place in range(sheets)]  # fmt: skip
    room.weights("on", "P9")
    room.wait(days=3)
    return numbers


def ask_now(page: Page) -> None:
    """The page asks for news, as it does every 15 seconds."""
    before = page.evaluate("() => window.asked")
    page.evaluate(ASK)
    page.wait_for_function("before => window.asked > before", arg=before)


@pytest.mark.parametrize("path", ["/press", "/press/P9"])
def test_weights_that_come_off_show_and_an_unchanged_page_is_left_alone(served: Served, page: Page, path: str) -> None:
    a_high_stack(served, 4)
    sign_in(served, page)
    page.goto(served.url(path))
    page.evaluate(WATCH)
    ask_now(page)
    assert page.evaluate("() => window.lastAnswer") == 204 and changes(page) == []
    assert page.locator(".weight-off").count() == 0
    served.room.weights("off", "P9")
    ask_now(page)
    page.wait_for_function("() => document.querySelectorAll('.weight-off').length === 4")
    assert not [each for each in changes(page) if each.startswith("said: ")]


def test_a_layer_in_hand_stays_in_hand_when_another_is_taken_out(served: Served, page: Page) -> None:
    numbers = a_high_stack(served, 3)
    sign_in(served, page)
    page.goto(served.url("/press/P9"))
    page.evaluate(WATCH)
    page.locator(f'.pile-link[href="/sheets/{numbers[2]}"]').focus()
    served.room.weights("off", "P9")
    served.room.takes_out(numbers[0])
    ask_now(page)
    page.wait_for_function("() => document.querySelectorAll('.pile-link').length === 2")
    held = page.evaluate(
        "() => [document.activeElement.getAttribute('href'), document.activeElement.getAttribute('aria-label')]"
    )
    assert held[0] == f"/sheets/{numbers[2]}" and held[1].startswith("Layer 2 ")


def test_every_layer_is_reached_by_the_keyboard_from_the_top_and_leads_to_its_sheet(served: Served, page: Page) -> None:
    numbers = a_high_stack(served, 5)
    sign_in(served, page)
    page.goto(served.url("/press/P9"))
    page.locator(".pile-link").first.focus()
    reached = []
    for _ in numbers:
        reached.append(page.evaluate("() => document.activeElement.getAttribute('href')"))
        page.keyboard.press("Tab")
    assert reached == [f"/sheets/{number}" for number in reversed(numbers)]
    page.keyboard.press("Shift+Tab")
    stroke = "() => getComputedStyle(document.activeElement.querySelector('.pile-focus')).stroke"
    assert page.evaluate(stroke) not in ("none", "")
    page.keyboard.press("Enter")
    page.wait_for_url(served.url(f"/sheets/{numbers[0]}"))


@pytest.mark.parametrize("path", ["/press", "/press/P9"])
@pytest.mark.parametrize(("width", "height"), [(1440, 900), (720, 450), (390, 844), (320, 640)])
def test_it_fits_and_no_word_of_the_picture_runs_over_its_edge(
    served: Served, page: Page, path: str, width: int, height: int
) -> None:
    a_high_stack(served)
    sign_in(served, page)
    page.set_viewport_size({"width": width, "height": height})
    page.goto(served.url(path))
    assert page.evaluate("() => document.documentElement.scrollWidth - innerWidth") <= 0
    over = """() => [...document.querySelectorAll('.pile-words')].filter((words) => {
      const box = words.getBoundingClientRect(), whole = words.closest('.stack-picture').getBoundingClientRect();
      const number = words.parentElement.querySelector('.pile-layer').getBoundingClientRect();
      return box.right > whole.right + 1 || box.left < number.right;
    }).map((words) => words.textContent)"""
    assert page.evaluate(over) == []
    assert violations(page) == {}


def test_in_forced_colours_every_layer_still_has_its_edge(served: Served, page: Page) -> None:
    a_high_stack(served, 4)
    sign_in(served, page)
    page.emulate_media(forced_colors="active")
    page.goto(served.url("/press/P9"))
    strokes = page.eval_on_selector_all(".pile-sheet", "all => all.map((each) => getComputedStyle(each).stroke)")
    assert strokes and "none" not in strokes
    assert violations(page) == {}


def test_a_stack_of_twenty_is_printed_whole(served: Served, page: Page, tmp_path: Path) -> None:
    a_high_stack(served)
    sign_in(served, page)
    for path in ("/press", "/press/P9"):
        page.goto(served.url(path))
        page.set_viewport_size({"width": 718, "height": 1000})
        page.emulate_media(media="print")
        assert page.evaluate("() => document.documentElement.scrollWidth") <= 718
        assert page.locator(".stack-picture:visible").count() == page.locator(".stack-picture").count() > 0
        assert page.locator("header.frame:visible").count() == 0
    # A picture that is higher than the paper would be cut: A4 less its margins is 1009 px high at 96 px to the inch.
    assert page.locator(".stack-picture").bounding_box()["height"] < 1009  # type: ignore[index]
