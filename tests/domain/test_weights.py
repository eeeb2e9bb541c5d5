"""The weights of a stack: how a mass is said, and when it is too much to lift."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.weights import mass_said, mass_words, too_heavy


@pytest.mark.parametrize(
    ("said", "kg"), [(12, 12), (12.5, 12.5), ("12", 12), (" 12,5 kg", 12.5), ("0", 0), ("200", 200), ("1e2", 100)]
)
def test_a_mass_is_read_as_people_write_it(said: object, kg: float) -> None:
    assert mass_said(said) == kg


@given(said=st.text())
def test_whatever_is_typed_is_a_mass_that_can_be_or_a_sentence(said: str) -> None:
    try:
        assert 0 <= mass_said(said) <= 200
    except ValueError as error:
        assert str(error) == "Weights are said in kilograms, from 0 to 200, as 12 or 12.5."


@pytest.mark.parametrize(
    ("kg", "pieces", "words"),
    [
        (0, 4, ""),
        (12, 4, "12 kg in 4 pieces, 3 kg each"),
        (10, 3, "10 kg in 3 pieces, 3.33 kg each"),
        (7.5, 1, "7.5 kg in 1 piece"),
    ],
)
def test_the_weights_are_said_in_a_few_words(kg: float, pieces: int, words: str) -> None:
    assert mass_words(kg, pieces) == words


def test_exactly_at_a_limit_nothing_is_said_and_above_it_each_limit_has_its_sentence() -> None:
    assert too_heavy(24, 3, 24, 8) == ()
    assert [line.split(" is ")[0] for line in too_heavy(24.1, 3, 24, 8)] == ["24.1 kg", "A piece of 8.03 kg"]
    assert len(too_heavy(25, 5, 24, 8)) == len(too_heavy(9, 1, 24, 8)) == 1
