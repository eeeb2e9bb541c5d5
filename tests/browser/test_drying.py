"""Taking in and drying in a real browser: from the run of slips to what is felt, by keyboard and touch."""

from __future__ import annotations

import os
from pathlib import Path

from playwright.sync_api import BrowserContext, Page

from app.db.engine import transaction
from app.domain.stages import Step
from app.services import room as furnishing
from tests.browser.conftest import Served, answered, enrol, scan, sign_in
from tests.browser.test_access import SIZES, violations
from tests.room import Room
from tests.services.test_drying import card_of, fill, makes

PICTURES = os.environ.get("PICTURES", "")


def a_drying_room(room: Room) -> dict[str, str]:
    """Two presses, one of them due, a dryer with readings, and a consignment that has come."""
    with transaction(room.database) as session:
        furnishing.add_cabinet(session, "Dryer 1", None, room.now, is_dryer=True)
        furnishing.add_consignment(session, "QF", "Quillmoor Fells survey")
        furnishing.set_at_station(session, room.station["intake"], consignment_id=1)
    due, heated = makes(room), makes(room, method="heated", dryer="Dryer 1")
    fill(room, due, 6)
    fill(room, heated, 9)
    for celsius in ("38", "41", "42.5", "47", "41"):
        room.wait(hours=9)
        room.scans(card_of(room, "Dryer 1"), "drying", facts={"reading_c": celsius})
    return {"due": due, "heated": heated}


def pictured(page: Page, name: str) -> None:
    """A picture to look at, where somebody asks for pictures."""
    if PICTURES:
        page.screenshot(path=str(Path(PICTURES) / f"{name}.png"), full_page=True)


def test_the_drying_room_at_every_size_and_for_everybody(served: Served, page: Page) -> None:
    served.room.wait(hours=-50)
    cards = a_drying_room(served.room)
    sign_in(served, page)
    paths = ["/drying", f"/drying/{cards['due']}", "/drying/signs", "/intake/plant", "/intake/run"]
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        for path in paths:
            page.goto(served.url(path))
            assert violations(page) == {}, (path, width)
            over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            assert over <= 0, f"{path} is {over} px too wide at {width}"
            pictured(page, f"{path.strip('/').replace('/', '-')[:20]}-{width}")
    page.emulate_media(media="print")
    for path in ("/drying", "/drying/signs"):
        page.goto(served.url(path))
        pictured(page, f"{path.strip('/').replace('/', '-')}-print")


def test_a_plant_is_taken_in_by_keyboard_and_the_next_begins_where_it_ended(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    room.wait(hours=-50)
    a_drying_room(room)
    enrol(served, context, "intake")
    page.goto(served.url("/station"))
    page.get_by_role("link", name="A plant with what its label says").click()
    number = "TQX 000900"
    page.get_by_label("Name of the plant").fill("Drosera rotundifolia")
    page.get_by_label("Collected by").fill("A. Birkrigg")
    page.get_by_label("Collector's number").fill("88")
    page.get_by_label("Where it grew").fill("wet heath")
    page.get_by_label("On how many sheets").fill("2")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Print its slips").wait_for()
    assert page.get_by_label("Collected by").input_value() == "A. Birkrigg"
    assert page.get_by_label("Name of the plant").input_value() == ""
    pictured(page, "plant-taken-1440")
    page.get_by_role("link", name="Print its slips").click()
    assert page.get_by_text("Sheet 2 of 2").count() == 1 and number not in page.content()


def test_a_run_opens_its_slips(served: Served, page: Page) -> None:
    served.room.wait(hours=-50)
    a_drying_room(served.room)
    sign_in(served, page)
    page.goto(served.url("/intake/run"))
    page.get_by_label("How many sheets").fill("11")
    page.get_by_label("Letter").check()
    page.get_by_role("button", name="Take them in and show the slips").click()
    page.wait_for_url("**/print/slips?**")
    assert page.locator(".printed-slips").count() == 11 and page.locator(".leaf").count() == 2
    assert "Letter" in page.locator(".subtitle").inner_text()


def test_what_is_felt_is_chosen_by_touch_under_the_picture(served: Served, context: BrowserContext, page: Page) -> None:
    room = served.room
    room.wait(days=-9)
    cards = a_drying_room(room)

    enrol(served, context, "drying")
    page.set_viewport_size({"width": 1024, "height": 768})
    number = _first_in(room, cards["due"])
    page.goto(served.url("/station"))
    scan(page, number)
    answered(page, "Which one?")
    assert page.locator(".sign-picture").count() == 6
    assert violations(page) == {}
    pictured(page, "felt-asked-1024")
    page.get_by_role("button", name="Still damp").click()
    answered(page, "Not yet.")
    assert "Feel it again" in page.locator(".answer-next").inner_text()
    pictured(page, "felt-damp-1024")
    scan(page, number)
    answered(page, "Which one?")
    page.get_by_role("button", name="It is dry, the label is with it").click()
    answered(page, "Passed as dry.")
    assert room.stage(number) == "ready-for-mounting" and room.steps(number)[-1] == Step.PASS_AS_DRY


def test_a_dryers_card_asks_for_its_temperature(served: Served, context: BrowserContext, page: Page) -> None:
    served.room.wait(hours=-50)
    a_drying_room(served.room)
    enrol(served, context, "drying")
    page.goto(served.url("/station"))
    scan(page, card_of(served.room, "Dryer 1"))
    answered(page, "Dryer 1.")
    page.get_by_label("What does its thermometer show, °C?").fill("46,5")
    pictured(page, "dryer-asked-1440")
    page.get_by_role("button", name="Write it").click()
    answered(page, "Written.")
    assert "46.5 °C, too warm" in page.locator(".answer-lines").inner_text()


def _first_in(room: Room, card: str) -> str:
    from sqlalchemy import select

    from app.db.engine import reading
    from app.db.models import Bundle, Sheet

    with reading(room.database) as session:
        found = (
            select(Sheet.number)
            .join(Bundle, Bundle.id == Sheet.bundle_id)
            .where(Bundle.code == card)
            .order_by(Sheet.number)
        )
        return str(session.execute(found.limit(1)).scalar_one())
