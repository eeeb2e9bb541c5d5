"""A changed pace: what is drawn from, against hand-worked and published examples and against going through every run."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.changed_pace import Change, press_pace, repeated, scaled, without
from app.domain.forecast import Days, Extra, Spell, days_needed

COUNTS = st.lists(st.integers(0, 4), min_size=1, max_size=4)


@given(COUNTS, st.fractions(0, 3, max_denominator=6))
def test_days_with_so_many_times_the_work_keep_their_average_to_the_last_place(
    seen: list[int], factor: Fraction
) -> None:
    days = Days.of(seen)
    more = scaled(days, factor)
    assert more.mean == factor * days.mean
    possible = {each for sheets in seen for each in (int(sheets * factor), -int(-sheets * factor // 1))}
    assert {sheets for sheets, _ in more.seen} <= possible


@given(COUNTS, st.integers(1, 3))
def test_afternoons_together_are_every_run_of_them(seen: list[int], times: int) -> None:
    assert repeated(Days.of(seen), times) == Days.of(sum(run) for run in product(seen, repeat=times))


@given(COUNTS, COUNTS, st.integers(0, 4), st.integers(1, 8), st.sampled_from((0.5, 0.85, 0.95)),
       st.one_of(st.none(), st.tuples(COUNTS, st.integers(1, 3))))  # fmt: skip
def test_a_first_spell_is_what_going_through_every_run_gives(
    seen: list[int], away: list[int], number: int, backlog: int, sure: float, more: tuple[list[int], int] | None
) -> None:
    extra = Extra(Days.of(more[0]), more[1]) if more else None
    first = Spell(Days.of(away), number)
    (found,) = days_needed(Days.of(seen), backlog, (sure,), 6, extra, first)
    assert found == by_hand(seen, away, number, backlog, sure, more)


def by_hand(seen: list[int], away: list[int], number: int, backlog: int, sure: float,
            more: tuple[list[int], int] | None) -> int | None:  # fmt: skip
    """The first day by whose end the backlog is done with this certainty, by adding up chances one day after the other."""
    done = {0: Fraction(1)}
    for day in range(1, 7):
        done = add(done, away if day <= number else seen)
        # Somebody more comes on each so-many-th day, counted anew after the spell.
        after = day if day <= number else day - number
        if more and after % more[1] == 0:
            done = add(done, more[0])
        if sum(chance for sheets, chance in done.items() if sheets >= backlog) >= Fraction(str(sure)):
            return day
    return None


def add(done: dict[int, Fraction], counts: list[int]) -> dict[int, Fraction]:
    both: dict[int, Fraction] = {}
    for sheets, chance in done.items():
        for count in counts:
            both[sheets + count] = both.get(sheets + count, Fraction(0)) + chance / len(counts)
    return both


def test_somebody_away_for_two_weeks_by_hand() -> None:
    # 4 a day in all, 3 of them by who goes away for 10 days: 10 x 1 + 4 a day; 30 are done after 10 + 5 days.
    assert days_needed(Days.of([4]), 30, (0.95,), first=Spell(Days.of([1]), 10)) == (15,)
    assert days_needed(Days.of([4]), 8, (0.95,), first=Spell(Days.of([1]), 10)) == (8,)
    assert days_needed(Days.of([4]), 30, (0.95,), first=Spell(Days.of([0]), 100)) == (108,)


def test_the_part_of_a_worker_is_taken_off_day_by_day() -> None:
    assert without((120, 60, 0), (60, 60, 0)) == (60, 0, 0)
    assert without((60,), (90,)) == (0,)


def test_a_press_takes_what_littles_law_says() -> None:
    # Little & Graves, ch. 5 of Building Intuition (Springer 2008): 160 bottles, 8 bought a month, lie there for 20 months.
    # Read with places for bottles and days for months: 160 places with stays of 20 days take 8 a day.
    pace = press_pace(160, 0, 20 * 24, Fraction(8), Fraction(8), Fraction(1))
    assert pace.takes == pace.would == 8


def test_a_bigger_press_helps_only_where_the_press_holds_back() -> None:
    # 40 places, 48 hours each, open five days of seven: 40 / (2 x 5/7) = 28 an open day; with 20 more 42.
    full = press_pace(40, 20, 48, Fraction(26), Fraction(35), Fraction(5, 7))
    assert (full.takes, full.would, full.holds_back, full.factor) == (28, 42, True, Fraction(35, 26))
    half_empty = press_pace(40, 20, 48, Fraction(12), Fraction(12), Fraction(5, 7))
    assert (half_empty.holds_back, half_empty.factor) == (False, 1)
    still_short = press_pace(40, 2, 48, Fraction(28), Fraction(90), Fraction(5, 7))
    assert still_short.factor == still_short.would / 28


@pytest.mark.parametrize("wrong", [0, -1])
def test_what_cannot_be_is_refused(wrong: int) -> None:
    with pytest.raises(ValueError, match="cannot be"):
        press_pace(10, 0, wrong, Fraction(1), Fraction(1), Fraction(1))
    with pytest.raises(ValueError, match="cannot be put together"):
        repeated(Days.of([1]), wrong)
    with pytest.raises(ValueError, match="cannot be done"):
        scaled(Days.of([1]), Fraction(-1))
    with pytest.raises(ValueError, match="cannot be"):
        Spell(Days.of([1]), -1)


def test_nothing_asked_is_no_change() -> None:
    assert not Change() and Change(away=3) and Change(afternoons=1) and Change(places=1)
