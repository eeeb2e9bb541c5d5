"""What is said aloud over a whole shift: the text of the one live region after each answer, held against what was read and found good.

`BLOTTER_SAID_ANEW=1` writes the texts anew; read the difference before it is kept.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from app.domain.stages import Step
from tests.browser.conftest import Served, enrol
from tests.browser.walking import Walker, at_the_press, at_the_table, masked, shift

KEPT = Path(__file__).parent / "snapshots"


@dataclass
class Listener(Walker):
    """A walker who writes down what a screen reader is given after each answer."""

    heard: list[str] = field(default_factory=list)

    def answered(self, word: str) -> None:
        super().answered(word)
        lines = self.page.locator("#answer-place").inner_text().splitlines()
        self.heard.append("\n".join(line.strip() for line in lines if line.strip()))


@pytest.mark.parametrize("slug", ["table-1", "press"])
def test_what_is_said_over_a_shift_is_what_was_found_good(
    served: Served, context: BrowserContext, page: Page, slug: str
) -> None:
    sheets = shift(served)
    if slug == "press":
        for number in (sheets.first, sheets.second):
            served.room.signs_in("olwen", "table-1")
            served.room.scans(number, "table-1", step=Step.TAKE_UP)
            served.room.scans(number, "table-1", step=Step.MOUNT)
    enrol(served, context, slug)
    page.goto(served.url("/station"))
    place = page.locator("#answer-place")
    assert (place.get_attribute("aria-live"), place.get_attribute("aria-atomic")) == ("assertive", "true")
    listener = Listener(page)
    if slug == "press":
        at_the_press(listener, served.room, sheets)
    else:
        at_the_table(listener, sheets)
    said, file = masked("\n\n".join(listener.heard)) + "\n", KEPT / f"shift_at_{slug}.txt"
    if os.environ.get("BLOTTER_SAID_ANEW"):
        file.write_text(said, encoding="utf-8")
    assert said == file.read_text(encoding="utf-8")
