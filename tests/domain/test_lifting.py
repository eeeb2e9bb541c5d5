"""What is lifted off in a stack to reach a sheet, said for every shape of a pile."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.lifting import InLayer, layers_said, lowest_ready, must_go_back, names_said, to_reach


def pile(*ready: bool) -> list[InLayer]:
    return [InLayer(f"TQX {place}", place, is_ready) for place, is_ready in enumerate(ready, start=1)]


@pytest.mark.parametrize(
    ("layers", "words"),
    [([4], "layer 4"), ([4, 5], "layers 4 and 5"), ([4, 5, 6], "layers 4 to 6"), ([2, 4, 5, 6], "layers 2 and 4 to 6"),
     ([2, 4, 6], "layers 2, 4 and 6"), ([6, 5, 2, 1], "layers 1, 2, 5 and 6"), ([1, 2, 3, 5, 7, 8, 9], "layers 1 to 3, 5 and 7 to 9")],
)  # fmt: skip
def test_layers_are_said_as_people_say_them(layers: list[int], words: str) -> None:
    assert layers_said(layers) == words


@pytest.mark.parametrize(
    ("ready", "layer", "words"),
    [
        ((True,), 1, ""), ((False, True), 2, ""), ((True, True, True), 1, ""),
        ((True, False), 1, "To reach TQX 1 (layer 1), lift off layer 2. It must go back, and its clock stands while the weights are off."),
        ((False, True, False, False), 2, "To reach TQX 2 (layer 2), lift off layers 3 and 4. They must go back, and their clock stands "
                                         "while the weights are off."),
        ((True, True, False, True), 1, "To reach TQX 1 (layer 1), lift off layers 2 to 4. Layer 3 must go back, and its clock stands "
                                       "while the weights are off."),
    ],
)  # fmt: skip
def test_what_is_lifted_off_and_what_goes_back(ready: tuple[bool, ...], layer: int, words: str) -> None:
    found = pile(*ready)
    assert to_reach(found, found[layer - 1]) == words


@given(ready=st.lists(st.booleans(), max_size=20))
def test_what_must_go_back_is_what_stays_above_and_nothing_else(ready: list[bool]) -> None:
    found = pile(*ready)
    lowest = lowest_ready(found)
    assert (lowest.layer if lowest else None) == (ready.index(True) + 1 if True in ready else None)
    for layer in range(len(ready) + 1):
        above = [place for place in range(layer + 1, len(ready) + 1) if not ready[place - 1]]
        assert [each.layer for each in must_go_back(found, layer)] == above


def test_a_few_are_named_and_the_rest_counted() -> None:
    assert names_said(pile(True)) == "TQX 1"
    assert names_said(pile(True, True, True)) == "TQX 1, TQX 2 and TQX 3"
    assert names_said(pile(*[True] * 7)) == "TQX 1, TQX 2, TQX 3 and 4 more"
