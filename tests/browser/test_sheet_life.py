"""A sheet's life in a real browser: from the table to its cabinet, glued once more and mended on the spot; and the pages of filing."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from app import create_app
from app.config import Config
from app.db.engine import Database
from tests.browser.conftest import Served, answered, enrol, on_the_air, scan, sign_in
from tests.browser.test_access import SIZES, violations
from tests.queries.test_filing import filed, passed
from tests.room import LONDON, Room
from tests.services.days import differences

# Where somebody wants to look at the pages: the tests leave pictures there.
PICTURES = os.environ.get("PICTURES", "")


@pytest.fixture
def served(database: Database, tmp_path: Path) -> Iterator[Served]:
    """A room on the air whose clock goes on only when it is told to: nobody waits a day for the glue."""
    room = Room(database)
    app = create_app(Config(tmp_path, "", LONDON, "k" * 40), clock=lambda: room.now, database=database)
    served = Served(room, 0)
    with on_the_air(app) as served.port:
        yield served


def stands_at(served: Served, context: BrowserContext, page: Page, slug: str, **later: float) -> None:
    """One goes over to another station, some time later."""
    served.room.wait(**(later or {"minutes": 5}))
    enrol(served, context, slug)
    page.goto(served.url("/station"))


def chooses(page: Page, words: str) -> None:
    page.locator("#answer").get_by_role("button", name=words, exact=True).click()


def through_the_press(served: Served, context: BrowserContext, page: Page, number: str, hours: int) -> None:
    """Laid in, so many hours under weight, and out."""
    room = served.room
    stands_at(served, context, page, "press")
    scan(page, room.code("off", "P1"))
    page.wait_for_function("() => document.querySelector('#answer').dataset.kind !== 'waiting'")
    scan(page, number)
    answered(page, "Put under weight.")
    room.weights("on", "P1")
    stands_at(served, context, page, "press", hours=hours)
    room.weights("off", "P1")
    scan(page, number)
    answered(page, "Taken out.")


def test_from_the_table_to_the_cabinet_glued_again_and_mended_on_the_spot(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    filed(room, "Poa annua", "Poaceae", shelf="2")
    number = room.sheet_ready()
    stands_at(served, context, page, "table-1")
    scan(page, number)
    answered(page, "Taken up.")
    room.wait(minutes=1)
    scan(page, number)
    answered(page, "Mounted.")
    through_the_press(served, context, page, number, 25)
    stands_at(served, context, page, "inspection")
    scan(page, number)
    answered(page, "Which one?")
    chooses(page, "Glued again")
    answered(page, "Re-glued.")
    # Nobody said with what: it lies for the longest of the times.
    through_the_press(served, context, page, number, 49)
    stands_at(served, context, page, "inspection")
    scan(page, number)
    answered(page, "Which one?")
    chooses(page, "Mended here")
    answered(page, "Inspected.")
    # Whoever mended it does not pass it: somebody else looks once more.
    stands_at(served, context, page, "inspection")
    scan(page, room.code("badge", "hedda"))
    answered(page, "Hello, Hedda.")
    scan(page, number)
    answered(page, "Which one?")
    chooses(page, "Passed")
    answered(page, "Inspected.")
    stands_at(served, context, page, "filing")
    scan(page, room.code("shelf", "F1/2"))
    answered(page, "F1, shelf 2.")
    scan(page, number)
    answered(page, "Filed.")
    steps = [step for step in room.steps(number) if step not in ("take-in", "arrive-dry")]
    assert steps == [
        "take-up",
        "mount",
        "put-under-weight",
        "take-out",
        "re-glue",
        "put-under-weight",
        "take-out",
        "inspect",
        "inspect",
        "file",
    ]
    assert room.stage(number) == "filed" and differences(room.database) == []
    sign_in(served, page)
    page.goto(served.url("/filing"))
    assert "1 filed today" in page.locator("#round").inner_text()


def test_the_round_is_live_fits_every_screen_and_axe_finds_nothing(
    served: Served, context: BrowserContext, page: Page
) -> None:
    room = served.room
    for plant, family, shelf in (
        ("Poa annua", "Poaceae", "3"),
        ("Rosa canina", "Rosaceae", "4"),
        ("Carex flacca", "Cyperaceae", "1"),
    ):
        filed(room, plant, family, shelf=shelf)
    room.wait(days=1)
    done = filed(room, "Poa annua", "Poaceae", shelf="2")
    numbers = [passed(room, plant, family, collector="Ash", record_number=str(at)) for at, (plant, family) in enumerate((
        ("Poa annua", "Poaceae"), ("Poa pratensis", "Poaceae"), ("Rosa × alba", "Rosaceae"), ("Carex nigra subsp. juncea", "Cyperaceae"),
        ("Rosa", "Rosaceae"), ("Viola × permixta", "Violaceae")))]  # fmt: skip
    passed(room)
    two = room.sheet_ready()
    sign_in(served, page)
    page.goto(served.url("/filing"))
    assert done and two and violations(page) == {}
    first = page.locator("tr", has_text="Rosa × alba")
    assert "round-done" not in (first.get_attribute("class") or "")
    room.wait(minutes=1)
    room.scans(numbers[2], "filing", cabinet="F1", shelf="4")
    page.wait_for_function("() => document.querySelectorAll('.round-done').length === 2", timeout=20_000)
    for path in (
        "/filing",
        "/filing/families",
        "/filing/back",
        "/filing/withdraw",
        "/filing/withdrawn",
        "/filing/again",
    ):
        page.goto(served.url(path))
        assert violations(page) == {}, path
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            assert over <= 0, f"{path} is {over} px too wide at {width}"
            if PICTURES:
                page.screenshot(path=f"{PICTURES}/{path.strip('/').replace('/', '-')}-{width}.png", full_page=True)
    page.goto(served.url("/filing"))
    page.emulate_media(media="print")
    assert page.locator(".no-print:visible").count() == 0 and page.locator("#round").is_visible()
    if PICTURES:
        page.set_viewport_size({"width": 794, "height": 1123})
        page.screenshot(path=f"{PICTURES}/filing-print.png", full_page=True)
