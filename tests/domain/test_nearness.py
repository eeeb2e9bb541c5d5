"""One letter wrong in a name: against the distance itself, worked out the slow way, over real plants' names."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.folding import folded, folded_plant
from app.domain.nearness import begins_within_one, is_near, pieces, within_one

# Accepted names of plants in use; any flora has them.
PLANTS = (
    "Geranium sylvaticum", "Geranium robertianum", "Alchemilla glabra", "Alchemilla glaucescens", "Poa annua", "Poa alpina",
    "Carex nigra", "Carex flacca", "Carex viridula subsp. oedocarpa", "Salix repens", "Salix × rubens", "Salix aurita",
    "Quercus robur", "Quercus × rosacea", "Rosa canina", "Rumex acetosa", "Rumex acetosella", "Sorbus aria", "Crepis paludosa",
    "Euphrasia arctica", "Festuca rubra", "Festuca ovina", "Viola riviniana", "Viola reichenbachiana", "Zea mays", "Ilex aquifolium",
    "Calamagrostis arundinacea", "Athyrium filix-femina", "Dryopteris filix-mas", "Bellis perennis", "Isoëtes lacustris",
)  # fmt: skip
WORDS = sorted({word for name in PLANTS for word in folded_plant(name).split()})
# Two letters only, so that words which differ by one slip come often.
SHORT = st.text(st.sampled_from("ab"), max_size=5)


def distance(one: str, other: str) -> int:
    """The optimal string alignment distance: Damerau's slips, no part of a word edited twice (dynamic programme)."""
    table = [[i + j if i * j == 0 else 0 for j in range(len(other) + 1)] for i in range(len(one) + 1)]
    for i in range(1, len(one) + 1):
        for j in range(1, len(other) + 1):
            cost = one[i - 1] != other[j - 1]
            table[i][j] = min(table[i - 1][j] + 1, table[i][j - 1] + 1, table[i - 1][j - 1] + cost)
            if i > 1 and j > 1 and one[i - 1] == other[j - 2] and one[i - 2] == other[j - 1]:
                table[i][j] = min(table[i][j], table[i - 2][j - 2] + 1)
    return table[-1][-1]


@st.composite
def slips(draw: st.DrawFn, words: st.SearchStrategy[str]) -> str:
    """A word with one slip in it, of the four kinds."""
    word, kind = draw(words), draw(st.sampled_from(("other", "missing", "extra", "swapped")))
    at, letter = draw(st.integers(0, len(word) - 1)), draw(st.sampled_from(string.ascii_lowercase))
    if kind == "swapped":
        return word[:at] + word[at + 1 : at + 2] + word[at] + word[at + 2 :]
    return word[:at] + ("" if kind == "missing" else letter) + word[at + (kind != "extra") :]


@given(SHORT, SHORT)
def test_within_one_is_what_the_distance_says(one: str, other: str) -> None:
    assert within_one(one, other) is (distance(one, other) <= 1)


@given(SHORT, SHORT)
def test_words_one_letter_apart_always_have_a_piece_in_common(one: str, other: str) -> None:
    if distance(one, other) <= 1:
        assert pieces(one) & pieces(other)


@given(slips(st.sampled_from(WORDS)))
def test_a_slip_in_a_real_name_is_one_letter_away_from_it(typed: str) -> None:
    near = [word for word in WORDS if within_one(word, typed)]
    assert near == [word for word in WORDS if distance(word, typed) <= 1] and near


@given(st.sampled_from(WORDS), st.data())
def test_a_beginning_with_a_slip_is_near_the_beginning(word: str, data: st.DataObject) -> None:
    begun = word[: data.draw(st.integers(1, len(word)))]
    typed = data.draw(slips(st.just(begun)))
    assert begins_within_one(word, typed)
    assert begins_within_one(word, typed) is any(distance(word[:size], typed) <= 1 for size in range(len(word) + 1))


@pytest.mark.parametrize(
    ("typed", "near"),
    [
        ("geranium sylvatcum", True), ("geranuim sylvaticum", True), ("geraniium sylvaticum", True), ("gerenium syl", True),
        ("geranuim sylvatcum", False), ("sylvatcum geranium", False), ("sylvatcum", True), ("sylvatsc", True), ("sylx", False),
        ("ge", False), ("gx sylvaticum", False), ("geranuim sylvaticum glabrum", False),
    ],
)  # fmt: skip
def test_one_word_of_the_name_may_be_wrong_by_a_letter(typed: str, near: bool) -> None:
    assert is_near("geranium sylvaticum", typed) is near


def test_a_name_of_two_letters_is_doubted_only_beside_another_word() -> None:
    assert is_near("poa annua", "pa annua") and not is_near("poa annua", "pa")


@pytest.mark.parametrize(
    ("written", "key"),
    [("Quercus × rosacea", "quercus rosacea"), ("Quercus x rosacea", "quercus rosacea"), ("Quercus ×rosacea", "quercus rosacea"),
     ("X Cupressocyparis leylandii", "cupressocyparis leylandii"), ("Isoëtes lacustris", "isoetes lacustris"),
     ("Crepis præmorsa", "crepis praemorsa"), ("Athyrium filix-femina", "athyrium filix femina")],
)  # fmt: skip
def test_accents_ligatures_and_both_hybrid_signs_are_folded(written: str, key: str) -> None:
    assert folded_plant(written) == key


def test_a_persons_name_keeps_its_letters() -> None:
    # A worker signs in by this key: it may not become another when plants' names are folded further.
    assert folded("X. Sørensen") == "x sørensen"
