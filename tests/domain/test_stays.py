"""The buckets in which stays are counted."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.stays import dwell_bucket_h

HOUR, DAY = 3600, 86_400


@pytest.mark.parametrize(
    ("seconds", "bucket"),
    [
        (0, 0),
        (HOUR - 1, 0),
        (HOUR, 1),
        (HOUR + 1, 1),
        (DAY - 1, 23),
        (DAY, 24),
        (DAY + HOUR, 25),
        (14 * DAY - HOUR - 1, 334),
        (14 * DAY - HOUR, 335),
        (14 * DAY - 1, 335),
        (14 * DAY - 0.5, 335),
        (14 * DAY, 336),
        (14 * DAY + 1, 336),
        (14 * DAY + HOUR, 336),
        (15 * DAY - 1, 336),
        (15 * DAY, 360),
        (15 * DAY + 1, 360),
        (3650 * DAY, 87_600),
    ],
)
def test_a_stay_falls_in_its_hour_below_14_days_and_in_its_day_from_there(seconds: float, bucket: int) -> None:
    assert dwell_bucket_h(seconds) == bucket


@given(st.integers(0, 40_000 * DAY))
def test_a_bucket_begins_at_or_before_the_stay_and_ends_after_it(seconds: int) -> None:
    bucket = dwell_bucket_h(seconds)
    width = 1 if bucket < 336 else 24
    assert bucket * HOUR <= seconds < (bucket + width) * HOUR
    assert bucket % width == 0


@pytest.mark.parametrize("seconds", [-1, -1e-9, math.nan, math.inf])
def test_a_stay_that_cannot_be_is_refused(seconds: float) -> None:
    with pytest.raises(ValueError, match="Give the seconds from coming to leaving, 0 or more"):
        dwell_bucket_h(seconds)
