"""The scanner check: what a scanner's keys tell of the keyboard, and scans that are put right before they are sent."""

from __future__ import annotations

import io
import re

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page

from app.web.scanner import CHECK_TEXT
from tests.browser.conftest import Served, answered, enrol, scan, sign_in
from tests.room import Room

PAGE = "/stations/scanner-check"
# Keys of an American keyboard pressed on a German (DIN 2137) and a French (AZERTY) one; both from memory.
GERMAN = str.maketrans("yzYZ-", "zyZYß")
FRENCH = str.maketrans("aqwzAQWZM0123456789-", "qazwQAZW?à&é\"'(-è_ç)")
QWERTZ = "Quazß0123456789ßYWM"
AZERTY = "Auqy)à&é\"'(-è_ç)WZ?"

# What comes in, and what it tells: way, letters, prefix, suffix.
CAME: list[tuple[str, tuple[str, str, str, str] | None]] = [
    ("Quay-0123456789-ZWM", ("qwerty", "as-printed", "", "")),
    (QWERTZ, ("qwertz", "as-printed", "", "")),
    (AZERTY, ("azerty", "as-printed", "", "")),
    # A scanner set for the German or the French keyboard at a computer with an American one.
    ("Quaz/0123456789/YWM", ("not-qwertz", "as-printed", "", "")),
    ("Auqy6)!@#$%^&*(6WZ:", ("not-azerty", "as-printed", "", "")),
    # Caps Lock: letters only, or every key, as older French and German keyboards have it.
    ("qUAY-0123456789-zwm", ("qwerty", "caps-lock", "", "")),
    ("qUAZß0123456789ßywm", ("qwertz", "caps-lock", "", "")),
    ("aUQY°0123456789°wz,", ("azerty", "caps-lock", "", "")),
    ("QUAY-0123456789-ZWM", ("qwerty", "changed", "", "")),
    ("quay-0123456789-zwm", ("qwerty", "changed", "", "")),
    ("]C1Quay-0123456789-ZWM", ("qwerty", "as-printed", "]C1", "")),
    (f"~{QWERTZ}#", ("qwertz", "as-printed", "~", "#")),
    ("Quay-012345678-ZWM", None),
    ("", None),
]


@pytest.fixture
def check(served: Served, page: Page) -> Page:
    """The page of the check, open for the manager."""
    sign_in(served, page)
    page.goto(served.url(PAGE))
    page.wait_for_function("() => document.activeElement?.id === 'scanned'")
    return page


def told(page: Page) -> tuple[str | None, str | None, str]:
    """What the page tells: the way the keys arrive, the line end, and its words."""
    page.wait_for_function("() => document.querySelectorAll('#scanner-told li').length > 0")
    place = page.locator("#scanner-told")
    return place.get_attribute("data-way"), place.get_attribute("data-end"), place.inner_text()


def azerty(served: Served, context: BrowserContext, page: Page) -> Room:
    """A station whose browser puts the keys of a French keyboard right."""
    enrol(served, context, "table-1")
    page.goto(served.url(PAGE))
    scan(page, AZERTY)
    page.get_by_role("button", name="Put it right in this browser").click()
    page.goto(served.url("/station"))
    return served.room


def test_the_script_knows_the_text_that_is_printed(check: Page) -> None:
    assert check.evaluate("() => blotterScanner.CHECK") == CHECK_TEXT == "Quay-0123456789-ZWM"
    assert CHECK_TEXT in check.locator(".check-card figcaption").inner_text()


def test_what_comes_in_tells_keyboard_caps_lock_prefix_and_what_follows(check: Page) -> None:
    for came, expected in CAME:
        found = check.evaluate("came => blotterScanner.judge(came)", came)
        got = found and (found["way"], found["letters"], found["prefix"], found["suffix"])
        assert got == expected, came


@pytest.mark.parametrize(("way", "keys"), [("qwertz", GERMAN), ("azerty", FRENCH)])
def test_every_character_of_a_number_is_put_right(check: Page, way: str, keys: dict[int, str]) -> None:
    printed = "ABCDEFGHIJKLMNOPQRSTUVWXYZ-0123456789"
    put = check.evaluate(
        "([came, way]) => blotterScanner.putRight(came, {way, prefix: '~', suffix: '#'})",
        [f"~{printed.translate(keys)}#", way],
    )
    assert put == printed


def test_each_key_has_one_character_so_that_what_is_put_right_is_what_was_printed(check: Page) -> None:
    for way in ("qwerty", "qwertz", "azerty", "not-qwertz", "not-azerty"):
        # Left out: what such a keyboard writes only with a dead key.
        printed = "".join(map(chr, range(0x21, 0x7F))).translate(str.maketrans("", "", "`=+~^[]{}"))
        typed = check.evaluate("([way, text]) => blotterScanner.typed(way, text)", [way, printed])
        put = check.evaluate(
            "([came, way]) => blotterScanner.putRight(came, {way, prefix: '', suffix: ''})", [typed, way]
        )
        if not way.startswith("not-"):
            assert len(set(typed)) == len(printed) and put == printed, way
        assert check.evaluate("([way, text]) => blotterScanner.typed(way, text).length", [way, printed]) == len(printed)


def test_a_scanner_that_is_set_right_is_said_to_be(check: Page) -> None:
    scan(check, CHECK_TEXT)
    way, end, said = told(check)
    assert (way, end) == ("qwerty", "enter") and "arrive as they are printed" in said
    assert not check.get_by_role("button", name="Put it right in this browser").is_visible()


