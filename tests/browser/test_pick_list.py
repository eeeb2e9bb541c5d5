"""The pick list on paper: nothing but the list, its heads repeated, no row broken, and nothing beyond the edge."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from app.db.engine import transaction
from app.services.room import add_hazard
from tests.browser.conftest import Served, sign_in
from tests.queries.looking import label

# The printed width in CSS pixels (96 to the inch): ISO 216 A4 is 210 mm wide, Letter 8.5 in; the margins are 13 mm each.
PAPERS = {"A4": (210 - 26) / 25.4 * 96, "Letter": (8.5 - 26 / 25.4) * 96}


@pytest.mark.parametrize("paper", PAPERS)
def test_only_the_list_goes_on_the_paper_and_all_of_it(served: Served, page: Page, paper: str) -> None:
    room = served.room
    room.wait(hours=-2)
    number = room.sheet_ready(label=False)
    label(
        room,
        number,
        plant="Calamagrostis arundinacea × epigejos",
        collector="A. Brackwater & Tamsin Oxley",
        record_number="2026-118a",
    )
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, sheet_id=room.row(number)["id"])
    sign_in(served, page)
    page.goto(served.url("/cabinets/M1/picks"))
    page.emulate_media(media="print")
    page.set_viewport_size({"width": int(PAPERS[paper]), "height": 1000})
    for hidden in (".frame", ".no-print", ".skip"):
        assert not page.locator(hidden).first.is_visible(), hidden
    assert page.locator("thead").first.evaluate("each => getComputedStyle(each).display") == "table-header-group"
    assert page.locator("tbody tr").first.evaluate("each => getComputedStyle(each).breakInside") == "avoid"
    assert page.locator(".tick-box").count() == 1 and page.locator(".tick-box").is_visible()
    assert page.get_by_text("Cabinet M1 · shelf 1 · 1 sheet").is_visible()
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 0, f"{over} px too wide for {paper}"
    assert page.pdf(format=paper).startswith(b"%PDF")
