"""The small picture of one of a worker's own figures: a bar for each week, their mean, and their natural limits."""

from __future__ import annotations

from dataclasses import dataclass

from app.queries.own_weeks import OwnLine

WIDTH, HEIGHT, EDGE, GAP = 364, 60, 6, 3


@dataclass(frozen=True, slots=True)
class OwnBar:
    """One week's bar; `beyond` says that it lies outside the natural limits."""

    x: float
    y: float
    height: float
    beyond: bool


@dataclass(frozen=True, slots=True)
class OwnChart:
    """The bars, and the heights of mean and limits (None: too few weeks), in the units of the drawing."""

    bars: tuple[OwnBar, ...]
    bar_width: float
    mean: float | None
    low: float | None
    high: float | None


def chart_of(line: OwnLine) -> OwnChart:
    """The picture of one line; weeks in which they were not here have no bar."""
    limits, values = line.chart, [float(value or 0) for value in line.values]
    most = max([*values, limits.high or 0.0]) or 1.0

    def height(value: float | None) -> float | None:
        return None if value is None else round(HEIGHT - EDGE - value / most * (HEIGHT - 2 * EDGE), 1)

    step, beyond = WIDTH / len(values), {place for place, _ in line.beyond}
    bars = tuple(
        OwnBar(round(place * step + GAP / 2, 1), y, round(HEIGHT - EDGE - y, 1), place in beyond)
        for place, value in enumerate(line.values)
        if value is not None and (y := height(float(value))) is not None
    )
    return OwnChart(bars, round(step - GAP, 1), height(limits.mean), height(limits.low), height(limits.high))
