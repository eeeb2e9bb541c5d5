"""Left behind: sheets that wait while nearly all that came to their stage in the week after them have gone on."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from app.domain.calendar import DAY, day_bounds
from app.domain.stages import Stage, Step

# The stages in which a sheet lies somewhere and may be forgotten, and the steps with which it comes there.
INTO: dict[Stage, frozenset[Step]] = {
    Stage.INTAKE: frozenset({Step.TAKE_IN, Step.COME_AGAIN}),
    Stage.DRYING: frozenset({Step.LAY_TO_DRY}),
    Stage.READY: frozenset({Step.PASS_AS_DRY, Step.ARRIVE_DRY, Step.BACK_TO_TABLE}),
    Stage.DRY: frozenset({Step.TAKE_OUT, Step.GOES_UNMOUNTED, Step.ARRIVE_MOUNTED, Step.BRING_BACK}),
}
WEEK = 7
SIXTIETHS = 60
Span = tuple[datetime, datetime]


def has_gone_on(came_60: int, waiting: int, share: int, least: int) -> bool:
    """Whether more than `share` per cent of those that came have gone on, when at least `least` came.

    `came_60` is the number that came in sixtieths of a sheet, as the room's sums keep it; `waiting` are those of them
    still there. In whole numbers, so that exactly the share is never more than it. Sheets that are not in the sums (made
    at the table for a plant that needs two) can only be among those waiting, and count as not gone on.
    """
    gone_60 = came_60 - SIXTIETHS * waiting
    return came_60 >= SIXTIETHS * least and 100 * gone_60 > share * came_60


def days_left_behind(
    came_60: Mapping[date, int], waiting: Mapping[date, int], share: int, least: int
) -> frozenset[date]:
    """The local days such that what came to a stage on them, and still waits there, is left behind.

    `came_60` and `waiting` are of one stage, by the day of coming; the week after a day is the seven days that follow it.
    """
    return frozenset(
        day for day, count in waiting.items()
        if count > 0 and has_gone_on(_in_week_after(day, came_60), _in_week_after(day, waiting), share, least)
    )  # fmt: skip


def spans_of(days: Collection[date], zone: ZoneInfo) -> tuple[Span, ...]:
    """The days as spans of UTC moments, each from its first midnight up to but not including the one after its last."""
    firsts = sorted(day for day in days if day - DAY not in days)
    return tuple((day_bounds(first, zone)[0], day_bounds(_last(first, days), zone)[1]) for first in firsts)


def lies_in(moment: datetime, spans: Collection[Span]) -> bool:
    """Whether a moment lies in one of the spans."""
    return any(start <= moment < end for start, end in spans)


def _in_week_after(day: date, counts: Mapping[date, int]) -> int:
    return sum(counts.get(day + timedelta(days=after), 0) for after in range(1, WEEK + 1))


def _last(first: date, days: Collection[date]) -> date:
    last = first
    while last + DAY in days:
        last += DAY
    return last
