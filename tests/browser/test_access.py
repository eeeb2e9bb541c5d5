"""Every page for everybody: axe finds nothing, nothing runs off the screen, and hostile text stays text."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from app.db.engine import transaction
from app.domain.stages import Step
from app.services import room as furnishing
from app.services.people import add_worker
from tests.browser.conftest import Served, answered, enrol, scan, sign_in
from tests.room import Room
from tests.services.supplied import card_of, counted, kept, lot

AXE = (Path(__file__).parent.parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SIZES = [(1440, 900), (1024, 768), (390, 844), (720, 450)]
HOSTILE = "<script>alert('x')</script><img src=x onerror=alert(1)>\"'&{{7*7}}"


def violations(page: Page) -> dict[str, list[str]]:
    page.evaluate(AXE)
    found = page.evaluate(
        "tags => axe.run(document, {runOnly: {type: 'tag', values: tags}, resultTypes: ['violations']})", TAGS
    )
    return {each["id"]: [node["html"][:160] for node in each["nodes"]] for each in found["violations"]}


def a_full_room(room: Room) -> dict[str, str]:
    """Something of each kind, so that every page has something to show."""
    pots = kept(room, "adhesive", "PVA", adhesive_id=1, holds=1000, order_below=5)
    counted(room, pots, 3)
    room.scans(card_of(room, lot(room, pots, "B 117")), "table-1")
    out = room.sheet_in("P1")
    under = room.sheet_in("P1", bulk="bulky")
    room.weights("on", "P1")
    with transaction(room.database) as session:
        furnishing.set_house_rule(session, "press_pva_h", 30, "lifted leaves", room.now, by=room.worker["hedda"])
    room.wait(hours=25)
    room.weights("off", "P1")
    room.wait(minutes=1)
    room.takes_out(out)
    held = room.sheet_ready(label=False)
    ready = room.sheet_ready()
    return {"out": out, "under": under, "held": held, "ready": ready}


def pages(sheets: dict[str, str]) -> list[str]:
    return ["/board", "/board/aside", "/ahead", "/usual", "/order", "/stations", "/sheets", "/sheets?stage=ready-for-mounting", f"/sheets/{sheets['under']}", f"/sheets/{sheets['held']}", f"/sheets/{sheets['held']}/brief",
            f"/sheets/{sheets['out']}", "/search?q=TQX", "/search?q=nothing+like+it", "/press", "/press/P1", "/cabinets", "/cabinets/M1", "/cabinets/M1/picks", "/checks", "/cabinets/M1/check", "/print", "/print/slips?q=TQX", "/print/shelves", "/print/stacks?paper=letter", "/print/badges?symbol=128", "/print/cards", "/print/bundles", "/print/stations",
            "/intake", "/intake/files", "/intake/plant", "/intake/run", "/drying", "/drying/signs", "/people", "/people/2", "/teaching", "/teaching/2", "/room", "/room/rules/press_pva_h", "/room/rules/press_pva_h/lying", "/room/rules/not_own_work", "/room/one-person", "/room/calendar", "/room/calendar/holidays?country=GB&part=NIR&offered=GB",
            "/holds", "/holds/many", "/filing", "/filing/families", "/filing/back", "/filing/withdraw", "/filing/withdrawn", "/filing/again", "/out", "/supplies", "/supplies/1", "/supplies/order", "/supplies/lots/1", "/print/lots", "/consignments", "/labels", "/duplicates", "/exchange", "/exchange/picks", "/pests", "/hazards", "/cautions", "/closing", "/morning", "/late-form", "/late", "/stations/scanner-check", "/refusals", "/me", "/me/kept", "/people/2/kept", "/people/2/name", "/password"]  # fmt: skip


@pytest.fixture
def filled(served: Served) -> dict[str, str]:
    served.room.wait(hours=-30)
    return a_full_room(served.room)


def test_axe_finds_nothing_on_any_page(served: Served, filled: dict[str, str], page: Page) -> None:
    page.goto(served.url("/sign-in"))
    assert violations(page) == {}
    sign_in(served, page)
    for path in pages(filled):
        response = page.goto(served.url(path))
        assert response is not None and response.status == 200, path
        assert violations(page) == {}, path
        assert page.title() and page.locator("h1").count() == 1, path


def test_axe_finds_nothing_at_a_station_whatever_it_answers(
    served: Served, filled: dict[str, str], context: BrowserContext, page: Page
) -> None:
    enrol(served, context, "press")
    page.goto(served.url("/station"))
    assert violations(page) == {}
    for code, word in ((filled["under"], "Not yet."), (filled["ready"], "Which one?"), ("TQX 000000 1", "Stop.")):
        scan(page, code)
        answered(page, word)
        assert violations(page) == {}, word


def test_nothing_runs_off_the_screen_at_any_size(
    served: Served, filled: dict[str, str], context: BrowserContext, page: Page
) -> None:
    sign_in(served, page)
    enrol(served, context, "table-1")
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        for path in [*pages(filled), "/station"]:
            page.goto(served.url(path))
            over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            assert over <= 0, f"{path} is {over} px too wide at {width}"


def test_targets_at_a_station_are_large_enough_for_a_gloved_hand(
    served: Served, context: BrowserContext, page: Page
) -> None:
    enrol(served, context, "table-1")
    page.goto(served.url("/station"))
    scan(page, served.room.sheet_ready())
    answered(page, "Taken up.")
    small = page.evaluate("""() => [...document.querySelectorAll('main button, main summary, main select')]
        .filter(each => each.offsetParent !== null && each.getBoundingClientRect().height < 44).map(each => each.outerHTML.slice(0, 80))""")
    assert small == []


def test_hostile_text_stays_text_on_every_page(served: Served, context: BrowserContext, page: Page) -> None:
    room = served.room
    room.wait(hours=-1)
    with transaction(room.database) as session:
        worker_id, _ = add_worker(session, HOSTILE, ("volunteer",), room.now, by=room.worker["hedda"])
        furnishing.add_cabinet(session, HOSTILE[:60], None, room.now, shelves=1)
        furnishing.add_stack(session, HOSTILE[:50], room.now)
        furnishing.add_consignment(session, "HX", HOSTILE, source=HOSTILE)
        furnishing.add_adhesive(session, "hx", HOSTILE, "pva", room.now)
        furnishing.set_at_station(session, room.station["intake"], consignment_id=1)
    number = room.new_number()
    room.scans(number, "intake")
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "name-query"}, reason=HOSTILE)
    room.scans(HOSTILE, "table-1")
    sign_in(served, page)
    enrol(served, context, "intake")
    sheets = {"under": number, "held": number, "out": number}
    for path in [*pages(sheets), f"/people/{worker_id}", "/station", f"/search?q={HOSTILE}"]:
        response = page.goto(served.url(path))
        assert response is not None and response.status in (200, 404), path
        assert page.locator("script:not([src])").count() == 0, path
        assert page.locator("img[onerror]").count() == 0, path
        assert "49" not in page.title()
    page.goto(served.url("/station"))
    scan(page, HOSTILE)
    answered(page, "Stop.")
