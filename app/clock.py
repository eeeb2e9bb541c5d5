"""The only place that asks what time it is, and whether the answer can be trusted."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta


def utc_now() -> datetime:
    """This moment, aware and UTC."""
    return datetime.now(UTC)


def steady_s() -> float:
    """Seconds on a clock that nobody can set; it goes on while the computer sleeps, where there is such a clock."""
    if hasattr(time, "CLOCK_BOOTTIME"):
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    return time.monotonic()


@dataclass
class Watch:
    """Holds the computer's clock against the steady clock since both were last known to agree; `limit` is how far it may run
    ahead, by the house rule as it was last read.
    """

    wall_at: datetime = field(default_factory=utc_now)
    steady_at_s: float = field(default_factory=steady_s)
    doubtful_since_start: bool = False
    limit: timedelta = timedelta(minutes=2)

    def ahead_by(self, now: datetime, steady: float) -> timedelta:
        """How far the computer's clock has run ahead of the steady clock."""
        return (now - self.wall_at) - timedelta(seconds=steady - self.steady_at_s)

    def is_doubtful(self, limit: timedelta | None = None) -> bool:
        """Whether the clock ran ahead by more than the limit, or stood far from the last sign of life at the start."""
        return self.doubtful_since_start or self.ahead_by(utc_now(), steady_s()) > (
            self.limit if limit is None else limit
        )

    def confirm(self) -> None:
        """Somebody has said that the date and the time are right."""
        self.wall_at, self.steady_at_s, self.doubtful_since_start = utc_now(), steady_s(), False
