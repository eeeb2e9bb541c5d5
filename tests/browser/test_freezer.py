"""A load's life at the freezer's station and on its page, and the freezer's pages at every size and on paper."""

from __future__ import annotations

import os
from pathlib import Path

from playwright.sync_api import BrowserContext, Page

from app.db.engine import transaction
from app.domain.numbers import COMMANDS
from app.services.room import set_house_rule
from tests.browser.conftest import Served, answered, enrol, scan, sign_in
from tests.browser.test_access import SIZES, violations
from tests.services.freezer import Freezers

# Where somebody wants to look at the pages: the tests leave pictures there.
PICTURES = os.environ.get("PICTURES", "")


def a_busy_freezer(served: Served) -> dict[str, str]:
    """One load that came out too early, one that may be opened, one that lies in it, and one that is being filled."""
    room = served.room
    room.wait(days=-20)
    freezers = Freezers(room, Deep=-30.0)
    with transaction(room.database) as session:
        set_house_rule(session, "treat_before_mounting", 1, "incoming", room.now)
    opened = freezers.treated(room.sheet_ready(), room.sheet_ready())
    warm = freezers.frozen(*(room.sheet_ready() for _ in range(3)))
    room.wait(days=8, hours=1)
    freezers.comes_out(warm)
    early = freezers.begins(room.sheet_ready())
    freezers.goes_in(early, "Deep")
    room.wait(days=1)
    room.scans(early, "freezer", already_done=True)
    inside = freezers.frozen(*(room.sheet_ready() for _ in range(2)))
    filling = freezers.begins(room.sheet_ready())
    room.sheet_ready()
    room.wait(days=2, hours=-1)
    return {"opened": opened, "warm": warm, "early": early, "inside": inside, "filling": filling}


def test_a_load_from_its_card_to_its_opening(served: Served, context: BrowserContext, page: Page) -> None:
    room = served.room
    freezers = Freezers(room)
    first, second = room.sheet_ready(), room.sheet_ready()
    room.wait(minutes=1)
    enrol(served, context, "freezer")
    page.goto(served.url("/station"))
    scan(page, COMMANDS["new-load"])
    answered(page, "Load 1.")
    for number in (first, second):
        scan(page, number)
        answered(page, "Put into a load.")
    code = next(iter(_codes(served)))
    scan(page, code)
    answered(page, "Load 1.")
    assert violations(page) == {}
    scan(page, freezers.code())
    answered(page, "In the freezer.")
    scan(page, code)
    answered(page, "Not yet.")
    assert "Leave it in until" in page.locator(".answer").inner_text()
    page.get_by_role("button", name="It is already out").click()
    answered(page, "Out too early.")
    scan(page, code)
    answered(page, "Stop.")
    scan(page, freezers.code())
    answered(page, "In the freezer.")
    assert freezers.load(code)["out_at"] is None and freezers.differences() == []


def _codes(served: Served) -> list[str]:
    from sqlalchemy import select

    from app.db.engine import reading
    from tests.services.freezer import LOAD

    with reading(served.room.database) as session:
        return list(session.execute(select(LOAD.c.code)).scalars())


def test_the_pages_of_the_freezer_are_well_at_every_size_and_on_paper(
    served: Served, context: BrowserContext, page: Page, tmp_path: Path
) -> None:
    loads = a_busy_freezer(served)
    sign_in(served, page)
    paths = ["/freezer", *(f"/freezer/{code}" for code in loads.values()), "/cabinets/M1/clean", "/print/loads"]
    for path in paths:
        page.goto(served.url(path))
        assert violations(page) == {}, path
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        for path in paths:
            page.goto(served.url(path))
            over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            assert over <= 0, f"{path} is {over} px too wide at {width}"
            if PICTURES:
                name = path.strip("/").replace("/", "-")
                page.screenshot(path=f"{PICTURES}/{name}-{width}.png", full_page=True)
    for path in ("/freezer", f"/freezer/{loads['inside']}"):
        page.emulate_media(media="print")
        page.goto(served.url(path))
        where = f"{PICTURES}/{path.strip('/').replace('/', '-')}.pdf" if PICTURES else str(tmp_path / "page.pdf")
        assert len(page.pdf(path=where, format="A4", prefer_css_page_size=True)) > 1000
        assert page.locator("form:visible").count() == 0 and page.locator("h1").is_visible()
