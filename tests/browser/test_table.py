"""A mounting table on a tablet, by touch: the brief, the steps in pictures, and what was used by one press of a finger."""

from __future__ import annotations

import re

from playwright.sync_api import Page

from app.db.engine import transaction
from app.domain.stages import Step
from app.services.room import add_hazard, set_at_station
from tests.browser.conftest import answered, scan
from tests.browser.test_access import violations
from tests.browser.test_small_screens import OVER, SMALL, Opened, opened  # noqa: F401
from tests.queries.looking import label
from tests.room import Room

HOLDS = "() => [...document.querySelectorAll('#uses [aria-pressed=true]')].map(each => each.textContent)"


def a_sheet(room: Room) -> str:
    """A bulky sheet with spines, in two parts, of which the collector said something."""
    room.wait(minutes=-30)
    number = room.sheet_ready()
    label(
        room,
        number,
        "Dipsacus fullonum",
        "R. Ashgill",
        pieces=2,
        bulk="bulky",
        notes="heads in a bag of their own",
        record_number="77",
    )
    with transaction(room.database) as session:
        add_hazard(session, "spines", room.now, sheet_id=room.row(number)["id"])
        set_at_station(session, room.station["table-1"], uses={"packet": "small", "straps": "none"})
    room.wait(minutes=30)
    return number


def test_a_sheet_is_mounted_by_touch_and_what_it_took_is_counted(served, opened: Opened) -> None:  # type: ignore[no-untyped-def] # noqa: F811
    room, number = served.room, a_sheet(served.room)
    second = room.sheet_ready()
    page = opened(1024, 768)
    # Another code in between: the same one again so soon would be the scanner's double read. The side is drawn anew after each.
    with page.expect_response("**/station/side"):
        scan(page, second)
        answered(page, "Taken up.")
    with page.expect_response("**/station/side"):
        scan(page, number)
        page.get_by_text("Spines: thick gloves.").first.wait_for()
        page.wait_for_function(
            "text => document.querySelector('#answer')?.innerText.includes(text)", arg="heads in a bag"
        )
    told = page.locator("#answer").inner_text()
    order = ("Spines: thick gloves.", "Bulky:", "2 parts lie in the folder", "heads in a bag", "then open the folder")
    places = [told.index(each) for each in order]
    assert places == sorted(places)
    # One touch, and the brief stays where it is read.
    page.locator("#take-packet-large").tap()
    page.wait_for_function("() => document.querySelector('#take-packet-large').getAttribute('aria-pressed') === 'true'")
    assert page.locator("#answer").inner_text() == told
    assert set(page.evaluate(HOLDS)) == {"large packet", "PVA, acid-free", "no straps", "as its slip says"}
    # Whatever is scanned after a touch goes to the field.
    scan(page, second)
    answered(page, "Mounted.")
    scan(page, number)
    page.wait_for_function("text => document.querySelector('#answer')?.innerText.includes(text)", arg="Dipsacus")
    answered(page, "Mounted.")
    assert room.log(number)[-1]["facts"]["used"] == {"packet": "large", "straps": "none"}
    used = page.locator("#side section", has_text="Used here today")
    page.wait_for_function(
        "() => document.getElementById('side').innerText.split(/\\s+/).filter((word) => word === '2').length >= 2"
    )
    assert " ".join(used.inner_text().split()) in (
        "Used here today large packet 2 PVA, acid-free 2",
        "Used here today 2 large packet 2 PVA, acid-free",
    )


def test_the_steps_are_pictures_with_their_words_and_nothing_is_too_small_or_runs_off(served, opened: Opened) -> None:  # type: ignore[no-untyped-def] # noqa: F811
    a_sheet(served.room)
    for width, height in ((1024, 768), (390, 844)):
        page = opened(width, height)
        page.get_by_text("The order of work, in pictures").tap()
        steps = page.locator(".work-steps > li")
        steps.first.wait_for()
        assert steps.count() == 8 and steps.locator("svg.sheet-drawing").count() == 8
        assert "The lasting code first." in steps.first.inner_text() and "Glue, then weight." in steps.last.inner_text()
        assert page.evaluate(SMALL) == [] and page.evaluate(OVER) <= 0
        assert violations(page) == {}
        assert _to_proportion(page)


def _to_proportion(page: Page) -> bool:
    """Whether a picture is drawn as high as 11.5 by 16.5 in makes it, to a pixel."""
    box = page.locator(".work-steps svg.sheet-drawing").first.bounding_box()
    assert box is not None
    return abs(box["height"] - box["width"] * 16.5 / 11.5) <= 1


def test_the_table_is_set_by_keyboard_alone_and_the_focus_stays_on_the_button(served, opened: Opened) -> None:  # type: ignore[no-untyped-def] # noqa: F811
    a_sheet(served.room)
    page = opened(1024, 768, touch=False)
    page.locator("#take-straps-thread").focus()
    page.keyboard.press("Enter")
    page.wait_for_function(
        "() => document.querySelector('#take-straps-thread').getAttribute('aria-pressed') === 'true'"
    )
    assert page.evaluate("document.activeElement.id") == "take-straps-thread"
    assert page.get_by_role("button", name="thread", exact=True, pressed=True).count() == 1


def test_the_brief_prints_as_wide_as_a_postcard(served, opened: Opened) -> None:  # type: ignore[no-untyped-def] # noqa: F811
    room, number = served.room, a_sheet(served.room)
    room.scans(number, "table-1", step=Step.TAKE_UP)
    page = opened(1024, 768)
    page.goto(served.url(f"/sheets/{number}/brief"))
    assert violations(page) == {} and page.evaluate(OVER) <= 0
    # One picture is read out, with its name; those beside the steps' own words are not.
    assert page.get_by_role("img").count() == page.get_by_role("img", name=re.compile("292 by 419 mm")).count() == 1
    page.emulate_media(media="print")
    box = page.locator(".brief").bounding_box()
    assert box is not None and abs(box["width"] - 100 * 96 / 25.4) < 1
    assert not page.get_by_text("The sheet’s page").is_visible()
