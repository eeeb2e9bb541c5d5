"""The inspection as it is done: by touch, by keyboard, and as a reader hears it; and what to teach, on paper and screens."""

from __future__ import annotations

import os
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page

from tests.browser.conftest import Served, answered, enrol, scan, sign_in, watch
from tests.browser.test_access import SIZES, violations
from tests.room import Room
from tests.services.test_inspecting import dry, found, looks, rows
from tests.services.test_sign_offs import signs

# Where somebody wants to look at the pages: the tests leave pictures there.
PICTURES = os.environ.get("PICTURES", "")


def picture(page: Page, name: str) -> None:
    if PICTURES:
        page.screenshot(path=str(Path(PICTURES) / f"{name}.png"), full_page=True)


def back_in_time(served: Served, *tables: str) -> list[str]:
    """Sheets that were glued days ago and are dry now."""
    served.room.wait(days=-9)
    made = [dry(served.room, table) for table in tables]
    served.room.wait(days=9 - 2 * len(tables))
    return made


def test_by_touch_the_very_place_is_marked_and_mended_on_the_spot(served: Served, browser: Browser) -> None:
    (number,) = back_in_time(served, "table-1")
    context = browser.new_context(viewport={"width": 1024, "height": 768}, has_touch=True, reduced_motion="reduce")
    context.set_default_timeout(20_000)
    page = context.new_page()
    errors: list[str] = []
    watch(page, errors)
    enrol(served, context, "inspection")
    page.goto(served.url("/station"))
    scan(page, number)
    answered(page, "Which one?")
    page.get_by_role("link", name="Something is wrong: mark it on the drawing").tap()
    box = page.locator(".inspect-drawing svg.sheet-drawing").bounding_box()
    assert box
    page.touchscreen.tap(box["x"] + box["width"] * 0.43, box["y"] + box["height"] * 0.31)
    page.wait_for_url("**at=**")
    page.get_by_role("button", name="Loose part").tap()
    page.wait_for_url("**m=loose-part**")
    assert violations(page) == {}
    picture(page, "inspection-touch")
    page.get_by_role("button", name="Mended here, with straps or thread").tap()
    answered(page, "Inspected.")
    ((kind, x, y, _),) = found(served.room)
    assert kind == "loose-part"
    # A finger's tap lands within a hundredth of the sheet of where it was put.
    assert abs(x - 430) <= 10 and abs(y - 310) <= 10
    assert errors == []
    context.close()


def test_by_keyboard_alone_a_place_and_a_finding_and_it_is_glued_again(
    served: Served, context: BrowserContext, page: Page
) -> None:
    (number,) = back_in_time(served, "table-1")
    enrol(served, context, "inspection")
    page.goto(served.url(f"/inspection/{number}"))
    reached = []
    for _ in range(60):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                "() => document.activeElement.getAttribute('aria-label') || document.activeElement.textContent.trim()"
            )
        )
        if reached[-1] == "Label: something is wrong here":
            break
    assert {"Along the edge: something is wrong here", "Plant, in the middle: something is wrong here",
            "Seal: something is wrong here"} <= set(reached)  # fmt: skip
    page.keyboard.press("Enter")
    page.wait_for_url("**at=**")
    assert page.get_by_role("heading", name="What is wrong here: label?").is_visible()
    page.get_by_role("button", name="Label crooked").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**m=label-crooked**")
    # What is marked is read as a list of words, and each can be taken away by its name.
    assert page.get_by_role("listitem").filter(has_text="Label crooked").count() == 1
    assert page.get_by_role("link", name="Take away: label crooked").count() == 1
    page.get_by_role("button", name="Glued again here").focus()
    page.keyboard.press("Enter")
    answered(page, "Re-glued.")
    assert [outcome for outcome, _ in rows(served.room)] == ["re-glued"]
    assert [kind for kind, *_ in found(served.room)] == ["label-crooked"]


def test_without_script_the_list_does_it_all(served: Served, browser: Browser) -> None:
    (number,) = back_in_time(served, "table-1")
    plain = browser.new_context(java_script_enabled=False)
    plain.set_default_timeout(20_000)
    page = plain.new_page()
    enrol(served, plain, "inspection")
    page.goto(served.url(f"/inspection/{number}"))
    page.get_by_label("Where").select_option(label="packet")
    page.get_by_label("Note, if it needs one").fill("open on the left")
    page.get_by_role("button", name="Packet upside down").click()
    page.get_by_role("button", name="To be mended: repair shelf").click()
    assert "Put it on the repair shelf." in page.content()
    ((kind, _, _, note),) = found(served.room)
    assert (kind, note) == ("packet-upside-down", "open on the left")
    plain.close()


def test_the_inspection_at_every_size(served: Served, context: BrowserContext, page: Page) -> None:
    (number,) = back_in_time(served, "table-1")
    enrol(served, context, "inspection")
    path = f"/inspection/{number}?m=loose-part@400,300+the+lowest+leaf&m=label-crooked@810,900&m=over-the-edge@500,995&at=850,720"
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        page.goto(served.url(path))
        assert violations(page) == {}, width
        assert page.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth"), width
        picture(page, f"inspection-{width}")


def a_taught_room(room: Room) -> None:
    """Sheets of two tables, looked at before a lesson and after it."""
    room.wait(days=-60)
    signs(room, "olwen")
    for place in range(6):
        marks = ["loose-part@400,300", "label-crooked"][: place % 3]
        looks(room, dry(room, "table-1" if place % 2 else "table-2"), "to-be-mended" if marks else "passed", marks)
    room.wait(days=40)


def test_what_to_teach_at_every_size_and_in_a_workers_own_words(served: Served, page: Page) -> None:
    a_taught_room(served.room)
    sign_in(served, page)
    for path in ("/teaching", f"/teaching/{served.room.worker['olwen']}", "/me"):
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            page.goto(served.url(path))
            assert violations(page) == {}, (path, width)
            assert page.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth"), (path, width)
            picture(page, f"teach{path.replace('/', '-')}-{width}")
    page.goto(served.url(f"/teaching/{served.room.worker['olwen']}"))
    assert "of their gluings passed as they were" in (page.text_content("main") or "")
