"""A pest by scanner: the card, the sheet, and the manager's list of what lay beside it; axe looks at each page."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from app.db.engine import transaction
from app.domain.numbers import COMMANDS
from app.services.room import add_hazard
from tests.browser.conftest import Served, answered, enrol, scan, sign_in
from tests.browser.test_access import SIZES, violations

LOOK = os.environ.get("LOOK_AT_PAGES", "")


def looked_at(page: Page, name: str) -> None:
    """Axe finds nothing, nothing runs off the screen; with LOOK_AT_PAGES a folder, the page is kept as pictures there."""
    for width, height in SIZES[:3]:
        page.set_viewport_size({"width": width, "height": height})
        assert violations(page) == {}
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), (name, width)
        if LOOK:
            page.screenshot(path=str(Path(LOOK) / f"{name}-{width}.png"), full_page=True)
    if LOOK:
        page.pdf(path=str(Path(LOOK) / f"{name}.pdf"))


def test_a_pest_is_seen_and_the_manager_sees_what_lay_beside_it(
    served: Served, page: Page, context: BrowserContext
) -> None:
    room = served.room
    room.wait(days=-3)
    numbers = [room.sheet_ready(label=each % 2 == 0) for each in range(4)]
    room.wait(days=3)
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, sheet_id=room.row(numbers[3])["id"])
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    scan(page, COMMANDS["pest"])
    answered(page, "Stop.")
    scan(page, numbers[0])
    answered(page, "Stop. Bag it.")
    assert "Close it in a bag here" in page.inner_text("main")
    looked_at(page, "station")
    assert room.row(numbers[0])["holds"] == "quarantine"
    context.clear_cookies()
    sign_in(served, page)
    for name, address in (("pests", "/pests"), ("pest", "/pests/1"), ("holds", "/holds"), ("many", f"/holds/many?number={numbers[1]}"),
                          ("hazards", "/hazards"), ("cautions", "/cautions"), ("sheet", f"/sheets/{numbers[3]}"),
                          ("cabinet", "/cabinets/M1"), ("list", "/sheets?stage=ready-for-mounting")):  # fmt: skip
        page.goto(served.url(address))
        looked_at(page, name)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_cautions_fit_on_one_page(served: Served, page: Page, paper: str, tmp_path: Path) -> None:
    sign_in(served, page)
    page.goto(served.url("/cautions"))
    made = page.pdf(path=str(tmp_path / "cautions.pdf"), format=paper)
    assert made.count(b"/Type /Page\n") + made.count(b"/Type /Page ") + made.count(b"/Type /Page/") == 1
