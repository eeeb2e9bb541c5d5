"""Where things go on a sheet: the published places and measures, on an American sheet, a European one, and any other."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.house import RULES, House
from app.domain.sheet_drawing import Size, Zone, place_words, size_of, zone_at, zones

MM = 1.0  # thousandths are whole: half a thousandth of 425 mm is 0.2 mm at each end
INCH = 25.4
SIZES = st.builds(
    Size,
    st.integers(RULES["sheet_width_mm"].low, RULES["sheet_width_mm"].high),
    st.integers(RULES["sheet_height_mm"].low, RULES["sheet_height_mm"].high),
    st.booleans(),
)
# 11.5 by 16.5 in: Carnegie Museum of Natural History, "Plant Collecting & Mounting Guidelines"; Florida Museum, costs page.
UNITED_STATES = Size(round(11.5 * INCH), round(16.5 * INCH))
# 42.5 by 26 cm: Royal Botanic Garden Edinburgh, "Mounting herbarium specimens", stage 1.
EUROPE = Size(260, 425)
BOTH = pytest.mark.parametrize("size", [UNITED_STATES, EUROPE], ids=["11.5x16.5 in", "26x42.5 cm"])


def zone(size: Size, name: str) -> Zone:
    """The one zone with this name."""
    (found,) = [each for each in zones(size) if each.name == name]
    return found


def edges(size: Size, each: Zone) -> tuple[float, float, float, float]:
    """Millimetres from the left, the top, the right and the foot of the sheet."""
    wide, high = size.width_mm / 1000, size.height_mm / 1000
    return each.x * wide, each.y * high, (1000 - each.x - each.width) * wide, (1000 - each.y - each.height) * high


def measures(size: Size, each: Zone) -> tuple[float, float]:
    """How wide and how high it is, in millimetres."""
    return each.width * size.width_mm / 1000, each.height * size.height_mm / 1000


def apart(one: Zone, other: Zone) -> bool:
    """Whether two zones have nothing in common; as rounded to whole thousandths they may touch."""
    return (one.x + one.width <= other.x + 2 or other.x + other.width <= one.x + 2
            or one.y + one.height <= other.y + 2 or other.y + other.height <= one.y + 2)  # fmt: skip


@BOTH
def test_the_label_stands_bottom_right_about_five_millimetres_from_the_edges(size: Size) -> None:
    # Bottom right: Carnegie; Edinburgh; Ward 1881, p. 228; Kew. About 5 mm: New Zealand Plant Conservation Network.
    _, top, right, foot = edges(size, zone(size, "label"))
    assert right == pytest.approx(5, abs=MM) and foot == pytest.approx(5, abs=MM) and top > size.height_mm / 2
    # 4 to 5 in wide by 2.5 to 4 in high is a common maximum in the United States (from memory).
    wide, high = measures(size, zone(size, "label"))
    assert 4 * INCH - MM <= wide <= 5 * INCH and 2.5 * INCH <= high <= 4 * INCH


@BOTH
def test_room_for_slips_is_kept_directly_above_the_label(size: Size) -> None:
    # Directly above the data label: Carnegie; Edinburgh. 5 to 8 cm: common practice, no source.
    slips, label = zone(size, "slips"), zone(size, "label")
    assert (slips.x, slips.width) == (label.x, label.width)
    assert slips.y + slips.height <= label.y and (label.y - slips.y - slips.height) * size.height_mm / 1000 <= 6
    assert 50 <= measures(size, slips)[1] <= 80


@BOTH
def test_the_seal_has_the_upper_right_corner(size: Size) -> None:
    # Upper right: Carnegie; half a centimetre below the edge: Kessler & Rathert, Berau Herbarium, 2001.
    left, top, right, _ = edges(size, zone(size, "seal"))
    assert right == pytest.approx(5, abs=MM) and top == pytest.approx(5, abs=MM) and left > size.width_mm / 2


@BOTH
def test_the_code_is_a_finger_from_the_upper_left_corner_or_along_the_top_edge(size: Size) -> None:
    # Top left, about a finger's width from both edges, else along an edge: Natural History Museum London, 2022. A finger is 15
    # to 20 mm wide (common practice, no source).
    left, top, _, _ = edges(size, zone(size, "code"))
    assert 15 - MM <= left <= 20 and 15 - MM <= top <= 20
    along = Size(size.width_mm, size.height_mm, code_top_left=False)
    left, top, right, _ = edges(along, zone(along, "code"))
    assert top == pytest.approx(5, abs=MM) and left > 25 and right > 45


@given(SIZES)
def test_nothing_covers_another_and_all_lies_on_the_sheet(size: Size) -> None:
    found = [each for each in zones(size) if each.name != "plant"]
    assert all(apart(one, other) for one, other in itertools.combinations(found, 2))
    for each in zones(size):
        assert min(each.x, each.y) > 0 and each.x + each.width < 1000 and each.y + each.height < 1000


@given(SIZES)
def test_each_part_is_found_again_by_its_middle(size: Size) -> None:
    found = zones(size)
    assert [zone_at(found, *each.centre) for each in found[1:]] == list(found[1:])


def test_the_house_chooses_the_sheet_and_the_place_of_the_code() -> None:
    assert size_of(House()) == UNITED_STATES
    house = House(sheet_width_mm=260, sheet_height_mm=425, code_top_left=False)
    assert size_of(house) == Size(260, 425, code_top_left=False)


@BOTH
def test_a_place_is_said_by_what_lies_there(size: Size) -> None:
    found = zones(size)
    assert place_words(found, *zone(size, "label").centre) == "label"
    assert place_words(found, *zone(size, "slips").centre) == "room for slips"
    # What lies on the plant comes before the plant, and only what is free of all of it is the plant's.
    assert (
        place_words(found, 100, 300) == "plant, upper left" and place_words(found, 500, 500) == "plant, in the middle"
    )
    assert (
        place_words(found, 500, 250) == "plant, upper centre" and place_words(found, 100, 500) == "plant, middle left"
    )


def test_a_place_beside_all_is_the_edge_and_no_place_is_not_said() -> None:
    found = zones(UNITED_STATES)
    for x, y in ((0, 0), (1000, 1000), (5, 500), (500, 995)):
        assert zone_at(found, x, y) is None and place_words(found, x, y) == "along the edge"
    assert place_words(found, None, None) == place_words(found, 5, None) == ""


def test_what_touches_the_edge_of_a_zone_lies_in_it() -> None:
    label = zone(UNITED_STATES, "label")
    corners = [(label.x, label.y), (label.x + label.width, label.y + label.height)]
    assert all(label.holds(*corner) for corner in corners)
    assert not label.holds(label.x - 1, label.y) and not label.holds(label.x, label.y + label.height + 1)
