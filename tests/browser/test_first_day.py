"""A first day in a real browser: a worker is added, and a hand that clicks twice decides once; a station's clock goes on."""

from __future__ import annotations

import re

from playwright.sync_api import BrowserContext, Locator, Page

from app.domain.stages import Step
from tests.browser.conftest import Served, answered, enrol, scan, sign_in

# Between the two clicks of a slow hand the answer to the first is on the screen already.
BETWEEN_MS = 300


def click_twice(page: Page, button: Locator) -> None:
    """A double click, as a mouse reports it: the second click is told as the second."""
    box = button.bounding_box()
    assert box
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    for count in (1, 2):
        page.mouse.down(click_count=count)
        page.mouse.up(click_count=count)
        page.wait_for_timeout(BETWEEN_MS)


def test_the_manager_adds_a_volunteer_and_changes_what_she_may_do(served: Served, page: Page) -> None:
    sign_in(served, page)
    page.goto(served.url("/people"))
    page.get_by_label("Name", exact=True).fill("Ragna Holm")
    page.get_by_label("volunteer").check()
    page.get_by_role("button", name="Add").click()
    page.wait_for_url("**/people/*")
    assert "Ragna Holm works here now." in page.locator("body").inner_text()
    page.get_by_label("trainer").check()
    page.get_by_role("button", name="Change the rights").click()
    page.get_by_text("volunteer, trainer").first.wait_for()


def test_a_double_click_answers_one_question(served: Served, context: BrowserContext, page: Page) -> None:
    room = served.room
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    enrol(served, context, "intake")
    page.goto(served.url("/station"))
    scan(page, number)
    answered(page, "Which one?")
    click_twice(page, page.locator("#answer").get_by_role("button", name="Arrives dry"))
    # The next question is put, and nobody has answered it: whether it is dry is felt first.
    page.get_by_role("button", name="Still damp").wait_for()
    assert room.steps(number) == ["take-in"]


def test_a_double_click_on_what_is_decided_shows_what_was_done(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    enrol(served, context, "intake")
    served.slow_s = 0.5
    page.goto(served.url("/station"))
    scan(page, number)
    answered(page, "Which one?")
    click_twice(page, page.locator("#answer").get_by_role("button", name="Lay to dry"))
    answered(page, "Laid to dry.")
    page.wait_for_timeout(1000)
    assert page.locator("#answer-word").inner_text() == "Laid to dry."
    assert room.steps(number) == ["take-in", "lay-to-dry"]


def test_the_clock_of_a_station_goes_on_by_itself_and_without_the_line(
    served: Served, context: BrowserContext, page: Page
) -> None:
    enrol(served, context, "intake")
    page.clock.install()
    page.goto(served.url("/station"))
    clock = page.locator(".frame .clock")
    page.wait_for_function("() => document.getElementById('scan-form').dataset.line === 'up'")
    began = clock.inner_text()
    page.route(re.compile("/station/(token|contact)"), lambda route: route.abort())
    # Half a minute, in which the list at the side is not asked for anew.
    clock.evaluate("shown => { shown.textContent = 'stopped'; }")
    page.clock.run_for(30_000)
    page.wait_for_function("() => document.querySelector('.frame .clock').textContent !== 'stopped'")
    began_at, at = ([int(part) for part in each.split(":")] for each in (began, clock.inner_text()))
    assert 0 <= (at[0] * 60 + at[1] - began_at[0] * 60 - began_at[1]) % (24 * 60) <= 2
