"""The order in which people put names and numbers."""

from __future__ import annotations

import random

import pytest

from app.domain.natural_order import natural_order


# Common practice, no source: as one counts, and what bears no number first.
@pytest.mark.parametrize(
    "ordered",
    [
        ["P1", "P2", "P10", "Q1"],
        ["", "9", "10", "10a", "2026-18", "2026-118", "s.n."],
        ["Dryer", "Dryer 2", "Dryer 11"],
        ["A2 left", "A2 right", "A10 left"],
        ["٢", "١٠"],
    ],
)
def test_digits_in_a_name_count_as_a_number(ordered: list[str]) -> None:
    mixed = random.Random(7).sample(ordered, len(ordered))
    assert sorted(mixed, key=natural_order) == ordered
    assert sorted(reversed(ordered), key=natural_order) == ordered
