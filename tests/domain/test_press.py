"""Time under weight at its edges, and against an independent count."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.house import House
from app.domain.press import Lifting, Span, Stay, minimum_s, ready_at, set_without_weight, spans_of, under_weight

T = datetime(2026, 10, 24, 10, tzinfo=UTC)
H = timedelta(hours=1)


def test_the_clock_starts_when_the_weights_go_on_and_stops_when_they_are_lifted() -> None:
    spans = {1: [Span(T + H, T + 3 * H), Span(T + 4 * H, None)]}
    stays = [Stay(1, T, None)]
    assert under_weight(stays, spans, T + H) == timedelta(0)
    assert under_weight(stays, spans, T + 3 * H) == 2 * H
    assert under_weight(stays, spans, T + 4 * H) == 2 * H
    assert under_weight(stays, spans, T + 5 * H) == 3 * H


def test_ready_at_is_exact_while_the_weights_stay_on_and_not_running_while_they_are_off() -> None:
    stays, minimum = [Stay(1, T, None)], 24 * H
    on = {1: [Span(T + H, T + 3 * H), Span(T + 4 * H, None)]}
    assert ready_at(minimum, stays, on, T + 5 * H) == T + 26 * H
    off = {1: [Span(T + H, T + 3 * H)]}
    assert ready_at(minimum, stays, off, T + 5 * H) is None
    assert ready_at(2 * H, stays, off, T + 5 * H) == T + 3 * H


def test_an_hour_under_weight_is_an_hour_in_the_night_the_clocks_go_back() -> None:
    # Europe/London, 25 October 2026: noon to noon is 25 hours (tzdata; the rule is published by nidirect.gov.uk).
    london = ZoneInfo("Europe/London")
    start, end = datetime(2026, 10, 24, 12, tzinfo=london), datetime(2026, 10, 25, 12, tzinfo=london)
    begin, close = start.astimezone(UTC), end.astimezone(UTC)
    assert under_weight([Stay(1, begin, None)], {1: [Span(begin, None)]}, close) == 25 * H
    assert end - start == 24 * H, "the trap: two moments of one zone subtract as wall-clock time"


def test_time_earned_in_one_stack_is_taken_along_to_another() -> None:
    stays = [Stay(1, T, T + 10 * H), Stay(2, T + 11 * H, None)]
    spans = {1: [Span(T, None)], 2: [Span(T + 12 * H, None)]}
    assert under_weight(stays, spans, T + 26 * H) == 24 * H
    assert ready_at(24 * H, stays, spans, T + 20 * H) == T + 26 * H


@pytest.mark.parametrize(
    ("class_", "bulk", "hours"),
    [("pva", "ordinary", 24), ("eva", "thin", 24), ("starch-paste", "ordinary", 48), ("methyl-cellulose", "ordinary", 48),
     ("straps", "ordinary", 2), ("spot", "ordinary", 2), ("pva", "bulky", 48), ("starch-paste", "bulky", 72),
     (None, "ordinary", 48), ("unheard of", "bulky", 72)],
)  # fmt: skip
def test_the_minimum_follows_adhesive_and_bulk_and_an_unknown_adhesive_takes_the_longest(
    class_: str, bulk: str, hours: int
) -> None:
    # A day for PVA within 24 hours as published (University of Vermont course notes; "most glues within 24 hours"); two for
    # pastes and methyl cellulose a cautious reading; straps, spots and the addition for bulk: common practice, no source.
    assert minimum_s(House(), class_, bulk) == hours * 3600


@pytest.mark.parametrize(("over_s", "marked"), [(-1, False), (0, False), (1, True)])
def test_two_hours_without_weight_before_half_its_time_mark_a_sheet(over_s: int, marked: bool) -> None:
    gap = 2 * H + timedelta(seconds=over_s)
    spans = {1: [Span(T, T + 5 * H), Span(T + 5 * H + gap, None)]}
    assert set_without_weight(24 * H, 2 * H, [Stay(1, T, None)], spans, T + 40 * H) is marked


def test_a_gap_after_half_its_time_marks_nothing_and_one_at_the_start_does() -> None:
    late = {1: [Span(T, T + 12 * H), Span(T + 20 * H, None)]}
    assert not set_without_weight(24 * H, 2 * H, [Stay(1, T, None)], late, T + 40 * H)
    first = {1: [Span(T + 3 * H, None)]}
    assert set_without_weight(24 * H, 2 * H, [Stay(1, T, None)], first, T + 40 * H)


def test_weights_put_on_twice_or_lifted_twice_change_nothing_the_second_time() -> None:
    told = [Lifting(T, 1, True), Lifting(T + H, 2, True), Lifting(T + 2 * H, 3, False), Lifting(T + 3 * H, 4, False)]
    assert spans_of(told) == [Span(T, T + 2 * H)]
    assert spans_of(reversed(told)) == [Span(T, T + 2 * H)]


minutes = st.integers(0, 400)


@given(
    st.lists(st.tuples(minutes, st.booleans()), max_size=12), st.lists(st.tuples(minutes, minutes), max_size=3), minutes
)
def test_under_weight_is_what_a_count_minute_by_minute_says(
    told: list[tuple[int, bool]], lain: list[tuple[int, int]], now: int
) -> None:
    minute = timedelta(minutes=1)
    liftings = [Lifting(T + at * minute, number, on) for number, (at, on) in enumerate(told)]
    stays = _one_after_another(lain)
    counted = sum(_is_on(told, at) and any(a <= at < b for a, b in stays) for at in range(now))
    given_stays = [Stay(1, T + a * minute, T + b * minute) for a, b in stays]
    assert under_weight(given_stays, {1: spans_of(liftings)}, T + now * minute) == counted * minute


def _one_after_another(lain: list[tuple[int, int]]) -> list[tuple[int, int]]:
    stays, since = [], 0
    for skip, length in lain:
        stays.append((since + skip, since + skip + length))
        since += skip + length
    return stays


def _is_on(told: list[tuple[int, bool]], at: int) -> bool:
    past = sorted((when, number, on) for number, (when, on) in enumerate(told) if when <= at)
    return bool(past) and past[-1][2]
