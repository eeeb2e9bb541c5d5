"""The life of a consignment in a browser: the parcel, its labels, a duplicate sent away, and the answer on paper."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from app.db.engine import transaction
from app.domain.numbers import COMMANDS
from app.services.room import set_at_station
from tests.browser.conftest import Served, answered, enrol, scan, sign_in
from tests.browser.test_access import SIZES, violations
from tests.queries.looking import filed, label

LOOK = os.environ.get("LOOK_AT_PAGES", "")
# The printed width in CSS pixels (96 to the inch): ISO 216 A4 is 210 mm wide, Letter 8.5 in; the margins are 13 mm each.
PAPERS = {"A4": (210 - 26) / 25.4 * 96, "Letter": (8.5 - 26 / 25.4) * 96}


def looked_at(page: Page, name: str) -> None:
    """Axe finds nothing and nothing runs off the screen; with LOOK_AT_PAGES a folder, the page is kept as pictures there."""
    for width, height in SIZES[:3]:
        page.set_viewport_size({"width": width, "height": height})
        assert violations(page) == {}, name
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), (name, width)
        if LOOK:
            page.screenshot(path=str(Path(LOOK) / f"{name}-{width}.png"), full_page=True)
    page.set_viewport_size({"width": 1440, "height": 900})
    if LOOK:
        page.pdf(path=str(Path(LOOK) / f"{name}.pdf"), format="A4")


def put_on_the_list(served: Served, page: Page) -> None:
    # Nothing is on the list yet: the form for the first one is open.
    page.goto(served.url("/consignments"))
    page.get_by_label("Short code").fill("GIFT-7")
    page.get_by_label("Name", exact=True).fill("Gift of M. Thornlea")
    page.get_by_label("Kind").select_option("gift")
    page.get_by_label("From whom").fill("M. Thornlea")
    page.get_by_label("How many sheets were said").fill("5")
    page.get_by_role("button", name="Put it on the list").click()
    page.wait_for_url(served.url("/consignments/GIFT-7"))
    expect(page.locator("main")).to_contain_text("5 said, 0 here: 5 missing or miscounted.")


def open_deed(page: Page, summary: str) -> None:
    page.locator("summary", has_text=summary).click()


def test_from_the_parcel_to_the_printed_answer(served: Served, page: Page, context: BrowserContext) -> None:
    room = served.room
    room.wait(hours=-3)
    sign_in(served, page)
    put_on_the_list(served, page)
    with transaction(room.database) as session:
        set_at_station(session, room.station["intake"], consignment_id=1)
    stored, waits, spare = filed(room), room.sheet_ready(label=False), room.sheet_ready(label=False)
    label(room, stored, "Carex binervis", "T. Askerdale", record_number="117", locality="Skarn Tarn", is_sensitive=True)
    for number in (waits, spare):
        label(
            room,
            number,
            "Calamagrostis arundinacea × epigejos",
            "T. Askerdale",
            record_number="118",
            event_date="2024-06-11",
        )
    room.wait(hours=3)

    page.goto(served.url("/consignments/GIFT-7"))
    open_deed(page, "Say how many were counted")
    page.get_by_label("Sheets counted by hand").fill("4")
    page.get_by_role("button", name="It was counted").click()
    expect(page.locator("main")).to_contain_text("4 counted, 3 here: one missing or miscounted.")
    open_deed(page, "Say that all of it carries a danger")
    page.get_by_label("Danger of all of it").select_option("mould")
    page.get_by_role("button", name="It travels with all of it").click()
    expect(page.locator("main")).to_contain_text("Mould: gloves and mask")
    looked_at(page, "consignment")
    page.goto(served.url("/consignments"))
    expect(page.locator("main")).to_contain_text("2 ready for mounting")
    looked_at(page, "consignments")

    page.goto(served.url("/labels?consignment=GIFT-7"))
    assert page.get_by_role("row").filter(has_text="118").count() == 2
    looked_at(page, "labels")
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    scan(page, COMMANDS["label-here"])
    answered(page, "Which one?")
    for number in (waits, spare):
        scan(page, number)
        answered(page, "Hold lifted.")
    scan(page, COMMANDS["done"])
    answered(page, "Labels done.")
    expect(page.locator("main")).to_contain_text("2 labels handed out.")
    assert room.row(waits)["holds"] == room.row(spare)["holds"] == ""

    page.goto(served.url("/duplicates?consignment=GIFT-7"))
    looked_at(page, "duplicates")
    page.locator(f"input[value='{spare}']").check()
    page.get_by_label("Why, or for whom?").fill("asked for by Brannholt")
    page.get_by_role("button", name="Set them free").click()
    page.wait_for_url(served.url("/exchange"))
    looked_at(page, "exchange")
    page.get_by_role("link", name="Pick list, in walking order").click()
    expect(page.locator("main")).to_contain_text("Cabinet M1 · shelf 1 · 1 sheet")
    page.goto(served.url("/exchange"))
    page.get_by_label("Sent to").fill("Brannholt Botanic Garden")
    page.get_by_role("button", name="They are sent").click()
    expect(page.locator("main")).to_contain_text("Nothing is free to go.")
    assert room.row(spare)["closed_as"] == "sent in exchange to Brannholt Botanic Garden"

    page.goto(served.url("/consignments/GIFT-7"))
    page.get_by_role("link", name="Answer for the giver").click()
    letter = page.locator(".letter")
    expect(letter).to_contain_text("1 filed in the collection")
    expect(letter).to_contain_text("1 withdrawn: sent in exchange to another collection")
    assert not re.search("Skarn|M1|Hedda|Brannholt", letter.inner_text())
    looked_at(page, "answer")
    for paper, width in PAPERS.items():
        on_paper(page, paper, int(width))


def on_paper(page: Page, paper: str, width: int) -> None:
    """Only the letter goes on the paper, and all of it."""
    page.emulate_media(media="print")
    page.set_viewport_size({"width": width, "height": 1000})
    for hidden in (".frame", ".within", ".no-print"):
        assert not page.locator(hidden).first.is_visible(), hidden
    assert page.locator(".letter thead").evaluate("each => getComputedStyle(each).display") == "table-header-group"
    assert page.locator(".letter tbody tr").first.evaluate("each => getComputedStyle(each).breakInside") == "avoid"
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 0, f"{over} px too wide for {paper}"
    made = page.pdf(format=paper, **({"path": str(Path(LOOK) / f"answer-{paper}.pdf")} if LOOK else {}))
    assert made.startswith(b"%PDF")
    page.emulate_media(media="screen")


@pytest.mark.parametrize("paper", PAPERS)
def test_a_long_answer_repeats_its_heads_over_several_pages(served: Served, page: Page, paper: str) -> None:
    room = served.room
    room.wait(hours=-3)
    sign_in(served, page)
    put_on_the_list(served, page)
    with transaction(room.database) as session:
        set_at_station(session, room.station["intake"], consignment_id=1)
    for each in range(60):
        label(room, room.sheet_ready(), "Carex binervis", "T. Askerdale", record_number=str(each))
    page.goto(served.url("/consignments/GIFT-7/answer"))
    made = page.pdf(format=paper)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", made)) >= 2
