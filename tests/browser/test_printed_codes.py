"""What is printed, as a printer and a scanner meet it: every code read back at 203 and 300 dpi, and nothing cut off."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, Page
from sqlalchemy import insert, update

from app.cli import main
from app.db.engine import transaction
from app.db.models import Cabinet, Sheet, table_of
from app.domain.hazards import CAUTIONS
from app.domain.numbers import Pattern, mint
from app.domain.stations import KINDS
from app.services.people import add_worker
from app.services.room import add_bundle, add_cabinet, add_hazard, add_pattern, add_stack, add_station
from tests.browser.conftest import Served, sign_in
from tests.browser.test_access import HOSTILE
from tests.queries.looking import label
from tests.room import Room

SHEET = table_of(Sheet)
WAYS = {"slips": "/print/slips?q=TQX", "shelves": "/print/shelves", "stacks": "/print/stacks", "badges": "/print/badges",
        "cards": "/print/cards", "bundles": "/print/bundles", "stations": "/print/stations"}  # fmt: skip
FORMAT = {"qr": "QR Code", "128": "Code 128"}
LONG = "Ophrys-apifera-" * 14
# Each card with its box and the number that stands in it, in pixels of the page.
BOXES = """() => [...document.querySelectorAll('.printed')].map(card => {
  const box = card.getBoundingClientRect();
  return {number: card.querySelector('.printed-number').textContent.replace(/[ ·]/g, ''),
          left: box.left + scrollX, top: box.top + scrollY, right: box.right + scrollX, bottom: box.bottom + scrollY};
})"""
# Where a leaf begins, from that of the whole page: it may have been scrolled to the leaf before.
CORNER = "leaf => ({x: leaf.getBoundingClientRect().left + scrollX, y: leaf.getBoundingClientRect().top + scrollY})"
# What stands over the edge of its card, is squeezed out of it, or lies on something else in it.
OVER = """() => [...document.querySelectorAll('.printed')].flatMap(card => {
  const frame = card.getBoundingClientRect(), wrong = [];
  const WHOLE = '.printed-caution, .printed-number, .printed-part, .printed-tag, .printed-state, '
    + '.printed-cards p, .printed-stacks .printed-line, .printed-badges .printed-line';
  const name = each => `${card.className}: ${each.className.baseVal ?? each.className} ${each.textContent.slice(0, 30)}`;
  if (card.scrollHeight > card.clientHeight || card.scrollWidth > card.clientWidth) wrong.push(`${card.scrollWidth} by ${card.scrollHeight} in ${card.clientWidth} by ${card.clientHeight}: ${name(card)}`);
  for (const each of card.querySelectorAll('*')) {
    const box = each.getBoundingClientRect();
    if (box.left < frame.left - .5 || box.right > frame.right + .5 || box.top < frame.top - .5 || box.bottom > frame.bottom + .5)
      wrong.push(name(each));
  }
  const parts = [...card.querySelectorAll('.printed-code, p')];
  for (const one of parts) for (const other of parts) {
    const a = one.getBoundingClientRect(), b = other.getBoundingClientRect();
    if (one !== other && a.left < b.right - .5 && b.left < a.right - .5 && a.top < b.bottom - .5 && b.top < a.bottom - .5)
      wrong.push(`${name(one)} lies on ${name(other)}`);
  }
  for (const each of card.querySelectorAll(WHOLE))
    if (each.scrollHeight > each.clientHeight + 1) wrong.push(`${name(each)} is cut`);
  return wrong;
})"""


def furnish(room: Room) -> None:
    """Something of each kind, and of each kind the worst: long names, no blanks to break at, every caution, a long sign."""
    number, other = room.sheet_ready(), room.sheet_ready()
    label(
        room,
        number,
        plant="Carex × involuta",
        collector="M. Fenwick",
        consignment="Quillmoor Fells",
        record_number="217",
    )
    label(room, other, plant=LONG, collector=LONG, consignment=LONG, record_number="1" * 40)
    with transaction(room.database) as session:
        for kind in CAUTIONS:
            add_hazard(session, kind, room.now, sheet_id=room.row(other)["id"])
        for name in ("Wilhelmina Featherstonehaugh-Cholmondeley van der Quillmoor", HOSTILE, "W" * 120):
            add_worker(session, name, ("volunteer",), room.now, by=room.worker["hedda"])
        add_cabinet(session, "W" * 60, None, room.now, shelves=2)
        add_stack(session, "W" * 50, room.now)
        for name in ("W" * 50, HOSTILE[:60], "Press 7, Quillmoor Fells"):
            add_bundle(session, name, "plant press")
        add_station(session, "all", "W" * 40, list(KINDS["roaming"][1]), room.now)
        session.execute(
            update(table_of(Cabinet)).values(is_clean=True, note="Mercury in the folders of this cabinet: gloves. " * 9)
        )


@contextmanager
def looked_at(served: Served, browser: Browser, dpi: int) -> Iterator[Page]:
    """A signed-in page as a printer of this resolution draws it: a pixel for each dot."""
    context = browser.new_context(
        viewport={"width": 900, "height": 1200}, device_scale_factor=dpi / 96, reduced_motion="reduce"
    )
    context.set_default_timeout(15000)
    page = context.new_page()
    sign_in(served, page)
    page.emulate_media(media="print")
    yield page
    context.close()


def read_back(page: Page, dpi: int, kind: str) -> tuple[list[str], list[str]]:
    """The numbers in type on the pages, and the code that was read inside the card of each, in the same order."""
    page.evaluate("() => document.fonts.ready.then(() => true)")
    boxes, found = page.evaluate(BOXES), {}
    for leaf in page.locator(".leaf-paper").all():
        at = leaf.evaluate(CORNER)
        picture = Image.open(io.BytesIO(leaf.screenshot())).convert("L")
        for each in zxingcpp.read_barcodes(picture):
            assert str(each.format) == FORMAT[kind]
            corner = each.position.top_left
            x, y = at["x"] + corner.x * 96 / dpi, at["y"] + corner.y * 96 / dpi
            for place, box in enumerate(boxes):
                if box["left"] <= x <= box["right"] and box["top"] <= y <= box["bottom"]:
                    found[place] = each.text
    return [box["number"] for box in boxes], [found.get(place, "") for place in range(len(boxes))]


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("code", ["qr", "128"])
@pytest.mark.parametrize("dpi", [203, 300])
def test_every_printed_code_is_read_back_as_the_number_beside_it(
    served: Served, browser: Browser, dpi: int, code: str, paper: str
) -> None:
    furnish(served.room)
    with looked_at(served, browser, dpi) as page:
        for kind, way in WAYS.items():
            page.goto(served.url(f"{way}{'&' if '?' in way else '?'}paper={paper}&symbol={code}"))
            shown, read = read_back(page, dpi, code)
            assert shown and read == shown, kind


@pytest.mark.parametrize("code", ["qr", "128"])
def test_the_longest_number_that_a_room_may_have_fits_and_is_read(served: Served, browser: Browser, code: str) -> None:
    room, widest = served.room, Pattern("QWMQWMQW", 12)
    with transaction(room.database) as session:
        add_pattern(session, widest.prefix, widest.width, room.now)
        serial = 918273645545
        number = mint(widest, serial)[1]
        session.execute(insert(SHEET).values(number=number, added_at=room.now))
    label(room, number, plant=LONG, collector=LONG, consignment=LONG)
    with transaction(room.database) as session:
        for kind in CAUTIONS:
            add_hazard(session, kind, room.now, sheet_id=room.row(number)["id"])
    with looked_at(served, browser, 203) as page:
        page.goto(served.url(f"/print/slips?numbers={number}&symbol={code}"))
        assert read_back(page, 203, code) == ([number], [number])
        assert page.evaluate(OVER) == []


@pytest.mark.parametrize("code", ["qr", "128"])
def test_nothing_runs_over_its_card_or_lies_on_anything_else(served: Served, page: Page, code: str) -> None:
    furnish(served.room)
    sign_in(served, page)
    for media in ("screen", "print"):
        page.emulate_media(media=media)
        for kind, way in WAYS.items():
            page.goto(served.url(f"{way}{'&' if '?' in way else '?'}symbol={code}"))
            page.evaluate("() => document.fonts.ready.then(() => true)")
            assert page.locator(".printed").count() > 1
            assert page.evaluate(OVER) == [], (media, kind)


# ISO 216 and ANSI A in points of 1/72 inch: 595.28 by 841.89, and 612 by 792.
@pytest.mark.parametrize(("paper", "width", "height"), [("a4", 595.28, 841.89), ("letter", 612, 792)])
def test_five_hundred_slips_are_fifty_pages_of_that_paper(
    served: Served, page: Page, paper: str, width: float, height: float
) -> None:
    with transaction(served.room.database) as session:
        numbers = [served.room.new_number() for _ in range(500)]
        session.execute(insert(SHEET), [{"number": each, "added_at": served.room.now} for each in numbers])
    sign_in(served, page)
    page.goto(served.url(f"/print/slips?q=TQX&paper={paper}"))
    shown = [each["number"] for each in page.evaluate(BOXES)]
    assert shown == sorted(numbers)
    printed = page.pdf(prefer_css_page_size=True)
    assert (
        re.findall(rb"/Type /Pages\s*/Count (\d+)", printed)[0:1]
        and len(re.findall(rb"/Type /Page\b(?!s)", printed)) == 50
    )
    sizes = {(float(w), float(h)) for w, h in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)}
    assert sizes and all(abs(w - width) < 1 and abs(h - height) < 1 for w, h in sizes), sizes


def test_the_two_sides_of_a_stack_card_meet_at_the_fold(served: Served, page: Page) -> None:
    sign_in(served, page)
    page.goto(served.url("/print/stacks?stack=P1"))
    on, off = page.locator(".printed-side-on").bounding_box(), page.locator(".printed-side-off").bounding_box()
    crease = page.locator(".leaf-crease").first.bounding_box()
    assert on is not None and off is not None and crease is not None
    assert on["y"] == off["y"] and abs(on["x"] + on["width"] - off["x"]) < 0.1
    assert abs(crease["x"] + crease["width"] / 2 - off["x"]) < 1


def test_the_file_that_the_command_writes_needs_nothing_else_and_is_read_back(
    served: Served, browser: Browser, tmp_path: Path
) -> None:
    furnish(served.room)
    with browser.new_context(viewport={"width": 900, "height": 1200}, device_scale_factor=203 / 96) as context:
        page = context.new_page()
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url) if not request.url.startswith("data:") else None)
        for kind in WAYS:
            file = tmp_path / f"{kind}.html"
            assert main(["slips", "--data", str(tmp_path), "--kind", kind, "--paper", "letter", str(file)]) == 0
            page.goto(file.as_uri())
            page.emulate_media(media="print")
            shown, read = read_back(page, 203, "qr")
            assert shown and read == shown and page.evaluate(OVER) == [], kind
            assert page.evaluate(
                "() => [...document.fonts].some(each => each.status === 'loaded' && each.family.includes('Mono'))"
            )
        assert asked == [(tmp_path / f"{kind}.html").as_uri() for kind in WAYS]
