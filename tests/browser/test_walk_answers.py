"""The four answers at the press, as everybody meets them: by axe, at 200 %, in forced colours; and the stack's layers in these."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pytest
from PIL import Image, ImageChops
from playwright.sync_api import Browser, BrowserContext, Page

from app.clock import utc_now
from app.domain.stages import Step
from tests.browser.conftest import Served, answered, enrol, scan, sign_in
from tests.browser.test_access import violations
from tests.browser.walking import shift

KINDS = {"Put under weight.": "done", "Not yet.": "not-yet", "Stop.": "stop", "Which one?": "which-one"}
# What an answer is told apart by where no colour is left: its frame, and the shape in its stub.
FRAME = """() => {
  const css = getComputedStyle(document.getElementById('answer'));
  return `${css.borderTopStyle} ${css.borderTopWidth}`;
}"""
SHAPE = "() => document.querySelector('#answer .answer-icon use, #answer .answer-icon path')?.outerHTML ?? ''"
OVER = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture
def coloured_by_force(browser: Browser) -> Iterator[BrowserContext]:
    """A browser whose owner has chosen the colours: two of them, and no others on any page."""
    opened = browser.new_context(
        viewport={"width": 1440, "height": 900}, reduced_motion="reduce", forced_colors="active"
    )
    opened.set_default_timeout(20_000)
    yield opened
    opened.close()


def four_answers(served: Served, page: Page) -> Iterator[str]:
    """One answer after the other at the press, each shown when its word is given."""
    sheets, room = shift(served), served.room
    for number in (sheets.first, sheets.second):
        room.scans(number, "table-2", step=Step.TAKE_UP)
        room.scans(number, "table-2", step=Step.MOUNT)
    room.signs_in("olwen", "press")
    page.goto(served.url("/station"))
    opens = room.code("off", "P1")
    for code, word in (
        (sheets.ready, "Not yet."),
        ("TQX 000000 1", "Stop."),
        (sheets.first, "Which one?"),
        (opens, "Put under weight."),
    ):
        scan(page, code)
        answered(page, word)
        yield word


def test_axe_finds_nothing_whichever_of_the_four_is_answered(
    served: Served, context: BrowserContext, page: Page
) -> None:
    enrol(served, context, "press")
    for word in four_answers(served, page):
        assert page.locator("#answer").get_attribute("data-kind") == KINDS[word]
        assert violations(page) == {}, word


# 1280 by 1024 at 200 % is the width that WCAG 2.2, 1.4.4 and 1.4.10, are tested with as a rule; 320 is that of 1.4.10 itself.
@pytest.mark.parametrize(("width", "height"), [(720, 450), (640, 512), (320, 640)])
def test_at_200_per_cent_each_answer_fits_without_scrolling_sideways(
    served: Served, context: BrowserContext, page: Page, width: int, height: int
) -> None:
    enrol(served, context, "press")
    page.set_viewport_size({"width": width, "height": height})
    for word in four_answers(served, page):
        assert page.evaluate(OVER) <= 0, word
        assert page.locator("#answer-word").is_visible() and page.locator("#code").is_visible()


def picture(page: Page, selector: str) -> Image.Image:
    return (
        Image.open(io.BytesIO(page.locator(selector).first.screenshot()))
        .convert("L")
        .point(lambda grey: 255 * (grey > 127))
    )


def apart(one: Image.Image, other: Image.Image) -> float:
    """The share of the pixels in which two pictures differ, each in pure black and white."""
    size = (min(one.width, other.width), min(one.height, other.height))
    corner = (0, 0, *size)
    differing = ImageChops.difference(one.crop(corner), other.crop(corner))
    return float(differing.histogram()[255]) / (size[0] * size[1])


def test_in_forced_colours_the_four_answers_are_told_apart_by_their_shapes(
    served: Served, coloured_by_force: BrowserContext
) -> None:
    enrol(served, coloured_by_force, "press")
    page = coloured_by_force.new_page()
    shapes: dict[str, Image.Image] = {}
    frames, drawn = {}, set[str]()
    for word in four_answers(served, page):
        shapes[word], frames[word] = picture(page, "#answer .answer-icon"), page.evaluate(FRAME)
        drawn.add(page.evaluate(SHAPE))
        assert violations(page) == {}, word
    assert len(drawn) == 4 and all(frame.startswith("solid") and frame != "solid 0px" for frame in frames.values())
    for word, shape in shapes.items():
        black = shape.histogram()[0] / (shape.width * shape.height)
        assert 0.03 < black < 0.97, f"{word}: nothing can be seen of its shape"
        for other, another in shapes.items():
            # A twentieth of a picture of 5 cm is plain at arm's length (common practice, no source).
            assert word == other or apart(shape, another) > 0.05, (word, other)


def test_in_forced_colours_the_layers_of_a_stack_are_told_apart_by_their_patterns(
    served: Served, coloured_by_force: BrowserContext
) -> None:
    room = served.room
    room.wait(hours=-30)
    room.weights("off", "P1")
    room.sheet_in("P1", adhesive="straps")
    room.sheet_in("P1", adhesive="paste")
    room.weights("on", "P1")
    room.weights("off", "P3")
    room.sheet_in("P3")
    room.wait(seconds=(utc_now() - room.now).total_seconds())
    page = coloured_by_force.new_page()
    sign_in(served, page)
    patterns = {}
    for path, state in (("/press/P1", "ready"), ("/press/P1", "not-yet"), ("/press/P3", "waiting")):
        page.goto(served.url(path))
        box = page.locator(f".stack-full .pile-sheet.pile-{state}").first.bounding_box()
        assert box is not None
        # The right end of the layer: its pattern alone, without words or edges of other things.
        clip = {"x": box["x"] + box["width"] - 90, "y": box["y"], "width": 80, "height": box["height"]}
        patterns[state] = Image.open(io.BytesIO(page.screenshot(clip=clip))).convert("L")  # type: ignore[arg-type]
        words = page.locator(f".pile-words-{state}").first
        assert words.is_visible() and words.text_content()
    greys = {state: sorted(each.getcolors() or [], reverse=True) for state, each in patterns.items()}
    for state, one in patterns.items():
        for other, another in patterns.items():
            hard = [each.point(lambda grey: 255 * (grey > 160)) for each in (one, another)]
            assert state == other or apart(*hard) > 0.02, (state, other, greys)