@pytest.mark.parametrize(("came", "way", "country"), [(QWERTZ, "qwertz", "Germany"), (AZERTY, "azerty", "France")])
def test_another_keyboard_is_named_and_what_to_set_in_the_scanner(
    check: Page, came: str, way: str, country: str
) -> None:
    scan(check, came)
    found, _, said = told(check)
    assert found == way and f"Set the scanner’s keyboard country to {country}" in said
    check.get_by_role("button", name="Put it right in this browser").click()
    assert "are put right" in check.locator("#scanner-state").inner_text()
    check.reload()
    assert "are put right" in check.locator("#scanner-state").inner_text()
    check.get_by_role("button", name="Take scans as they come again").click()
    assert "taken as they come" in check.locator("#scanner-state").inner_text()


def test_with_caps_lock_nothing_is_kept_before_it_is_off(check: Page) -> None:
    scan(check, "qUAZß0123456789ßywm")
    assert "Caps Lock is on at this computer" in told(check)[2]
    assert not check.get_by_role("button", name="Put it right in this browser").is_visible()


def test_what_no_known_keyboard_makes_is_shown_as_it_came(check: Page) -> None:
    scan(check, "<b>Quax</b>")
    way, _, said = told(check)
    assert way == "unknown" and "“<b>Quax</b>” came in." in said


def test_a_tab_at_once_is_the_scanners_and_a_later_one_goes_on_to_what_is_next(check: Page) -> None:
    check.keyboard.type(CHECK_TEXT)
    check.keyboard.press("Tab")
    assert told(check)[:2] == ("qwerty", "tab")
    assert check.evaluate("() => document.activeElement.id") == "scanned"
    check.keyboard.type("Quay", delay=120)
    check.keyboard.press("Tab")
    assert check.evaluate("() => document.activeElement.id") != "scanned"
    assert told(check)[:2] == ("qwerty", "tab")


def test_a_scanner_that_sends_nothing_after_a_code_is_told_apart(check: Page) -> None:
    check.keyboard.type(CHECK_TEXT)
    way, end, said = told(check)
    assert (way, end) == ("qwerty", "none") and "Set the scanner to send Enter after each code" in said


def test_a_station_puts_right_what_its_scanner_types_and_says_so(
    served: Served, context: BrowserContext, page: Page
) -> None:
    number = azerty(served, context, page).sheet_ready()
    assert "French keys (AZERTY) are put right" in page.locator("#scanner-note").inner_text()
    scan(page, f"{number[:3]}-{number[3:]}".translate(FRENCH))
    answered(page, "Taken up.")
    assert served.room.steps(number)[-1] == "take-up"


def test_what_a_person_types_there_is_left_as_it_is(served: Served, context: BrowserContext, page: Page) -> None:
    number = azerty(served, context, page).sheet_ready()
    page.keyboard.type(number, delay=120)
    page.keyboard.press("Enter")
    answered(page, "Taken up.")


def test_a_setting_that_is_none_is_passed_over(served: Served, context: BrowserContext, page: Page) -> None:
    number = served.room.sheet_ready()
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    for nonsense in ("{", "null", '{"way": "dvorak", "prefix": "", "suffix": ""}', '{"way": "azerty"}'):
        page.evaluate("text => localStorage.setItem('blotter-scanner', text)", nonsense)
        page.reload()
        assert page.locator("#scanner-note").inner_text() == ""
    scan(page, number)
    answered(page, "Taken up.")


@pytest.mark.parametrize("dpi", [203, 300])
def test_the_card_reads_as_printed(served: Served, browser: Browser, dpi: int) -> None:
    fine = browser.new_context(device_scale_factor=dpi / 96, viewport={"width": 1440, "height": 900})
    page = fine.new_page()
    sign_in(served, page)
    page.goto(served.url(PAGE))
    drawn = Image.open(io.BytesIO(page.locator(".check-card").screenshot()))
    fine.close()
    assert {(each.format.name, each.text) for each in zxingcpp.read_barcodes(drawn)} == {
        ("QRCode", CHECK_TEXT),
        ("Code128", CHECK_TEXT),
    }


@pytest.mark.parametrize(("paper", "size"), [("a4", (841.9, 595.3)), ("letter", (792.0, 612.0))])
def test_the_paper_form_prints_on_one_sheet(served: Served, page: Page, paper: str, size: tuple[float, float]) -> None:
    # ISO 216: A4 is 210 by 297 mm; ANSI/ASME Y14.1: letter is 8.5 by 11 in. A point is 1/72 in.
    sign_in(served, page)
    page.goto(served.url(f"/late-form?paper={paper}"))
    printed = page.pdf(prefer_css_page_size=True, print_background=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    box = re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", printed)
    assert box and (float(box[1]), float(box[2])) == pytest.approx(size, abs=1)
    page.emulate_media(media="print", reduced_motion="reduce")
    assert page.locator(".paper-rows tbody tr").count() == 20 and not page.locator("header.frame").is_visible()


def test_a_paper_is_written_up_by_keyboard_and_empty_rows_are_passed_over(served: Served, page: Page) -> None:
    room = served.room
    room.wait(days=-1)
    number = room.sheet_ready()
    day = room.now.astimezone(room.zone).date().isoformat()
    sign_in(served, page)
    page.goto(served.url(f"/late?day={day}"))
    page.get_by_label("Station on the form").select_option(label="Mounting table 2")
    page.get_by_label("Who, where a row names nobody").select_option(label="Piet Lindqvist")
    page.get_by_label("Row 2: number", exact=True).fill(number)
    page.get_by_label("Row 2: what was done").select_option("take-up")
    page.get_by_label("Row 2: time").fill("23:59")
    page.get_by_label("Row 2: remarks").press("Enter")
    page.get_by_text("1 row is written.").wait_for()
    assert room.steps(number)[-1] == "take-up" and page.get_by_label("Row 2: number", exact=True).input_value() == ""
