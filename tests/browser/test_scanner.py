"""Every command card and a badge by a simulated scanner: 30 ms a character, then Enter or Tab; and Tab stays a person's key."""

from __future__ import annotations

import time

import pytest
from playwright.sync_api import BrowserContext, Page

from app.db.engine import transaction
from app.domain.numbers import COMMANDS, shown
from app.services.room import add_bundle
from tests.browser.conftest import Served, answered, enrol
from tests.room import TQX

CHARACTER_MS = 30
KEYS = {"Enter": (13, "\r"), "Tab": (9, ""), "Shift+Tab": (9, "")}
SHIFT = 8
# What each card is answered at the intake of a room on its first morning, scanned one after the other.
WORDS = {
    "help": "Help.", "no-number": "Which one?", "yes": "Which one?", "no": "Left as it is.", "undo": "Stop.",
    "another-sheet": "Stop.", "already-done": "Stop.", "unmounted": "Stop.", "pest": "Stop.", "closing": "All is safe.",
    "morning": "Good morning.", "round": "Press round.", "whole-shelf": "Which one?", "done": "Thank you.",
    "same-number": "Stop.", "two-plants": "Stop.", "same-specimen": "Stop.", "damp": "Stop.",
    "check": "Stop.", "cannot-be-read": "Stop.", "new-load": "Stop.", "danger": "Stop.", "label-here": "Stop.",
}  # fmt: skip


def typed(page: Page, code: str, *ends: str, after_ms: int = CHARACTER_MS) -> None:
    """A scanner's keys. Each carries the moment at which it was struck, as a real one does, however late a busy computer hands it on.

    Between a character and an end lie `after_ms`.
    """
    keys = page.context.new_cdp_session(page)
    at = time.time()
    for place, key in enumerate((*code, *ends)):
        if place:
            at += (after_ms if key in KEYS else CHARACTER_MS) / 1000
            page.wait_for_timeout(max(0, at - time.time()) * 1000)
        number, text = KEYS[key] if key in KEYS else (ord(key), key)
        struck = {"key": key.removeprefix("Shift+"), "windowsVirtualKeyCode": number, "timestamp": at,
                  "modifiers": SHIFT if key.startswith("Shift+") else 0}  # fmt: skip
        keys.send("Input.dispatchKeyEvent", {**struck, "type": "keyDown" if text else "rawKeyDown", "text": text})
        keys.send("Input.dispatchKeyEvent", {**struck, "type": "keyUp"})
    keys.detach()


def scanned(page: Page, code: str, end: str) -> None:
    """A scanner types a code and its end; whatever is sent was answered when this returns."""
    with page.expect_response("**/station/scan"):
        typed(page, code, end)


def focus(page: Page) -> str:
    return str(page.evaluate("document.activeElement.id || document.activeElement.tagName"))


@pytest.fixture
def intake(served: Served, context: BrowserContext, page: Page) -> Page:
    enrol(served, context, "intake")
    page.goto(served.url("/station"))
    return page


@pytest.mark.parametrize("end", ["Enter", "Tab"])
def test_every_card_and_a_badge_is_read_from_a_scanner(served: Served, intake: Page, end: str) -> None:
    assert set(WORDS) == set(COMMANDS), "a new card is scanned here, too"
    posts = len(served.posts)
    scanned(intake, served.room.code("badge", "piet"), end)
    answered(intake, "Hello, Piet.")
    for name, word in WORDS.items():
        scanned(intake, COMMANDS[name], end)
        answered(intake, word)
        assert served.room.station_row("intake")["last_code"] == COMMANDS[name], name
        assert focus(intake) == "code" and intake.locator("#code").input_value() == "", name
    assert len(served.posts) - posts == 1 + len(WORDS), "each is sent once"


