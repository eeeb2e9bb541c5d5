"""A year of the room's calendar on paper: one page, A4 or Letter, with all that was set in it."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from playwright.sync_api import Page

from app.db.engine import transaction
from app.services.calendar import set_days
from tests.browser.conftest import Served, sign_in


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_year_with_thirty_reasons_is_printed_on_one_page(served: Served, page: Page, paper: str) -> None:
    room, year = served.room, served.room.now.year
    with transaction(room.database) as session:
        for number in range(30):
            day = date(year, 1, 5) + timedelta(days=11 * number)
            set_days(session, [day], number % 5 == 0, f"closed for the reason with the number {number}", room.now)
    sign_in(served, page)
    page.goto(served.url("/room/calendar"))
    assert re.findall(rb"/Type /Pages\s*/Count (\d+)", page.pdf(format=paper)) == [b"1"]
