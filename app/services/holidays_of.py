"""Public holidays by country, part of a country and year, as the package `holidays` has them. Nothing is written here.

The package is only loaded when somebody asks: the room starts and works without it in memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from app.domain.language import say

MOST_YEARS = 3
_SMALL_WORDS = frozenset({"and", "of", "the"})


@dataclass(frozen=True, slots=True)
class Land:
    """A country, or a part of one that has holidays of its own, by its code."""

    code: str
    name: str


@dataclass(frozen=True, slots=True)
class Holiday:
    """One public holiday: the date, and its name, in English where the package has it."""

    day: date
    name: str


def countries() -> tuple[Land, ...]:
    """Every country that the package knows, by its ISO 3166-1 code, in the order of their names."""
    from holidays.registry import COUNTRIES

    return tuple(sorted((Land(codes[1], _name(key)) for key, codes in COUNTRIES.items()), key=lambda land: land.name))


def parts_of(country: str) -> tuple[Land, ...]:
    """The parts of this country that have holidays of their own, by name; none for most. ValueError if unknown."""
    from holidays import country_holidays

    known: dict[str, str] = {}
    found = country_holidays(_known(country))
    for name, code in found.subdivisions_aliases.items():
        known.setdefault(code, name)
    return tuple(sorted((Land(code, known.get(code, code)) for code in found.subdivisions), key=lambda part: part.name))


def public_holidays(country: str, part: str, first_year: int, years: int) -> tuple[Holiday, ...]:
    """The public holidays of these years in order; `part` is empty for what the whole country keeps.

    A holiday that is kept on the last day of the year before belongs to the list (5 U.S.C. 6103 does that when New
    Year's Day is a Saturday). ValueError for a country or part that is not known, or for years other than 1 to 3.
    """
    from holidays import country_holidays

    if not 1 <= years <= MOST_YEARS:
        raise ValueError(say("Ask for 1 to {most} years.", most=MOST_YEARS))
    if part and part not in {each.code for each in parts_of(country)}:
        raise ValueError(say("{country} has no part called {part} here.", country=country, part=part))
    # The years around it too: what falls on a weekend may be kept in the year before, or in the year after.
    asked = range(first_year - 1, first_year + years + 1)
    found = country_holidays(_known(country), subdiv=part or None, years=asked, language=_english(country))
    first, last = date(first_year - 1, 12, 31), date(first_year + years - 1, 12, 31)
    return tuple(Holiday(day, name) for day, name in sorted(found.items()) if first <= day <= last)


def place_words(country: str, part: str) -> str:
    """How a country, or a part of it, is called: "Northern Ireland, United Kingdom". ValueError if unknown."""
    name = next((land.name for land in countries() if land.code == country), None)
    if name is None:
        raise ValueError(say("There is no country {country} here.", country=country))
    own = next((each.name for each in parts_of(country) if each.code == part), "")
    return f"{own}, {name}" if own else name


def _known(country: str) -> str:
    if country not in {land.code for land in countries()}:
        raise ValueError(say("There is no country {country} here.", country=country))
    return country


def _english(country: str) -> str | None:
    """English as the country writes it, else any English; None where the package has only other languages, or one."""
    from holidays import country_holidays

    found = country_holidays(country)
    ways = [found.default_language or "", *found.supported_languages]
    return next((way for way in ways if way.startswith("en")), None)


def _name(key: str) -> str:
    return " ".join(word if word in _SMALL_WORDS else word.capitalize() for word in key.split("_"))
