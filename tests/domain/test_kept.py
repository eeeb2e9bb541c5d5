"""What may be told late: the deeds that stay true, the minute in which somebody still stands there, and the bounds of a time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.kept import bounds_of, told_too_late
from app.domain.press import Lifting, Span, spans_of
from app.domain.stages import Step

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
SECOND = timedelta(seconds=1)
# Written down by hand from the design, section 4; a count only says what somebody saw.
SAFE = {"take-up", "mount", "put-under-weight", "weights-on", "weights-off", "count"}


@pytest.mark.parametrize("step", Step)
def test_only_what_stays_true_may_be_told_an_hour_late(step: Step) -> None:
    refusal = told_too_late(step, NOON - HOUR, NOON)
    assert (refusal is None) is (step.value in SAFE)
    if refusal is not None:
        assert (refusal.code, refusal.answer, refusal.facts["scanned"]) == ("too-old", "not-yet", NOON - HOUR)


@pytest.mark.parametrize(("seconds", "may"), [(0, True), (59, True), (60, True), (61, False)])
def test_within_a_minute_everything_may(seconds: int, may: bool) -> None:
    assert (told_too_late(Step.TAKE_OUT, NOON - seconds * SECOND, NOON) is None) is may


@pytest.mark.parametrize(
    ("told", "not_before", "clear", "bounds"),
    [
        (10, None, 9, (10, 10)),
        (10, None, 10, (10, 10)),
        (10, None, 11, None),  # a station that had nothing to send then cannot have made it before
        (10, None, None, None),  # nothing is believed of one that was never heard of
        (12, 10, 9, (10, 12)),
        (12, 8, 9, (9, 12)),  # no earlier than its last word that it held nothing
        (12, 8, 12, (12, 12)),
        (12, 10, 13, None),
        (10, 12, 9, (10, 10)),  # bounds the wrong way round are one moment, not a negative time
    ],
)
def test_bounds_by_hand(told: int, not_before: int | None, clear: int | None, bounds: tuple[int, int] | None) -> None:
    def at(hour: int | None) -> datetime | None:
        return None if hour is None else NOON.replace(hour=hour)

    found = bounds_of(NOON.replace(hour=told), at(not_before), at(clear))
    assert found == (None if bounds is None else (at(bounds[0]), at(bounds[1])))


@given(told=st.integers(0, 600), not_before=st.none() | st.integers(-900, 900), clear=st.integers(-900, 900))
def test_bounds_never_lie_before_the_last_clear_word_nor_after_what_was_told(
    told: int, not_before: int | None, clear: int
) -> None:
    def at(minutes: int) -> datetime:
        return NOON + timedelta(minutes=minutes)

    found = bounds_of(at(told), None if not_before is None else at(not_before), at(clear))
    if found is None:
        assert told < clear
        return
    earliest, latest = found
    assert at(clear) <= earliest <= latest == at(told)
    # No time that was possible is left out: of an uncertain one, everything from the later of its bound and the clear word on.
    if not_before is not None and not_before <= told:
        assert earliest == max(at(not_before), at(clear))


def test_weights_that_came_off_at_an_uncertain_time_weigh_only_until_the_earliest() -> None:
    off = Lifting(NOON, 2, False, counts_until=NOON - 2 * HOUR)
    assert spans_of([Lifting(NOON - 5 * HOUR, 1, True), off]) == [Span(NOON - 5 * HOUR, NOON - 2 * HOUR)]
    # Not before they went on.
    assert spans_of([Lifting(NOON - HOUR, 1, True), off]) == [Span(NOON - HOUR, NOON - HOUR)]
    # What somebody else saw since then weighs nothing either: nobody knows that it was before.
    seen = [Lifting(NOON - 5 * HOUR, 1, True), Lifting(NOON - HOUR, 3, False), off]
    assert spans_of(seen) == [Span(NOON - 5 * HOUR, NOON - 2 * HOUR)]
    assert spans_of([*seen, Lifting(NOON + HOUR, 4, True)])[1:] == [Span(NOON + HOUR, None)]
