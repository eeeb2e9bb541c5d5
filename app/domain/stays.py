"""How long sheets stay: the buckets in which stays are counted."""

import math

HOUR_S = 3600
DAY_H = 24
WHOLE_HOURS_BELOW_H = 14 * DAY_H  # two weeks by the hour, for the press and the dryer; longer waits by the day


def dwell_bucket_h(seconds: float) -> int:
    """The lower bound, in whole hours, of the bucket a stay falls in: by the hour below 14 days, by the day from there.

    Raises ValueError for a stay that is negative or not a number.
    """
    if not 0 <= seconds < math.inf:
        raise ValueError(f"A stay of {seconds} s cannot be. Give the seconds from coming to leaving, 0 or more.")
    hours = int(seconds // HOUR_S)
    return hours if hours < WHOLE_HOURS_BELOW_H else hours - hours % DAY_H
