"""What is due in the drying room, and what a dryer's thermometer means."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.calendar import Calendar
from app.domain.drying import (
    SIGNS,
    celsius_typed,
    feel_again_at,
    papers_due,
    pressed_moment,
    usual_from,
    warmth,
)
from app.domain.house import House
from app.domain.limits import limit_of
from app.domain.stages import Stage
from app.domain.stalls import is_stalled

HOUSE = House()
LONDON = ZoneInfo("Europe/London")
FRIDAY = datetime(2026, 11, 27, 15, 0, tzinfo=UTC)


@pytest.mark.parametrize("text, degrees", [("41", 41.0), (" 41.5 ", 41.5), ("41,5", 41.5), ("42 °C", 42.0), ("42C", 42.0), ("−2", -2.0),
                                           ("120", 120.0), ("-10", -10.0)])  # fmt: skip
def test_a_temperature_is_read_as_people_type_it(text: str, degrees: float) -> None:
    assert celsius_typed(text) == degrees


@pytest.mark.parametrize(
    "text", ["", "warm", "41 F", "105 °F", "4 1", "41.555", "121", "-11", "nan", "1e2", "٤١", "41;2"]
)
def test_what_is_no_temperature_is_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(ValueError, match=r"^Type degrees Celsius, from −10 to 120"):
        celsius_typed(text)


# University of British Columbia, "Drying a specimen": herbarium dryers at 35 to 45 °C. Hill, National Herbarium of NSW,
# Taxacom, 2 Nov 1994: around 50 °C many proteins are denatured and waxy blooms are damaged.
@pytest.mark.parametrize("degrees, state", [(34.9, "cool"), (35.0, "right"), (40.0, "right"), (45.0, "right"), (45.1, "warm"),
                                            (50.0, "warm"), (50.1, "hot"), (80.0, "hot")])  # fmt: skip
def test_a_dryer_is_judged_by_the_published_figures(degrees: float, state: str) -> None:
    assert warmth(degrees, HOUSE).state == state


def test_virginia_techs_cabinet_is_as_it_should_be() -> None:
    # Virginia Tech herbarium page: a cabinet with heater and fan at 105 to 110 F.
    assert {warmth((fahrenheit - 32) / 1.8, HOUSE).state for fahrenheit in (105, 110)} == {"right"}


def test_the_house_sets_its_own_figures() -> None:
    own = replace(HOUSE, dry_cool_c=20, dry_warm_c=30, dry_hot_c=32)
    assert [warmth(each, own).state for each in (19, 25, 31, 33)] == ["cool", "right", "warm", "hot"]


def test_what_is_too_hot_says_what_to_do_and_what_is_right_asks_nothing() -> None:
    assert "off" in warmth(70, HOUSE).do and warmth(40, HOUSE).do == ""


def test_papers_are_due_over_closed_days_too() -> None:
    # Changed on a Friday in a room that is closed at the weekend: without heat they are due on the Saturday.
    assert papers_due(FRIDAY, "unheated", HOUSE) == FRIDAY + timedelta(days=1)
    assert papers_due(FRIDAY, "heated", HOUSE) == FRIDAY + timedelta(days=2)
    assert papers_due(FRIDAY, None, HOUSE) == FRIDAY + timedelta(days=1)


@given(method=st.sampled_from(["heated", "unheated", None]), hours=st.integers(0, 200))
def test_papers_are_due_when_the_board_counts_them_as_late(method: str | None, hours: int) -> None:
    now = FRIDAY + timedelta(hours=hours)
    limit = limit_of(Stage.DRYING, HOUSE, method=method)
    assert limit is not None
    calendar = Calendar(LONDON, frozenset(range(5)))
    late = is_stalled(limit, FRIDAY, now, calendar)
    due = papers_due(FRIDAY, method, HOUSE)
    assert late == (due < now) or due == now


def test_the_usual_time_counts_from_when_it_was_pressed() -> None:
    assert usual_from(FRIDAY, "heated", HOUSE) - FRIDAY == timedelta(days=3)
    assert usual_from(FRIDAY, "unheated", HOUSE) - FRIDAY == timedelta(days=7)


def test_what_is_damp_is_felt_again_with_its_next_papers() -> None:
    assert feel_again_at(FRIDAY, "heated", HOUSE) == papers_due(FRIDAY, "heated", HOUSE)


def test_the_day_of_pressing_stands_for_its_noon_and_never_for_a_moment_to_come() -> None:
    assert pressed_moment(date(2026, 7, 3), LONDON, datetime(2026, 7, 9, tzinfo=UTC)) == datetime(
        2026, 7, 3, 11, tzinfo=UTC
    )
    early = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
    assert pressed_moment(date(2026, 11, 27), LONDON, early) == early


@pytest.mark.parametrize("day, words", [(date(2026, 11, 28), "still to come"), (date(2026, 8, 1), "too long ago")])
def test_a_day_on_which_nothing_fresh_was_pressed_is_refused(day: date, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        pressed_moment(day, LONDON, FRIDAY)


def test_the_day_is_the_rooms_own() -> None:
    late_evening = datetime(2026, 11, 27, 23, 30, tzinfo=UTC)
    auckland = ZoneInfo("Pacific/Auckland")
    assert pressed_moment(date(2026, 11, 28), auckland, late_evening) == datetime(2026, 11, 27, 23, 0, tzinfo=UTC)
    with pytest.raises(ValueError, match="still to come"):
        pressed_moment(date(2026, 11, 28), LONDON, late_evening)


def test_each_sign_is_said_both_ways() -> None:
    assert [sign.name for sign in SIGNS] == ["stiff", "cool", "droop"]
    assert all(sign.dry and sign.damp and sign.dry != sign.damp for sign in SIGNS)
