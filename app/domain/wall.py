"""What the clock on the wall means: the moments at which it showed a date and a time."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo


def moments_of(shown: datetime, zone: ZoneInfo) -> tuple[datetime, ...]:
    """The UTC moments at which the room's clock showed this naive date and time, the earlier first.

    As a rule one; none in the hour that is left out when the clocks go forward, two in the hour that comes twice.
    """
    if shown.tzinfo is not None:
        raise ValueError("A clock on the wall shows no time zone: give the date and time as it shows them.")
    both = (shown.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    real = {moment for moment in both if moment.astimezone(zone).replace(tzinfo=None) == shown.replace(fold=0)}
    return tuple(sorted(real))
