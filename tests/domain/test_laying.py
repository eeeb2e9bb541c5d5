"""Where the next sheet is laid, and what so many sheets take."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.laying import Materials, Spot, makeshifts, materials, materials_words, places_to_lay, where_to_lay

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


SPOTS = st.builds(
    spot, st.sampled_from(["P1", "P2", "P3", "P4"]), weights_on=st.booleans(), is_filling=st.booleans(),
    sheets=st.integers(0, 8), room=st.integers(0, 8), minimums_s=st.frozensets(st.sampled_from([DAY_S, 2 * DAY_S])), has_bulky=st.booleans(),
)  # fmt: skip


@given(spots=st.lists(SPOTS, max_size=6, unique_by=lambda each: each.name), bulky=st.booleans())
def test_every_place_has_room_the_first_is_the_one_proposed_and_what_does_not_fit_is_open_and_apart(
    spots: list[Spot], bulky: bool
) -> None:
    fitting, others = places_to_lay(DAY_S, bulky, spots), makeshifts(DAY_S, bulky, spots)
    assert (fitting[0] if fitting else None) == where_to_lay(DAY_S, bulky, spots)
    assert all(each.room > 0 for each in (*fitting, *others))
    assert all(not each.weights_on for each in others) and not set(fitting) & set(others)
    # Every stack that is open and has room is offered in one way or the other.
    assert {each.name for each in spots if each.room > 0 and not each.weights_on} <= {
        each.name for each in (*fitting, *others)
    }


def test_two_that_fit_are_both_named_the_better_first() -> None:
    found = places_to_lay(
        DAY_S, False, (spot("P1"), filling("P2", DAY_S), filling("P3", 2 * DAY_S), spot("P4", room=0))
    )
    assert [each.name for each in found] == ["P2", "P1"]
    assert [each.name for each in makeshifts(DAY_S, False, (spot("P1"), filling("P3", 2 * DAY_S)))] == ["P3"]


@pytest.mark.parametrize(
    ("sheets", "is_empty", "words"),
    [(1, False, "1 release paper, 1 foam and 1 board"), (1, True, "1 release paper, 1 foam and 2 boards"),
     (8, True, "8 release papers, 8 foams and 9 boards"), (2, False, "2 release papers, 2 foams and 2 boards")],
)  # fmt: skip
def test_what_so_many_more_take_is_said(sheets: int, is_empty: bool, words: str) -> None:
    assert materials_words(sheets, is_empty=is_empty) == words
