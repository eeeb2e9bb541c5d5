"""Somebody's name in a text: found as a word, in any spelling, and put out of it whole."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.names_in_text import mention_of, without_name


@pytest.mark.parametrize(
    ("name", "text", "found"),
    [
        ("Piet Lindqvist", "Piet Lindqvist glued it crooked", "name"),
        ("Piet Lindqvist", "PIET  lindqvist's table", "name"),
        ("Piet Lindqvist", "asked piet", "part"),
        ("Piet Lindqvist", "Lindqvist’s badge", "part"),
        ("Piet Lindqvist", "Pietra's sheet", ""),
        ("Piet Lindqvist", "the pietist", ""),
        ("Piet Lindqvist", "", ""),
        ("Jörg Ångström", "Jorg Angstrom said so", "name"),
        ("Jörg Ångström", unicodedata.normalize("NFD", "gave it to Jörg"), "part"),
        (unicodedata.normalize("NFD", "Jörg"), "gave it to Jörg", "name"),
        ("Al Bo", "al did it", "part"),
        ("Jan van Dyk", "it came in the van", ""),  # a particle is no name by itself
        ("Jan van Dyk", "van dyk said so", "part"),
        ("J. Brackwater", "J. and the others", ""),
        ("Al Bo", "al bo did it", "name"),
        ("A. (Tom) O'Hara", "o'hara", "part"),
        ("C++", "C++ was here", "name"),
        ("李小龙", "李小龙 was here", "name"),
    ],
)
def test_a_name_is_found_as_a_word(name: str, text: str, found: str) -> None:
    assert mention_of(name, text) == found


@pytest.mark.parametrize(
    ("name", "text", "after"),
    [
        ("Piet Lindqvist", "Piet Lindqvist glued it; ask Piet's trainer", "W03 glued it; ask W03's trainer"),
        ("Piet Lindqvist", "Pietra did not", "Pietra did not"),
        ("Ann-Marie Ann", "Ann-Marie and Ann", "W03 and W03"),
        ("Jörg Ångström", "JÖRG ANGSTROM", "W03"),
        ("Piet Lindqvist", r"\1 Piet \g<0>", r"\1 W03 \g<0>"),
    ],
)
def test_a_name_is_put_out_of_a_text(name: str, text: str, after: str) -> None:
    assert without_name(name, text, "W03") == after


def test_what_is_put_in_is_taken_as_it_is() -> None:
    assert without_name("Piet", "Piet", r"\1\g<0>") == r"\1\g<0>"


@given(st.text(min_size=1, max_size=12).filter(str.strip), st.text(max_size=30), st.text(max_size=30))
def test_whatever_the_name_nothing_of_it_is_found_afterwards(name: str, before: str, after: str) -> None:
    text = f"{before} {' '.join(name.split())} {after}"
    assert mention_of(name, text) == "name"
    assert mention_of(name, without_name(name, text, "7")) == "" or mention_of(name, "7") != ""
