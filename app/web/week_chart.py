"""The small chart of one figure of the room: the weeks before, this week, the mean and the natural limits."""

from __future__ import annotations

from dataclasses import dataclass

from app.domain.language import say
from app.queries.week_lines import RoomLine

WIDTH, HEIGHT, EDGE = 180, 46, 5


@dataclass(frozen=True, slots=True)
class WeekChart:
    """Points from the oldest week to this one, and the heights of mean and limits, in the units of the drawing."""

    line: str
    dots: tuple[tuple[float, float], ...]
    last: tuple[float, float]
    mean: float | None
    low: float | None
    high: float | None
    words: str


def chart_of(line: RoomLine) -> WeekChart:
    """The chart of one line of the room, with the same facts in words."""
    chart, values = line.chart, (*line.before, line.value)
    bounds = [each for each in (*values, chart.mean, chart.low, chart.high) if each is not None]
    low, high = min([*bounds, 0.0]), max(bounds)
    span = (high - low) or 1.0

    def height(value: float | None) -> float | None:
        return None if value is None else round(HEIGHT - EDGE - (value - low) / span * (HEIGHT - 2 * EDGE), 1)

    step = (WIDTH - 2 * EDGE) / max(len(values) - 1, 1)
    dots = tuple((round(EDGE + place * step, 1), height(value) or 0.0) for place, value in enumerate(values))
    path = "M" + "L".join(f"{x} {y}" for x, y in dots)
    return WeekChart(path, dots[:-1], dots[-1], height(chart.mean), height(chart.low), height(chart.high), _words(line))


def _words(line: RoomLine) -> str:
    before, chart, value = ", ".join(f"{value:g}" for value in line.before), line.chart, f"{line.value:g}"
    weeks = [say("The weeks before: {values}.", values=before)] if before else []
    if chart.mean is None:
        return " ".join([*weeks, say("This week: {value}.", value=value)])
    limits = (
        say("natural limits {low:.1f} to {high:.1f}", low=chart.low, high=chart.high) if chart.low is not None else ""
    )
    this = say("This week: {value}. Mean {mean:.1f}, {limits}.", value=value, mean=chart.mean, limits=limits)
    return " ".join([*weeks, this])
