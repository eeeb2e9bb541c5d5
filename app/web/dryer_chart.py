"""The small chart of a dryer's temperature: what was read, over the band in which it should be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from app.domain.freezing import celsius
from app.domain.house import House
from app.domain.language import say, say_n
from app.queries.dryers import RECENT, ReadingLine

WIDTH, HEIGHT, EDGE = 480, 120, 8
LOWEST_C, MARGIN_C = 25.0, 5.0


@dataclass(frozen=True, slots=True)
class DryerChart:
    """Points from the oldest reading to the newest, and the heights of the house's figures, in the units of the drawing."""

    line: str
    dots: tuple[tuple[float, float, str], ...]
    band: tuple[float, float]
    hot: float
    words: str


def chart_of(readings: Sequence[ReadingLine], house: House, now: datetime) -> DryerChart:
    """The chart of two weeks up to now, with the same facts in words; nothing is drawn between no readings."""
    shown = [each for each in reversed(readings) if each.at > now - RECENT]
    low = min([LOWEST_C, *(each.celsius for each in shown)])
    high = max([house.dry_hot_c, *(each.celsius for each in shown)]) + MARGIN_C

    def height(degrees: float) -> float:
        return round(HEIGHT - EDGE - (degrees - low) / (high - low) * (HEIGHT - 2 * EDGE), 1)

    def along(at: datetime) -> float:
        return round(EDGE + (1 - (now - at) / RECENT) * (WIDTH - 2 * EDGE), 1)

    dots = tuple((along(each.at), height(each.celsius), each.warmth.state) for each in shown)
    path = "M" + "L".join(f"{x} {y}" for x, y, _ in dots) if len(dots) > 1 else ""
    band = (height(house.dry_warm_c), height(house.dry_cool_c))
    return DryerChart(path, dots, band, height(house.dry_hot_c), _words(shown, house))


def _words(shown: Sequence[ReadingLine], house: House) -> str:
    band = say(
        "It should be {dry_cool_c} to {dry_warm_c}, and is turned off above {dry_hot_c}.",
        dry_cool_c=house.dry_cool_c,
        dry_warm_c=celsius(house.dry_warm_c),
        dry_hot_c=celsius(house.dry_hot_c),
    )
    if not shown:
        return say("Nothing was read in the last two weeks. {band}", band=band)
    degrees = [each.celsius for each in shown]
    times = say_n("once", "{n} times", len(shown))
    return say(
        "Read {times} in the last two weeks: lowest {lowest}, highest {highest}. {band}",
        times=times,
        lowest=celsius(min(degrees)),
        highest=celsius(max(degrees)),
        band=band,
    )
