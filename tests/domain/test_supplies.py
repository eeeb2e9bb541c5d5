"""Supplies reckoned: worked by hand, in whatever order it was written down, and how long it lasts."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.house import House
from app.domain.supplies import (
    CAME,
    COUNT,
    KINDS,
    TAKEN,
    UNIT_WORDS,
    UNITS,
    Event,
    Outlook,
    amount_said,
    amount_typed,
    compare,
    is_lent,
    outlook,
    packs_to_order,
    per_use,
    reckon,
    with_unit,
)

DAY0 = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
NOTHING: Callable[[datetime, datetime], Fraction] = lambda after, until: Fraction(0)  # noqa: E731
NONE_LIE: Callable[[datetime], int] = lambda at: 0  # noqa: E731


def day(number: float) -> datetime:
    return DAY0 + timedelta(days=number)


def event(kind: str, on: float, amount: object) -> Event:
    return Event(kind, day(on), Fraction(str(amount)))


def one_a_day(after: datetime, until: datetime) -> Fraction:
    """A log that uses one up at the end of each day."""
    return Fraction((until - DAY0).days - (after - DAY0).days)


def test_reckoned_by_hand() -> None:
    # 40 on day 0; 10 came on day 3, 4 were spoiled on day 5; on day 7 somebody counted 36; 20 came on day 8; it is day 10.
    # By the second count: 36 + 20 - 3 used on days 8, 9 and 10 = 53. What came before that count is in it already.
    events = [event(COUNT, 0, 40), event(CAME, 3, 10), event(TAKEN, 5, 4), event(COUNT, 7, 36), event(CAME, 8, 20)]
    found = reckon(events, day(10), one_a_day, NONE_LIE)
    assert found is not None
    assert (found.counted.amount, found.came, found.taken, found.used, found.on_hand) == (36, 20, 0, 3, 53)
    # Before the second count it was 40 + 10 - 4 - 7 = 39: three fewer were there.
    (beside,) = compare(events, one_a_day, NONE_LIE)
    assert (beside.counted, beside.reckoned, beside.used, beside.gone) == (36, 39, 7, 10)


def test_what_nobody_counted_is_not_known() -> None:
    assert reckon([event(CAME, 1, 100)], day(5), one_a_day, NONE_LIE) is None
    assert reckon([event(COUNT, 6, 3)], day(5), one_a_day, NONE_LIE) is None, "that count is still to come"
    assert compare([event(COUNT, 1, 3)], one_a_day, NONE_LIE) == ()


@pytest.mark.parametrize(("on", "came", "on_hand"), [(2.999, 0, 5), (3, 0, 5), (3.001, 7, 12)])
def test_what_came_at_the_moment_of_a_count_was_counted_with_it(on: float, came: int, on_hand: int) -> None:
    found = reckon([event(COUNT, 3, 5), event(CAME, on, 7)], day(3.5), NOTHING, NONE_LIE)
    assert found is not None and (found.came, found.on_hand) == (came, on_hand)


def test_of_two_counts_at_one_moment_the_smaller_holds() -> None:
    for amounts in ((5, 3), (3, 5)):
        found = reckon([event(COUNT, 1, each) for each in amounts], day(2), NOTHING, NONE_LIE)
        assert found is not None and found.on_hand == 3


def test_more_used_than_there_was_is_said_as_it_is() -> None:
    found = reckon([event(COUNT, 0, 2)], day(5), one_a_day, NONE_LIE)
    assert found is not None and found.on_hand == -3


def test_what_is_used_again_lies_in_the_stacks_or_in_the_cupboard() -> None:
    # On day 0 four lay in the stacks and 30 in the cupboard; one was broken; now nine lie in the stacks: 33 in all, 24 there.
    lying = {day(0): 4, day(6): 9}
    found = reckon([event(COUNT, 0, 30), event(TAKEN, 2, 1)], day(6), NOTHING, lambda at: lying[at])
    assert found is not None and (found.on_hand, found.in_stacks, found.cupboard) == (33, 9, 24)
    # And a count of 22 then is two fewer than 24.
    (beside,) = compare([event(COUNT, 0, 30), event(TAKEN, 2, 1), event(COUNT, 6, 22)], NOTHING, lambda at: lying[at])
    assert (beside.counted, beside.reckoned, beside.gone) == (22, 24, 2)


_EVENTS = st.lists(
    st.builds(
        event, st.sampled_from((COUNT, CAME, TAKEN)), st.integers(0, 12), st.integers(0, 60).map(lambda n: n / 4)
    ),
    max_size=9,
)


@given(_EVENTS, st.randoms(use_true_random=False))
def test_on_hand_never_depends_on_the_order_in_which_things_were_entered(events: list[Event], dice: object) -> None:
    shuffled = list(events)
    dice.shuffle(shuffled)  # type: ignore[attr-defined]
    asked = (day(12), one_a_day, NONE_LIE)
    assert reckon(events, *asked) == reckon(shuffled, *asked)
    assert compare(events, one_a_day, NONE_LIE) == compare(shuffled, one_a_day, NONE_LIE)


@given(_EVENTS)
def test_every_delivery_after_the_last_count_is_there_and_nothing_of_before_it_counts(events: list[Event]) -> None:
    found = reckon(events, day(12), one_a_day, NONE_LIE)
    counts = [each.at for each in events if each.kind == COUNT]
    if found is None:
        assert not counts
        return
    last = max(counts)
    by_hand = min(each.amount for each in events if each.kind == COUNT and each.at == last)
    by_hand += sum(each.amount for each in events if each.kind == CAME and each.at > last)
    by_hand -= sum(each.amount for each in events if each.kind == TAKEN and each.at > last)
    assert found.on_hand == by_hand - one_a_day(last, day(12))


def test_how_long_it_lasts_by_hand() -> None:
    # 112 in eight weeks are 2 a day, 14 a week. 61 last thirty whole days from 25 November: until 25 December; three weeks
    # to come: order by 4 December.
    found = outlook(Fraction(61), Fraction(112), timedelta(weeks=8), 3, date(2026, 11, 25))
    assert found == Outlook(Fraction(14), date(2026, 12, 25), date(2026, 12, 4))


def test_what_lasts_cannot_be_said_of_too_little_and_of_nothing() -> None:
    today = date(2026, 11, 25)
    assert outlook(Fraction(61), Fraction(9), timedelta(days=13.9), 3, today) == Outlook(None, None, None)
    assert outlook(Fraction(61), Fraction(0), timedelta(weeks=8), 3, today) == Outlook(Fraction(0), None, None)
    endless = outlook(Fraction(1_000_000), Fraction(1), timedelta(weeks=8), 3, today)
    assert endless.lasts_until is None and endless.per_week
    empty = outlook(Fraction(-4), Fraction(112), timedelta(weeks=8), 1, today)
    assert (empty.lasts_until, empty.order_by) == (today, date(2026, 11, 18))


@pytest.mark.parametrize(
    ("on_hand", "below", "a_week", "packs"),
    [(100, 50, 14, 4), (414, 50, 14, 0), (413, 50, 14, 1), (49, 50, 0, 1), (50, 50, 0, 0), (-10, 0, 0, 1)],
)  # fmt: skip
def test_an_order_brings_it_to_its_line_in_half_a_year(on_hand: int, below: int, a_week: int, packs: int) -> None:
    # Packs of 100: 50 + 26 weeks of 14 are 414.
    assert packs_to_order(Fraction(on_hand), below, Fraction(a_week), 26, 100) == packs


def test_what_one_use_takes_follows_the_house() -> None:
    house = House(adhesive_g_100=250, strap_cm=15, thread_cm=30, release_again=False)
    takes = {kind: per_use(kind, house) for kind in KINDS}
    assert takes["adhesive"] == Fraction(5, 2) and takes["straps"] == 15 and takes["thread"] == 30
    assert takes["mounting-sheet"] == takes["packet-small"] == takes["release-paper"] == 1
    assert takes["foam"] == takes["board"] == takes["other"] == 0
    again = House(release_again=True)
    assert (
        per_use("release-paper", again) == 0 and is_lent("release-paper", again) and not is_lent("release-paper", house)
    )
    assert [kind for kind in KINDS if is_lent(kind, house)] == ["foam", "board"]


@pytest.mark.parametrize(
    ("typed", "amount"), [("3", 3), (" 2.5 ", Fraction(5, 2)), ("2,125", Fraction(17, 8)), ("0", 0)]
)
def test_amounts_are_read_as_they_are_typed(typed: str, amount: Fraction) -> None:
    assert amount_typed(typed) == amount


@pytest.mark.parametrize("typed", ["", "some", "-1", "1.2345", "1e3", "2.", "1 000", "1000001", "٣"])
def test_what_is_no_amount_is_refused_in_a_sentence(typed: str) -> None:
    with pytest.raises(ValueError, match="Type a number from 0 to 1,000,000"):
        amount_typed(typed)


def test_amounts_are_said_with_their_unit() -> None:
    assert [amount_said(Fraction(each)) for each in ("1240", "2.637", "0")] == ["1,240", "2.6", "0"]
    assert with_unit(Fraction(1), "pot") == "1 pot" and with_unit(Fraction("2.6"), "pot") == "2.6 pots"
    assert with_unit(Fraction("1.04"), "roll") == "1.0 rolls"
    assert set(UNITS) == set(UNIT_WORDS) and {row.unit for row in KINDS.values()} <= set(UNITS)
