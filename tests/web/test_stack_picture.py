"""The picture of a stack, shape by shape: board, sheet, release paper, foam and board, with the lid and the weights on top."""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.etree import ElementTree

import pytest
from flask import Flask, render_template

from app.db.engine import transaction
from app.services.room import add_stack
from app.web.drawing import DrawnLayer, DrawnStack
from tests.room import Room
from tests.web.conftest import ClientAs

SVG = re.compile(r'<svg class="stack-picture".*</svg>', re.DOTALL)
WORDS = {"ready": "may come out", "not-yet": "Thursday 10:30", "waiting": "not running"}
KINDS = ("board", "sheet", "release", "foam", "lid")
SHEET_STATES = {"one": ("not-yet",), "twenty": ("ready", "not-yet", "waiting", "not-yet") * 5, "all ready": ("ready",) * 6,
                "none ready": ("not-yet",) * 6, "clock stopped": ("waiting",) * 3}  # fmt: skip


@dataclass(frozen=True)
class Shape:
    """One flat thing in the pile: what it is, where its top and its bottom are, and how it is marked."""

    kind: str
    top: float
    bottom: float
    classes: tuple[str, ...]


@dataclass(frozen=True)
class Picture:
    """A drawn stack, taken apart; shapes from the bottom up."""

    shapes: list[Shape]
    weights: list[ElementTree.Element]
    links: list[ElementTree.Element]
    texts: list[str]
    patterns: dict[float, str]
    role: str
    table: str


def a_stack(states: tuple[str, ...], weights_on: bool = True, pieces: int = 4, tone: str = "") -> DrawnStack:
    layers = tuple(
        DrawnLayer(
            place, f"TQX 00{place:04}·H", state, WORDS[state], f"/sheets/{place}", out=WORDS[state], sheet_id=place
        )
        for place, state in enumerate(states, 1)
    )
    return DrawnStack("P1", "/press/P1", weights_on, tone, layers, "So it stands.", "", pieces)


def drawn(app: Flask, stack: DrawnStack, full: bool = True) -> Picture:
    with app.test_request_context():
        text = render_template("press/_stack.html", stack=stack, full=full)
        stock = ElementTree.fromstring(render_template("press/_layers.html").strip())
    found = SVG.search(text)
    assert found
    svg = ElementTree.fromstring(found.group())
    _set(svg, {f"#{symbol.get('id')}": symbol for symbol in stock.iter("symbol")})
    rects = [rect for rect in svg.iter("rect")]
    return Picture(
        sorted((shape for rect in rects if (shape := _shape(rect))), key=lambda shape: -shape.bottom),
        [each for each in svg.iter("svg") if "weight" in each.get("class", "").split()],
        list(svg.iter("a")),
        ["".join(each.itertext()) for each in svg.iter("text")],
        {float(rect.get("y", "0")): rect.get("fill", "") for rect in rects if "ink-" in rect.get("fill", "")},
        svg.get("role", ""), text[found.end() :],
    )  # fmt: skip


def _set(svg: ElementTree.Element, symbols: dict[str, ElementTree.Element]) -> None:
    """Put the rectangles of what is set by reference where they are drawn."""
    for use in list(svg.iter("use")):
        assert use.get("height") == "10" and use.get("width") == "100%"
        for rect in symbols[use.get("href", "")]:
            ElementTree.SubElement(
                svg, "rect", {**rect.attrib, "y": str(float(use.get("y", "")) + float(rect.get("y", "")))}
            )


def _shape(rect: ElementTree.Element) -> Shape | None:
    classes = tuple(rect.get("class", "").split())
    kind = next((name.removeprefix("pile-") for name in classes if name.removeprefix("pile-") in KINDS), None)
    top = float(rect.get("y", "0"))
    return Shape(kind, top, top + float(rect.get("height", "0")), classes) if kind else None


