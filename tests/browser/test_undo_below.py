"""The undo of the last scans: still there after a reload, by keyboard, and away while it could not be kept."""

from __future__ import annotations

from playwright.sync_api import BrowserContext, Page

from tests.browser.conftest import Served, answered, enrol, scan, taken_up

IN_ROW, ON_CARD = "#scans .undo", "#answer .undo"
FOCUSED = "() => document.activeElement.closest('#scans') ? document.activeElement.textContent.trim() : ''"


def test_after_a_reload_a_scan_is_undone_in_its_row_by_keyboard(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    number = taken_up(served, context, page)
    assert (page.locator(ON_CARD).count(), page.locator(IN_ROW).count()) == (1, 0)
    page.reload()
    page.wait_for_function("() => document.getElementById('scan-form').dataset.line === 'up'")
    assert (page.locator(ON_CARD).count(), page.locator(IN_ROW).count()) == (0, 1)
    reached = []
    for _ in range(40):
        page.keyboard.press("Tab")
        if (here := page.evaluate(FOCUSED)) or reached:
            reached.append(here)
        if here == "Undo this scan":
            break
    # First the sheet itself, then what may be done with it.
    assert len(reached) == 2 and reached[0].startswith("TQX") and reached[1] == "Undo this scan"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate(FOCUSED) == "Not done yet"
    page.keyboard.press("Enter")
    answered(page, "Undone.")
    assert room.row(number)["table_id"] is None and room.steps(number)[-1] == "correct"
    assert page.evaluate("document.activeElement.id") == "code" and page.locator(".undo").count() == 0
    assert served.posts.count("/station/undo") == 1


def test_an_answer_that_wrote_nothing_leaves_the_undo_in_the_row_below(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    first, second = room.sheet_ready(), room.sheet_ready()
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    scan(page, first)
    answered(page, "Taken up.")
    page.get_by_text("Undo this scan").click()
    for code in ("TQX 999999 9", "TQX 999998 9"):
        scan(page, code)
        answered(page, "Stop.")
        page.wait_for_function("() => !document.getElementById('code').value && document.querySelector('.undo')")
        assert page.locator(ON_CARD).count() == 0 and page.locator(f"{IN_ROW}:not([open])").count() == 1
    row = page.locator("#scans li", has=page.locator(".undo"))
    assert row.locator("a.number").get_attribute("href") == f"/sheets/{first}"
    # While the line is down it could not be kept: it is away, and comes again.
    page.route("**/station/scan", lambda route: route.abort())
    scan(page, second)
    page.locator("#line").wait_for(state="visible")
    assert page.locator(IN_ROW).is_hidden()
    page.unroute("**/station/scan")
    answered(page, "Taken up.")
    assert (page.locator(ON_CARD).count(), page.locator(IN_ROW).count()) == (1, 0)
    page.get_by_text("Undo this scan").click()
    page.get_by_role("button", name="Wrong sheet").click()
    answered(page, "Undone.")
    assert room.row(second)["table_id"] is None and room.row(first)["table_id"] is not None
