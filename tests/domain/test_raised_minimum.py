"""Which sheets a raised time under weight asks more of, and how much."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.house import RULES, House
from app.domain.house_words import MORE
from app.domain.press import ADHESIVE_CLASSES, BULKS, MINIMUM_RULES, minimum_s, raised_minimum_s

HOUR = 3600
OLD = House()  # PVA 24, pastes 48, straps 2, bulky 24 more: the defaults of the house


# Worked by hand from the defaults above.
@pytest.mark.parametrize(
    ("name", "hours", "class_", "bulk", "lies_for", "asks"),
    [
        ("press_pva_h", 30, "pva", "ordinary", 24, 30),
        ("press_pva_h", 30, "eva", "bulky", 48, 54),
        ("press_pva_h", 30, "starch-paste", "ordinary", 48, None),
        ("press_pva_h", 20, "pva", "ordinary", 24, None),
        ("press_pva_h", 24, "pva", "ordinary", 24, None),
        # It has a longer one already, from before.
        ("press_pva_h", 30, "pva", "ordinary", 36, None),
        # Nobody knows the adhesive: the longest counts, and that is still that of the pastes.
        ("press_pva_h", 47, None, "ordinary", 48, None),
        ("press_pva_h", 72, None, "ordinary", 48, 72),
        ("press_bulky_add_h", 36, "pva", "bulky", 48, 60),
        ("press_bulky_add_h", 36, "pva", "thin", 24, None),
    ],
)
def test_a_raised_rule_asks_more_of_the_sheets_it_decides_on(
    name: str, hours: int, class_: str | None, bulk: str, lies_for: int, asks: int | None
) -> None:
    now = replace(OLD, **{name: hours})
    expected = None if asks is None else asks * HOUR
    assert raised_minimum_s(name, OLD, now, class_, bulk, lies_for * HOUR) == expected


def test_what_another_rule_raised_is_asked_on_the_page_of_that_rule() -> None:
    then, now = OLD, replace(OLD, press_bulky_add_h=48, press_pva_h=20)
    assert raised_minimum_s("press_pva_h", then, now, "pva", "bulky", 48 * HOUR) is None
    assert raised_minimum_s("press_bulky_add_h", then, now, "pva", "bulky", 48 * HOUR) == 68 * HOUR


@st.composite
def houses(draw: st.DrawFn) -> House:
    return replace(OLD, **{name: draw(st.integers(RULES[name].low, RULES[name].high)) for name in MINIMUM_RULES})


@given(st.sampled_from(MINIMUM_RULES), houses(), houses(), st.sampled_from((*ADHESIVE_CLASSES, None)), st.sampled_from(BULKS),
       st.integers(0, 700 * HOUR))  # fmt: skip
def test_it_is_only_ever_longer_and_by_one_version_of_the_rules(
    name: str, then: House, now: House, class_: str | None, bulk: str, lies_for_s: int
) -> None:
    asks = raised_minimum_s(name, then, now, class_, bulk, lies_for_s)
    if asks is not None:
        assert asks > lies_for_s and asks == minimum_s(now, class_, bulk) and getattr(now, name) > getattr(then, name)


def test_the_rules_that_ask_are_those_of_time_under_weight() -> None:
    assert set(MINIMUM_RULES) == {"press_pva_h", "press_paste_h", "press_methyl_h", "press_straps_h", "press_spot_h",
                                  "press_bulky_add_h"}  # fmt: skip


def test_what_is_said_more_of_a_rule_is_said_of_one_that_there_is() -> None:
    assert set(MORE) <= set(RULES) and all(words.endswith(".") for words in MORE.values())
