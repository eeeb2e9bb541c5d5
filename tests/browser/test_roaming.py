"""One screen for all, and practice at a station, in a real browser: by scans and the buttons under the answers only."""

from __future__ import annotations

from playwright.sync_api import BrowserContext, Page

from app.db.engine import transaction
from app.domain.practice import Start, practice_pattern, practice_sheets
from app.domain.stations import KINDS
from app.services.practice import set_practising
from app.services.presets import set_one_person_room
from app.services.room import add_station, set_at_station, set_house_rule
from tests.browser.conftest import Served, answered, enrol, scan, sign_in
from tests.browser.test_access import violations

PRACTICE = {sheet.start: sheet.number for sheet in reversed(practice_sheets(practice_pattern(())))}


def one_screen(served: Served, context: BrowserContext, page: Page) -> None:
    """A room for one person with one screen, at which Olwen signs in by her badge."""
    room = served.room
    with transaction(room.database) as session:
        set_one_person_room(session, "alone here", room.now)
        # A double read is told by time, and nobody waits in a test.
        set_house_rule(session, "double_read_s", 0, "for the test", room.now)
        room.station["small"] = add_station(session, "small", "The table", KINDS["roaming"][1], room.now)
        set_at_station(session, room.station["small"], adhesive_id=1)
    enrol(served, context, "small")
    page.goto(served.url("/station"))
    scan(page, room.code("badge", "olwen"))
    answered(page, "Hello, Olwen.")


def choose(page: Page, label: str) -> None:
    page.locator("#answer .answer-choices button", has_text=label).click()


def test_a_sheet_goes_as_far_as_one_morning_takes_it(served: Served, context: BrowserContext, page: Page) -> None:
    room = served.room
    one_screen(served, context, page)
    number = room.new_number()
    scan(page, number)
    answered(page, "Taken in.")
    scan(page, number)
    answered(page, "Which one?")
    assert page.locator(".answer-choices button").all_inner_texts() == ["Lay to dry", "Arrives dry", "Arrives mounted"]
    assert violations(page) == {}
    choose(page, "Arrives dry")
    page.locator("#answer").get_by_text("Feel it: brittle").wait_for()
    choose(page, "It is dry, the label is with it")
    answered(page, "Arrived dry.")
    for word in ("Taken up.", "Mounted.", "Which one?"):
        scan(page, number)
        answered(page, word)
    choose(page, "Stack P1")
    answered(page, "Put under weight.")
    scan(page, room.code("on", "P1"))
    answered(page, "Weights on.")
    scan(page, number)
    answered(page, "Not yet.")
    assert "more under weight" in page.locator("#answer").inner_text()
    assert room.stage(number) == "under-press"


def test_practice_is_seen_and_begins_again(served: Served, context: BrowserContext, page: Page) -> None:
    room = served.room
    with transaction(room.database) as session:
        set_practising(session, room.station["press"], True, room.now, by=None)
    enrol(served, context, "press")
    page.goto(served.url("/station"))
    band = page.locator(".band-practice")
    assert "Nothing scanned here is written in the room's log." in band.inner_text()
    # The word stands there, and a pattern beside the colour.
    assert "repeating-linear-gradient" in band.evaluate("each => getComputedStyle(each).borderImageSource")
    assert violations(page) == {}
    scan(page, room.code("badge", "olwen"))
    answered(page, "Hello, Olwen.")
    number = PRACTICE[Start.PRESS_NOT_YET]
    page.get_by_text("Slips: under press, not yet").click()
    page.locator(".try[open] button", has_text="TRY").first.click()
    answered(page, "Not yet.")
    assert page.locator("#answer .answer-practice").inner_text().upper() == "PRACTICE"
    page.get_by_role("button", name="A day passes").click()
    page.get_by_text("A day has gone by").wait_for()
    assert "1 day ahead" in band.inner_text()
    # The page is a new one: a scanner's keys go to the field once it has it.
    page.wait_for_load_state("networkidle")
    page.wait_for_function("() => document.activeElement.id === 'code'")
    scan(page, room.code("off", "P2"))
    answered(page, "Weights off.")
    scan(page, number)
    answered(page, "Taken out.")
    page.get_by_role("button", name="Begin again").click()
    page.get_by_text("Practice begins again").wait_for()
    assert "ahead" not in band.inner_text()


def test_a_page_that_was_open_when_the_station_began_to_practise_writes_nothing_and_offers_to_load(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room, number = served.room, served.room.sheet_ready()
    enrol(served, context, "table-2")
    page.goto(served.url("/station"))
    with transaction(room.database) as session:
        set_practising(session, room.station["table-2"], True, room.now, by=None)
    scan(page, number)
    answered(page, "Stop.")
    assert "before this screen was set to practise; nothing was written" in page.locator("#answer").inner_text()
    assert room.steps(number)[-1] == "arrive-dry"
    page.get_by_role("link", name="Load this page again").click()
    page.locator(".band-practice").wait_for()
    scan(page, number)
    answered(page, "Stop.")
    assert "This is a practice screen; nothing was written." in page.locator("#answer").inner_text()
    assert page.get_by_role("link", name="Load this page again").count() == 0


def test_scans_kept_while_the_line_was_down_are_not_carried_into_practice(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room, number = served.room, served.room.sheet_ready()
    enrol(served, context, "table-2")
    page.goto(served.url("/station"))
    page.wait_for_function("() => document.getElementById('scan-form').dataset.keeps === 'lasting'")
    page.route("**/station/scan", lambda route: route.abort())
    scan(page, number)
    page.wait_for_function("() => !document.getElementById('line').hidden")
    with transaction(room.database) as session:
        set_practising(session, room.station["table-2"], True, room.now, by=None)
    page.unroute("**/station/scan")
    answered(page, "Stop.")
    text = page.locator("#answer").inner_text()
    assert f"Scanned: {number}." in text and "write it on the paper form" in text
    page.goto(served.url("/station"))
    page.locator(".band-practice").wait_for()
    # Nothing is sent a second time, and nothing is written in the real room.
    page.wait_for_function("() => document.getElementById('line').hidden")
    assert room.steps(number)[-1] == "arrive-dry"


def test_the_pages_of_stations_and_of_practice_slips_are_for_everybody(served: Served, page: Page) -> None:
    sign_in(served, page)
    page.goto(served.url("/stations"))
    page.get_by_role("button", name="Press: set it to practise").click()
    page.get_by_text("Press practises now.").wait_for()
    assert page.get_by_role("button", name="Press: end the practice").is_visible()
    assert violations(page) == {}
    page.get_by_role("link", name="Practice slips").click()
    page.get_by_role("heading", name="Travelling slips").wait_for()
    assert page.locator(".printed-practice").count() == len(practice_sheets(practice_pattern(())))
    assert violations(page) == {}
