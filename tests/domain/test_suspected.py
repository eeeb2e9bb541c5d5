"""Which sheets start as suspected of old poisons, at the edge of the house's year."""

from __future__ import annotations

import pytest

from app.domain.suspected import why_suspected


@pytest.mark.parametrize(
    ("date", "why"),
    [
        # Mercury went out of use in the mid-1980s at the Smithsonian (Collection Forum 30(1-2): 51, 2016): before 1985.
        ("1984-12-31", "collected 1984, before 1985"),
        ("1985-01-01", ""),
        ("1985", ""),
        ("1932/1990", "collected 1932, before 1985"),
        ("12 May 1871", "collected 1871, before 1985"),
        ("no. 19325, 2003", ""),
        ("May", ""),
        ("", ""),
        (None, ""),
    ],
)
def test_by_the_year_on_its_label(date: str | None, why: str) -> None:
    assert why_suspected("fieldwork", date, 1985) == why


@pytest.mark.parametrize("kind", ["bequest", "backlog"])
def test_by_how_it_came_whatever_its_year(kind: str) -> None:
    assert why_suspected(kind, "2024-05-01", 1985) and why_suspected(kind, None, 1985)


@pytest.mark.parametrize("kind", [None, "fieldwork", "exchange", "gift"])
def test_what_came_otherwise_is_not_unless_it_was_found_without_a_number(kind: str | None) -> None:
    assert why_suspected(kind, "2024", 1985) == ""
    assert why_suspected(kind, "2024", 1985, found=True) == "found without a number"
