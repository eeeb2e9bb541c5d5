"""Public holidays against published lists, and what a manager may ask for."""

from __future__ import annotations

import subprocess
import sys
from datetime import date

import pytest

from app.services.holidays_of import Land, countries, parts_of, place_words, public_holidays


def days_of(country: str, part: str, first_year: int, years: int = 1) -> set[str]:
    return {each.day.isoformat() for each in public_holidays(country, part, first_year, years)}


def test_northern_ireland_2023() -> None:
    # Newspaper list of the bank holidays of 2023, January 2023: 2 January is the substitute, 8 May the coronation.
    assert {day for day in days_of("GB", "NIR", 2023) if date.fromisoformat(day).weekday() < 5} == {
        *("2023-01-02", "2023-03-17", "2023-04-07", "2023-04-10", "2023-05-01", "2023-05-08"),
        *("2023-05-29", "2023-07-12", "2023-08-28", "2023-12-25", "2023-12-26"),
    }


def test_the_united_kingdom_2022() -> None:
    for part in ("ENG", "WLS", "SCT", "NIR"):
        found = days_of("GB", part, 2022)
        # Newspaper lists: the spring holiday was moved to 2 June, with 3 June beside it; Christmas was a Sunday.
        assert "2022-05-30" not in found and {"2022-06-02", "2022-06-03", "2022-12-26", "2022-12-27"} <= found, part
        assert "2022-09-19" in found, part  # the state funeral, from memory


def test_the_united_states_where_a_holiday_falls_on_a_weekend() -> None:
    # 5 U.S.C. 6103, as quoted by the US Courts: Saturday's is kept on the Friday before, Sunday's on the Monday after.
    observed = {"2021-06-18", "2021-07-05", "2021-12-24", "2021-12-31", "2022-06-20", "2022-12-26"}
    assert observed <= days_of("US", "", 2021, 2)


def test_new_year_kept_on_the_last_day_of_the_year_before_is_in_the_list_of_either() -> None:
    assert "2021-12-31" in days_of("US", "", 2021) and "2021-12-31" in days_of("US", "", 2022)


def test_a_list_has_its_own_years_and_is_in_order() -> None:
    days = [each.day for each in public_holidays("GB", "ENG", 2026, 2)]
    assert days == sorted(days) and {day.year for day in days} == {2026, 2027}


def test_names_are_english_wherever_the_computer_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LANGUAGE", "uk")  # gettext follows it where no language is asked for
    named = {each.day: each.name for each in public_holidays("DE", "BY", 2026, 1)}
    assert named[date(2026, 1, 1)] == "New Year's Day" and named[date(2026, 6, 4)] == "Corpus Christi"  # from memory


def test_countries_go_by_their_codes_and_names() -> None:
    found = countries()
    assert Land("GB", "United Kingdom") in found and Land("TT", "Trinidad and Tobago") in found
    assert all(len(land.code) == 2 and land.code.isupper() for land in found)  # ISO 3166-1 alpha-2
    assert len({land.code for land in found}) == len(found) > 200
    assert [land.name for land in found] == sorted(land.name for land in found)


def test_every_country_and_its_parts_can_be_asked_for() -> None:
    for land in countries():
        for part in ("", *(each.code for each in parts_of(land.code)[:1])):
            assert all(each.name for each in public_holidays(land.code, part, 2026, 1)), land


def test_a_part_has_its_own_holidays_and_its_name() -> None:
    assert Land("NIR", "Northern Ireland") in parts_of("GB") and parts_of("IS") == ()
    assert "2026-07-13" in days_of("GB", "NIR", 2026) - days_of("GB", "ENG", 2026)  # 12 July 2026 is a Sunday
    assert place_words("GB", "NIR") == "Northern Ireland, United Kingdom" and place_words("IS", "") == "Iceland"


@pytest.mark.parametrize(
    ("country", "part", "years", "said"),
    [
        ("XX", "", 1, "There is no country XX"),
        ("GB", "XX", 1, "GB has no part called XX"),
        ("GB", "", 0, "Ask for 1 to 3 years"),
        ("GB", "", 4, "Ask for 1 to 3 years"),
    ],
)
def test_what_nobody_can_know_is_refused(country: str, part: str, years: int, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        public_holidays(country, part, 2026, years)


def test_the_package_is_not_loaded_until_somebody_asks() -> None:
    # In a process of its own, as a room starts: this one has asked already.
    code = """
import sys
import app.web.assembly, app.services.holidays_of as mine
assert "holidays" not in sys.modules
mine.parts_of("GB")
assert "holidays" in sys.modules
"""
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
