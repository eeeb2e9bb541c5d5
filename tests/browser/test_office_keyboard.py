"""The manager's pages without a mouse: supplies, consignments, the drying room, hand-overs, backups, the forecast, the language."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction

import pytest
from playwright.sync_api import Page
from sqlalchemy import select

from app.clock import utc_now
from app.db.engine import reading, transaction
from app.db.models import Base
from app.services import room as furnishing
from app.services.hand_over import make_hand_over
from tests.browser.conftest import Served, sign_in
from tests.browser.test_small_screens import OVER, SMALL
from tests.browser.walking import Walker
from tests.queries.looking import filed
from tests.room import Room
from tests.services.supplied import PVA, counted, kept, line, lot, on_hand

HOSTILE = "<b>x</b>\"';--"
LONG = HOSTILE + "W" * (200 - len(HOSTILE))
# What is wider than the place it has, in which one would have to scroll sideways to read it.
WIDE = """() => [...document.querySelectorAll('main .table-wrap, main .facts, main .ruled')]
    .filter(each => each.checkVisibility() && each.scrollWidth > each.clientWidth + 1).map(each => each.className)"""
# What is too small to touch, of what a page has for itself; boxes are touched by their labels, too.
SMALL_OF_PAGE = SMALL.replace(
    "each.checkVisibility() &&",
    "each.checkVisibility() && each.closest('main') && !each.matches('[type=checkbox], [type=radio], li > span > a') &&",
)
assert SMALL_OF_PAGE != SMALL


@dataclass
class Office(Walker):
    """A manager at a desk: every deed by Tab, Enter, Space and the arrows."""

    served: Served | None = None

    def opens(self, path: str) -> None:
        assert self.served is not None
        self.page.goto(self.served.url(path))

    def fills(self, label: str, words: str) -> None:
        """Tab to a field and type."""
        self.go_to(label)
        self.types_anew(words)

    def types_anew(self, words: str) -> None:
        """Type where the keyboard is, in place of what stands there."""
        self.press("ControlOrMeta+a")
        self.page.keyboard.type(words)

    def unfolds(self, summary: str) -> None:
        self.go_to(summary)
        self.press("Enter")

    def sends(self, button: str) -> None:
        """Tab to a button, press it, and wait for the page that answers."""
        self.go_to(button)
        with self.page.expect_navigation():
            self.press("Enter")

    def told(self, words: str) -> None:
        """What was done is said at the top of the page, and the way to the work is one Tab away."""
        self.page.locator("#notice").get_by_text(words).wait_for()
        self.press("Tab")
        assert self.focus()["name"] == "Skip to the work"
        self.press("Enter")

    def refused_at(self, label: str, words: str) -> None:
        """The form is open again, the keyboard is in the field that is wrong, and what is wrong is read with it."""
        at = self.focus()
        field = at["id"]
        said = self.page.locator(f"#{field}-error").inner_text()
        assert at["name"].startswith(label) and said.strip() and words in said
        assert f"{field}-error" in (self.page.locator(f"#{field}").get_attribute("aria-describedby") or "")


@pytest.fixture
def office(served: Served, page: Page) -> Iterator[Office]:
    """The manager, signed in; at no step was the keyboard lost or its place unseen."""
    sign_in(served, page)
    desk = Office(page, served=served)
    yield desk
    assert desk.lost == []


def rows(served: Served, table: str) -> list[dict[str, object]]:
    with reading(served.room.database) as session:
        return [dict(row._mapping) for row in session.execute(select(Base.metadata.tables[table]))]


def told_of(served: Served) -> list[str]:
    """Who took a hand-over, then who received it."""
    return [str(each["words"]) for each in rows(served, "hand_over_word")]


def catch_up(room: Room) -> None:
    """What is asked of the room is asked as of now."""
    room.wait(seconds=(utc_now() - room.now) / timedelta(seconds=1))


def test_a_supply_is_kept_counted_and_put_right(served: Served, office: Office) -> None:
    room = served.room
    office.opens("/supplies")
    office.go_to("What it is")
    office.page.keyboard.type("Small")
    office.fills("Name", " ")
    office.sends("Keep it")
    office.refused_at("Name", "It needs a name.")
    assert office.page.locator("#new-kind").input_value() == "packet-small"
    office.page.keyboard.type("Packets, small")
    office.fills("Order below", "150")
    office.sends("Keep it")
    office.told("It is kept from now on.")
    supply = int(rows(served, "supply")[0]["id"])  # type: ignore[call-overload]
    office.unfolds("It was counted")
    office.fills("Counted in the cupboard", "a few")
    office.sends("Counted")
    office.refused_at("Counted in the cupboard", "")
    office.types_anew("66")
    office.sends("Counted")
    office.told("Counted.")
    catch_up(room)
    assert on_hand(room, supply) == 66 and line(room, supply).is_below
    office.unfolds("Put it right")
    office.fills("The right amount", "660")
    office.sends("Put it right")
    assert office.focus()["id"].startswith("right-") and on_hand(room, supply) == 66
    office.fills("Why?", "a nought was missing")
    office.sends("Put it right")
    office.told("Put right.")
    catch_up(room)
    assert on_hand(room, supply) == 660 and not line(room, supply).is_below


def test_a_lot_comes_in_and_goes_out_of_use(served: Served, office: Office) -> None:
    room = served.room
    pva = kept(room, "adhesive", "PVA", adhesive_id=PVA, holds=1000)
    counted(room, pva, 1)
    office.opens(f"/supplies/{pva}")
    office.unfolds("Some came in")
    office.fills("How many came in", "1.5")
    office.fills("Number of the lot", "B 117")
    office.sends("It came in")
    office.told("Print the card of its lot")
    catch_up(room)
    assert on_hand(room, pva) == Fraction(5, 2)
    office.sends("B 117")
    office.unfolds("Nothing more is glued from it")
    office.fills("Why?", " ")
    office.sends("Take it out of use")
    office.refused_at("Why?", "Say why")
    office.types_anew("it smells")
    office.sends("Take it out of use")
    assert [bool(each["ended_at"]) for each in rows(served, "lot")] == [True]
    assert "out of use" in office.page.locator(".subtitle").inner_text()


def test_a_parcel_comes_is_counted_and_closed(served: Served, office: Office) -> None:
    office.opens("/consignments")
    office.fills("Short code", "GIFT-9")
    office.fills("Name", " ")
    office.sends("Put it on the list")
    office.refused_at("Name", "It needs a name.")
    office.types_anew("Gift of the mill")
    office.sends("Put it on the list")
    office.told("It is on the list.")
    office.unfolds("Say how many were counted")
    office.fills("Sheets counted by hand", "12")
    office.sends("It was counted")
    assert "12 counted by hand" in office.page.locator("section:has(#history)").inner_text()
    office.unfolds("Close it")
    office.fills("What is to be said of it", "all of it lies in store")
    office.sends("Close it")
    closed = {each["code"]: each["closed_at"] for each in rows(served, "consignment")}
    assert closed["GIFT-9"] is not None


def test_a_bundle_is_made_and_a_thermometer_written_down(served: Served, office: Office) -> None:
    with transaction(served.room.database) as session:
        furnishing.add_cabinet(session, "Dryer 1", None, served.room.now, is_dryer=True)
    office.opens("/drying")
    office.unfolds("Make a bundle")
    office.fills("Name", "Plant press 9")
    office.go_to("without heat")
    office.press("ArrowUp")
    assert office.focus()["name"] == "with heat"
    office.sends("Make it")
    assert [(each["name"], each["method"]) for each in rows(served, "bundle")] == [("Plant press 9", "heated")]
    office.opens("/drying")
    office.fills("It shows", "hot")
    office.sends("Write it")
    office.refused_at("It shows", "")
    office.types_anew("39")
    office.sends("Write it")
    assert [float(str(each["celsius"])) for each in rows(served, "temperature")] == [39]


def test_a_hand_over_is_made_and_received(served: Served, office: Office) -> None:
    filed(served.room)
    office.opens("/out")
    office.fills("Who takes it", " ")
    office.sends("Make the hand-over")
    office.refused_at("Who takes it", "Say who takes it.")
    office.types_anew("<b>N</b>\"';-- the catalogue")
    office.go_to("With the exact places")
    office.press("Space")
    office.sends("Make the hand-over")
    office.told("Hand-over 1 is made.")
    assert [bool(each["exact_places"]) for each in rows(served, "hand_over")] == [True]
    assert told_of(served) == ["<b>N</b>\"';-- the catalogue"]
    office.unfolds("It was received")
    office.fills("Who received it", "N. Verhulst")
    office.sends("It was received")
    office.told("Written: hand-over 1 was received.")
    assert told_of(served) == ["<b>N</b>\"';-- the catalogue", "N. Verhulst"]


def test_the_forecast_is_asked_and_the_language_chosen(served: Served, office: Office) -> None:
    office.opens("/ahead")
    office.go_to("More afternoons a week")
    office.press("ArrowDown")
    office.fills("More places in the press", "20")
    office.sends("What would it change?")
    assert "afternoons=1" in office.page.url and office.page.locator("#places").input_value() == "20"
    office.opens("/me")
    office.go_to("Read this in")
    office.page.keyboard.type("Neder")
    office.sends("Read it so")
    assert office.page.locator("html").get_attribute("lang") == "nl"
    hedda = served.room.worker["hedda"]
    assert {each["id"]: each["language"] for each in rows(served, "worker")}[hedda] == "nl"


def test_a_backup_is_made_and_a_second_place_refused(served: Served, office: Office) -> None:
    office.opens("/room#backup")
    office.sends("Back up now")
    assert "Last backed up" in office.page.locator("section:has(#backup)").inner_text()
    assert "Backed up" in office.page.locator("#notice").inner_text() and office.page.evaluate("() => scrollY") == 0
    office.opens("/room#backup")
    office.fills("Folder on another disk", "somewhere")
    office.sends("Copy every backup there")
    office.refused_at("Folder on another disk", "")
    assert office.page.locator("#folder").input_value() == "somewhere"


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1024, 768), (390, 844)])
def test_long_and_hostile_names_stay_in_their_place(served: Served, office: Office, width: int, height: int) -> None:
    room, page = served.room, office.page
    pots = kept(
        room, "adhesive", HOSTILE + "W" * (80 - len(HOSTILE)), adhesive_id=PVA, holds=1000, order_below=9, supplier=LONG
    )
    counted(room, pots, 1)
    number = HOSTILE + "W" * (60 - len(HOSTILE))
    pot = lot(room, pots, number)
    filed(room)
    with transaction(room.database) as session:
        furnishing.add_consignment(session, "GIFT-9", LONG)
        make_hand_over(session, LONG, room.now, room.zone, room.worker["hedda"])
    page.set_viewport_size({"width": width, "height": height})
    for path in (
        "/supplies",
        f"/supplies/{pots}",
        "/supplies/order",
        f"/supplies/lots/{pot}",
        "/consignments",
        "/consignments/GIFT-9",
        "/out",
    ):
        page.goto(served.url(path))
        assert HOSTILE in page.locator("main").inner_text() and page.locator("main b").count() == 0, path
        assert page.evaluate(OVER) <= 0, path
        assert page.evaluate(WIDE) == [], path
        assert width > 400 or page.evaluate(SMALL_OF_PAGE) == [], path