@pytest.mark.parametrize("end", ["Enter", "Tab"])
def test_every_badge_and_both_sides_of_a_stacks_card(
    served: Served, context: BrowserContext, page: Page, end: str
) -> None:
    room = served.room
    enrol(served, context, "press")
    page.goto(served.url("/station"))
    for who in room.worker:
        scanned(page, room.code("badge", who), end)
        # Ines only reads, and does no work at a station.
        answered(page, "Stop." if who == "ines" else f"Hello, {who.capitalize()}.")
    for side, word in (("off", "Weights off."), ("on", "Weights on.")):
        scanned(page, room.code(side, "P1"), end)
        answered(page, word)
    scanned(page, COMMANDS["yes"], end)
    answered(page, "Counted.")


def test_a_tray_is_moved_by_its_card_and_yes_and_left_by_no(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    room.wait(minutes=-10)
    with transaction(room.database) as session:
        add_bundle(session, "Tray 4")
    room.scans(room.code("bundle", "Tray 4"), "intake")
    number = room.new_number()
    room.scans(number, "intake")
    room.wait(minutes=10)
    enrol(served, context, "drying")
    page.goto(served.url("/station"))
    scanned(page, room.code("bundle", "Tray 4"), "Enter")
    answered(page, "Which one?")
    scanned(page, COMMANDS["no"], "Enter")
    answered(page, "Left as it is.")
    assert "Nothing was changed." in page.locator("#answer").inner_text() and room.stage(number) == "intake"
    # Somebody else's scan lies between, so that the same card again is no double read.
    scanned(page, COMMANDS["help"], "Enter")
    answered(page, "Help.")
    scanned(page, room.code("bundle", "Tray 4"), "Enter")
    answered(page, "Which one?")
    scanned(page, COMMANDS["yes"], "Enter")
    answered(page, "Laid to dry.")
    assert room.stage(number) == "drying"


@pytest.mark.parametrize("ends", [("Tab", "Enter"), ("Enter", "Tab")])
def test_a_scanner_that_ends_twice_scans_once(served: Served, intake: Page, ends: tuple[str, str]) -> None:
    for number in (served.room.new_number(), served.room.new_number()):
        typed(intake, number, *ends)
        intake.wait_for_function(
            "text => document.querySelector('#answer .answer-number')?.textContent.trim() === text",
            arg=shown(number, [TQX]),
        )
        assert served.room.steps(number) == ["take-in"]
    assert served.posts == ["/station/scan", "/station/scan"]


def test_a_scanner_is_read_wherever_the_focus_is(served: Served, intake: Page) -> None:
    intake.get_by_role("button", name="Help").focus()
    scanned(intake, served.room.code("badge", "piet"), "Tab")
    answered(intake, "Hello, Piet.")


def left_by_tab(page: Page, code: str, **more: int) -> str:
    """A code is typed into the empty field, and Tab; where the focus is then. Nothing of it was taken away."""
    field = page.locator("#code")
    field.fill("")
    field.focus()
    page.wait_for_timeout(150)
    typed(page, code, "Tab", **more)
    assert field.input_value() == code
    return focus(page)


def test_tab_moves_on_for_whoever_types(served: Served, intake: Page) -> None:
    code = COMMANDS["help"]
    intake.keyboard.type(code, delay=150)
    intake.keyboard.press("Tab")
    assert (focus(intake), intake.locator("#code").input_value()) == ("BUTTON", code), "typed by hand"
    intake.keyboard.press("Shift+Tab")
    assert focus(intake) == "code", "and back again"
    assert left_by_tab(intake, code, after_ms=120) == "BUTTON", "typed quickly, and then looked at"
    assert left_by_tab(intake, code[:3]) == "BUTTON", "too short for a code"
    assert served.posts == []


def test_a_tab_with_shift_always_goes_back(served: Served, intake: Page) -> None:
    typed(intake, COMMANDS["help"], "Shift+Tab")
    assert focus(intake) != "code" and served.posts == []


def test_tab_in_another_field_is_never_the_scanners(served: Served, intake: Page) -> None:
    scanned(intake, COMMANDS["no-number"], "Enter")
    answered(intake, "Which one?")
    asked = intake.get_by_label("On the label")
    asked.focus()
    typed(intake, "Carex", "Tab")
    assert asked.input_value() == "Carex" and focus(intake) == "BUTTON"
    assert len(served.posts) == 1