@pytest.mark.parametrize("states", SHEET_STATES.values(), ids=SHEET_STATES)
@pytest.mark.parametrize("full", [True, False], ids=["large", "small"])
@pytest.mark.parametrize("weights_on", [True, False], ids=["on", "off"])
def test_a_pile_is_drawn_as_it_lies_and_nothing_in_it_floats(
    app: Flask, states: tuple[str, ...], full: bool, weights_on: bool
) -> None:
    picture = drawn(app, a_stack(states, weights_on), full)
    piled = ["board", *["sheet", "release", "foam", "board"] * len(states), "lid"]
    assert [shape.kind for shape in picture.shapes] == piled
    assert all(above.bottom == below.top for below, above in zip(picture.shapes, picture.shapes[1:], strict=False))
    assert [shape.classes[1] for shape in picture.shapes if shape.kind == "sheet"] == [
        f"pile-{state}" for state in states
    ]
    assert len(picture.weights) == 4
    lid = picture.shapes[-1]
    assert all(float(each.get("y", "")) + float(each.get("height", "")) == lid.top for each in picture.weights)


@pytest.mark.parametrize("states", SHEET_STATES.values(), ids=SHEET_STATES)
def test_each_sheet_is_patterned_as_well_as_coloured(app: Flask, states: tuple[str, ...]) -> None:
    for full in (True, False):
        picture = drawn(app, a_stack(states), full)
        inked = [picture.patterns[shape.top] for shape in picture.shapes if shape.kind == "sheet"]
        assert inked == [f"url(#ink-{state})" for state in states]


@pytest.mark.parametrize("states", SHEET_STATES.values(), ids=SHEET_STATES)
def test_each_layer_is_numbered_from_the_bottom_and_leads_to_its_sheet(app: Flask, states: tuple[str, ...]) -> None:
    picture = drawn(app, a_stack(states))
    count = len(states)
    assert [text for text in picture.texts if text.isdigit()] == [str(place) for place in range(count, 0, -1)]
    assert [link.get("href") for link in picture.links] == [f"/sheets/{place}" for place in range(count, 0, -1)]
    label = picture.links[-1].get("aria-label", "")
    assert label in {f"Layer 1 {words}: TQX 000001·H" for words in WORDS.values()}
    assert picture.role == "group"  # what is an image holds no links


def test_the_same_facts_stand_in_a_table_from_the_top(app: Flask) -> None:
    picture = drawn(app, a_stack(SHEET_STATES["twenty"]))
    rows = re.findall(r'data-label="Layer">(\d+)<.*?pile-words-([a-z-]+)">([^<]+)', picture.table)
    expected = [(str(layer.layer), layer.state, layer.words) for layer in a_stack(SHEET_STATES["twenty"]).layers]
    assert rows == expected[::-1]


@pytest.mark.parametrize("pieces", [1, 4, 7])
def test_weights_that_are_off_are_drawn_as_an_outline(app: Flask, pieces: int) -> None:
    on, off = (drawn(app, a_stack(("waiting",), state, pieces)).weights for state in (True, False))
    assert len(on) == len(off) == pieces
    assert not any("weight-off" in each.get("class", "") for each in on)
    assert all("weight-off" in each.get("class", "") for each in off)
    edges = [(float(e.get("x", "").rstrip("%")), float(e.get("width", "").rstrip("%"))) for e in on]
    assert all(left + wide <= after for (left, wide), (after, _) in zip(edges, edges[1:], strict=False))
    assert edges[0][0] > 0 and sum(edges[-1]) < 50  # they stand on the lid, which is 50 % wide


def test_an_empty_stack_is_its_board_and_its_lid(app: Flask) -> None:
    for full in (True, False):
        picture = drawn(app, a_stack((), weights_on=False), full)
        assert [shape.kind for shape in picture.shapes] == ["board", "lid"]
        assert not picture.weights and not picture.links and picture.role == "img" and "<table" not in picture.table


def test_a_small_stack_of_twenty_is_a_light_picture(app: Flask) -> None:
    """Forty of them stand on one page."""
    with app.test_request_context():
        text = render_template("press/_stack.html", stack=a_stack(SHEET_STATES["twenty"]), full=False)
    assert len(text) < 4000, len(text)


