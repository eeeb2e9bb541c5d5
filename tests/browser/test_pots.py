"""A pot of adhesive at a table: opened by one touch, and kept with the sheets while the line is down."""

from __future__ import annotations

from playwright.sync_api import BrowserContext, Page

from app.db.engine import reading
from app.domain.stages import Step
from app.queries.lots import lots_of_sheet
from tests.browser.conftest import Served, answered, scan
from tests.browser.lines import keeps
from tests.browser.test_line_alone import at, cut, mend
from tests.browser.test_line_alone import page as page
from tests.room import Room
from tests.services.days import done
from tests.services.supplied import PVA, card_of, kept, lot


def lots(room: Room, number: str) -> list[str]:
    with reading(room.database) as session:
        return [each.lot for each in lots_of_sheet(session, room.row(number)["id"])]


def test_a_pot_is_opened_by_one_touch_and_kept_while_the_line_is_down(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    pva = kept(room, "adhesive", "PVA", adhesive_id=PVA, holds=1000)
    first, second = lot(room, pva, "B 117"), lot(room, pva, "B 118")
    sheets = [room.sheet_ready() for _ in range(2)]
    for number in sheets:
        done(room.scans(number, "table-1", step=Step.TAKE_UP))
    at(served, context, page, "table-1")
    page.locator(f"#pot-{card_of(room, first)}").click()
    answered(page, "PVA, acid-free, lot B 117.")
    page.wait_for_selector(f"#pot-{card_of(room, first)}[aria-pressed=true]")
    box = page.locator(f"#pot-{card_of(room, first)}").bounding_box()
    assert box is not None and box["height"] >= 44
    scan(page, sheets[0])
    answered(page, "Mounted.")
    cut(page)
    # A pot, then a sheet mounted from it: both are told when the line is back, in their order.
    scan(page, card_of(room, second))
    answered(page, "Kept.")
    scan(page, sheets[1])
    keeps(page, 2)
    mend(page)
    keeps(page, 0)
    assert [lots(room, number) for number in sheets] == [["lot B 117"], ["lot B 118"]]
