"""Where the next sheet is laid, and what so many sheets take."""

from __future__ import annotations

from typing import Any

import pytest

from app.domain.laying import Materials, Spot, materials, where_to_lay

DAY_S = 24 * 3600


def spot(name: str, **facts: Any) -> Spot:
    """An empty stack for eight sheets without its weights, unless told otherwise."""
    usual: dict[str, Any] = {
        "weights_on": False, "is_filling": False, "sheets": 0, "room": 8, "minimums_s": frozenset(), "has_bulky": False,
    }  # fmt: skip
    return Spot(name, **{**usual, **facts})


def filling(name: str, *minimums_s: int, sheets: int = 2, **facts: Any) -> Spot:
    return spot(
        name, **{"is_filling": True, "sheets": sheets, "room": 8 - sheets, "minimums_s": frozenset(minimums_s), **facts}
    )


def laid(minimum_s: int, *spots: Spot, bulky: bool = False) -> str | None:
    found = where_to_lay(minimum_s, bulky, spots)
    return found.name if found else None


@pytest.mark.parametrize(
    ("sheets", "taken"), [(0, Materials(0, 0, 1)), (1, Materials(1, 1, 2)), (20, Materials(20, 20, 21))]
)
def test_n_sheets_take_n_papers_n_foams_and_one_board_more(sheets: int, taken: Materials) -> None:
    assert materials(sheets) == taken


def test_less_than_no_sheet_cannot_be() -> None:
    with pytest.raises(ValueError, match="cannot be"):
        materials(-1)


def test_a_filling_stack_of_the_same_time_comes_before_an_empty_one() -> None:
    assert laid(DAY_S, spot("P1"), filling("P2", DAY_S)) == "P2"


@pytest.mark.parametrize(
    "other",
    [
        filling("P2", 2 * DAY_S),
        filling("P2", DAY_S, 2 * DAY_S),
        filling("P2", DAY_S, sheets=8),
        filling("P2", DAY_S, has_bulky=True),
        filling("P2", DAY_S, is_filling=False, weights_on=True),
    ],
    ids=["another time", "two times", "full", "a bulky sheet on top", "under weight"],
)
def test_no_other_stack_takes_it(other: Spot) -> None:
    assert laid(DAY_S, other) is None
    assert laid(DAY_S, other, spot("P9")) == "P9"


def test_of_two_filling_stacks_the_fuller_one_is_filled_first() -> None:
    assert laid(DAY_S, filling("P1", DAY_S), filling("P2", DAY_S, sheets=5), filling("P3", DAY_S, sheets=5)) == "P2"


def test_a_bulky_sheet_lies_on_top_of_flat_ones_or_of_bulky_ones() -> None:
    assert laid(DAY_S, filling("P1", DAY_S), bulky=True) == "P1"
    assert laid(DAY_S, filling("P1", DAY_S, has_bulky=True), bulky=True) == "P1"


def test_an_empty_stack_without_weights_comes_before_one_that_has_them_on() -> None:
    assert laid(DAY_S, spot("P1", weights_on=True), spot("P2"), spot("P3")) == "P2"
    assert laid(DAY_S, spot("P1", weights_on=True)) == "P1"


def test_without_stacks_there_is_no_place() -> None:
    assert laid(DAY_S) is None and laid(DAY_S, spot("P1", room=0)) is None