def test_a_bulky_sheet_is_drawn_and_said_to_be_bulky(app: Flask) -> None:
    bulky = DrawnLayer(1, "TQX 000001·H", "ready", "may come out", "/sheets/1", bulky=True, sheet_id=1)
    with app.test_request_context():
        text = render_template(
            "press/_stack.html", stack=DrawnStack("P1", "", True, "", (bulky,), "", "", 4), full=True
        )
    assert text.count('class="pile-bulk pile-ready"') == 1 and "may come out, bulky" in text
    assert "pile-bulk" not in render(app, a_stack(("ready",)))


def render(app: Flask, stack: DrawnStack) -> str:
    with app.test_request_context():
        return render_template("press/_stack.html", stack=stack, full=True)


# -- the five pictures of a real stack, by name -------------------------------------------------------------------
def a_real_stack(room: Room, adhesives: tuple[str, ...], hours: int, weights: str) -> None:
    with transaction(room.database) as session:
        room.stack["P9"] = add_stack(session, "P9", room.now, capacity=20, mass_kg=12, pieces=4)
    for adhesive in adhesives:
        room.sheet_in("P9", adhesive=adhesive)
    if weights != "never on":
        room.weights("on", "P9")
    room.wait(hours=hours)
    if weights == "off again":
        room.weights("off", "P9")


# Straps need 2 hours, PVA 24: common practice, no source (the house rules' defaults).
FIVE = {
    "one layer": (("pva",), 3, "on", ["not-yet"]),
    "twenty layers": (("straps", "pva") * 10, 3, "on", ["ready", "not-yet"] * 10),
    "all ready": (("straps",) * 4, 2, "on", ["ready"] * 4),
    "none ready": (("pva",) * 4, 23, "on", ["not-yet"] * 4),
    "no weights": (("pva",) * 4, 1, "never on", ["waiting"] * 4),
    "no weights any more": (("straps", "pva"), 2, "off again", ["ready", "waiting"]),
}  # fmt: skip


@pytest.mark.parametrize(("adhesives", "hours", "weights", "states"), FIVE.values(), ids=FIVE)
@pytest.mark.parametrize("path", ["/press/P9", "/press", "/board"])
def test_a_real_stack_is_drawn_as_it_is(
    room: Room, client_as: ClientAs, path: str, adhesives: tuple[str, ...], hours: int, weights: str, states: list[str]
) -> None:
    a_real_stack(room, adhesives, hours, weights)
    text = client_as("reader").get(path).text
    pictures = [
        ElementTree.fromstring(each)
        for each in re.findall(r'<svg class="stack-picture".*?</desc>.*?\n  </svg>', text, re.DOTALL)
    ]
    (svg,) = [each for each in pictures if (each.findtext("title") or "").startswith("P9,")]
    layers = [
        each.get("href", "").removeprefix("#layer-")
        for each in svg.iter("use")
        if each.get("href", "").startswith("#layer-")
    ]
    drawn_large = [
        shape.classes[1].removeprefix("pile-")
        for rect in svg.iter("rect")
        if (shape := _shape(rect)) and shape.kind == "sheet"
    ]
    assert (drawn_large[::-1] if path == "/press/P9" else layers) == states
    title = svg.findtext("title") or ""
    assert title == f"P9, weights {'on' if weights == 'on' else 'off'}"
    pieces = [each for each in svg.iter("svg") if "weight" in each.get("class", "").split()]
    assert [("weight-off" in each.get("class", "")) for each in pieces] == [weights != "on"] * 4
    height = float(svg.get("height", "0"))
    pitch = 28 if path == "/press/P9" else 10
    assert height - pitch * len(states) == _height_of_none(path), "each layer adds its own height, and nothing else"


def _height_of_none(path: str) -> float:
    """A stack without a sheet: its board, its lid and the room for the weights (the sizes of templates/press/_stack.html)."""
    board, lid, weight = (9, 11, 34) if path == "/press/P9" else (2, 4, 13)
    return weight + 6 + lid + board + 3
