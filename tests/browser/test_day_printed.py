"""The morning list on paper: one sheet of A4 or of Letter, however much waits, with a box to tick before each line."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page

from tests.browser.conftest import Served, sign_in
from tests.queries.looking import label
from tests.services.days import done
from tests.services.evenings import dry_in, load


@pytest.fixture
def full(served: Served) -> Served:
    """A room in which more waits than the list shows, under each head."""
    room = served.room
    room.wait(days=-9)
    for serial in range(12):
        dry_in(room, f"Field press {serial} of the moor survey", 2)
        load(room, f"Bag {serial} with the bequest", put_in_at=room.now)
    room.sheet_in("P1")
    room.sheet_in("P2")
    done(room.weights("on", "P2"))
    for serial in range(13):
        label(room, room.sheet_mounted(), plant="Calamagrostis purpurea subsp. phragmitoides")
        label(
            room,
            room.sheet_ready(),
            plant="Dactylorhiza maculata",
            consignment=f"{serial:03} gift of duplicates",
            wanted_at=room.now,
        )
    room.wait(days=9)
    return served


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_full_morning_fits_on_one_sheet(full: Served, page: Page, paper: str) -> None:
    sign_in(full, page)
    page.goto(full.url("/morning"))
    assert page.locator(".day-part").count() == 7 and page.locator(".day-lines > li").count() >= 40
    printed = page.pdf(format=paper, print_background=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1


def test_a_box_stands_before_each_line_on_paper_only(full: Served, page: Page) -> None:
    sign_in(full, page)
    page.goto(full.url("/morning"))
    box = page.locator(".day-tick").first
    assert not box.is_visible()
    page.emulate_media(media="print", reduced_motion="reduce")
    assert box.is_visible()
