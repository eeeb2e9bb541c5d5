"""What was refused where in the last weeks: by station and kind of refusal, never by person, so that it can be taught."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, case, func, select
from sqlalchemy.orm import Session

from app.db.models import RefusedScan, Scan, Station, table_of
from app.domain.language import say
from app.domain.lessons import Lesson, is_question, lesson_of
from app.domain.stages import STEP_WORDS, Step
from app.queries.last_weeks import WeekOf, bounds_of, last_weeks

REFUSED, SCAN, STATION = table_of(RefusedScan), table_of(Scan), table_of(Station)
WEEKS = 8
NO_STATION = 0
COLUMNS = ("week", "station", "step", "code", "words", "refused", "scans at the station")


@dataclass(frozen=True, slots=True)
class RefusedLine:
    """One kind of refusal at one station: how often in each week, in which steps (with how often), and what to teach.

    `asks` says that it was only a question, which the next scan completes.
    """

    station_id: int
    station: str
    code: str
    lesson: Lesson
    asks: bool
    steps: tuple[tuple[str, int], ...]
    by_week: tuple[int, ...]

    @property
    def times(self) -> int:
        """How often in all the weeks."""
        return sum(self.by_week)


@dataclass(frozen=True, slots=True)
class StationShare:
    """How many of a station's scans were refused in each week, questions left out: pairs of (refused, scans)."""

    station_id: int
    station: str
    by_week: tuple[tuple[int, int], ...]

    @property
    def in_all(self) -> tuple[int, int]:
        """Refused, and scans, in all the weeks."""
        return sum(refused for refused, _ in self.by_week), sum(scans for _, scans in self.by_week)


@dataclass(frozen=True, slots=True)
class Refusals:
    """The last eight ISO weeks, the one that runs as the last: what was refused, the commonest first, and the shares."""

    weeks: tuple[WeekOf, ...]
    lines: tuple[RefusedLine, ...]
    questions: tuple[RefusedLine, ...]
    shares: tuple[StationShare, ...]


@dataclass
class _Heard:
    """What is gathered of one kind of refusal at one station."""

    weeks: Counter[int] = field(default_factory=Counter)
    steps: Counter[str] = field(default_factory=Counter)


def refusals(session: Session, now: datetime, zone: ZoneInfo) -> Refusals:
    """What was refused in the last eight ISO weeks. A scan refused for several reasons counts once under each of them,
    and once in its station's share.

    What it costs follows the refusals and scans of these weeks, whatever the log holds.
    """
    weeks = last_weeks(now, zone, WEEKS)
    bounds = bounds_of(weeks, zone)
    rows = _refused(session, bounds)
    names = _stations(session)
    kinds = _kinds(rows, names)
    return Refusals(
        weeks, tuple(line for line in kinds if not line.asks), tuple(line for line in kinds if line.asks),
        _shares(rows, _scans(session, bounds, list(names)), names),
    )  # fmt: skip


def refusal_rows(session: Session, now: datetime, zone: ZoneInfo) -> Iterator[tuple[str, ...]]:
    """The headings, then a row for each week, station, step and code in which something was refused."""
    yield COLUMNS
    weeks = last_weeks(now, zone, WEEKS)
    bounds, names = bounds_of(weeks, zone), _stations(session)
    scans = _scans(session, bounds, list(names))
    counts: Counter[tuple[int, int, str, str]] = Counter()
    for row in _refused(session, bounds):
        for code in _codes(row):
            counts[row.week, row.station_id or NO_STATION, row.step or "", code] += row.times
    for (week, station, step, code), times in sorted(counts.items()):
        yield (weeks[week].name, names.get(station, ""), step, code, lesson_of(code).words, str(times),
               str(scans[station, week]))  # fmt: skip


def _in_week(column: ColumnElement[datetime], bounds: Sequence[datetime]) -> Any:
    return case(*((column < end, place) for place, end in enumerate(bounds[1:]))).label("week")


def _within(column: ColumnElement[datetime], bounds: Sequence[datetime]) -> tuple[ColumnElement[bool], ...]:
    return column >= bounds[0], column < bounds[-1]


def _refused(session: Session, bounds: Sequence[datetime]) -> list[Any]:
    week = _in_week(REFUSED.c.refused_at, bounds)
    by = (REFUSED.c.station_id, REFUSED.c.step, REFUSED.c.codes, week)
    found = select(*by, func.count().label("times")).where(*_within(REFUSED.c.refused_at, bounds))
    return list(session.execute(found.group_by(*by)))


def _scans(session: Session, bounds: Sequence[datetime], stations: Sequence[int]) -> Counter[tuple[int, int]]:
    """How many scans each station sent in each week; those of no station under 0."""
    week = _in_week(SCAN.c.received_at, bounds)
    counts: Counter[tuple[int, int]] = Counter()
    # By station, for that is how the index begins.
    for here in (SCAN.c.station_id.in_(stations), SCAN.c.station_id.is_(None)):
        found = select(SCAN.c.station_id, week, func.count().label("times")).where(
            here, *_within(SCAN.c.received_at, bounds)
        )
        for row in session.execute(found.group_by(SCAN.c.station_id, week)):
            counts[row.station_id or NO_STATION, row.week] += row.times
    return counts


def _stations(session: Session) -> dict[int, str]:
    """What each station is called; scripts stand at none."""
    rows = session.execute(select(STATION.c.id, STATION.c.name).order_by(STATION.c.id))
    return {**{row.id: row.name for row in rows}, NO_STATION: say("At no station")}


def _codes(row: Any) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.codes.split()))


def _kinds(rows: Sequence[Any], names: dict[int, str]) -> list[RefusedLine]:
    heard: dict[tuple[int, str, bool], _Heard] = {}
    for row in rows:
        asks = is_question(_codes(row), row.step or "")
        for code in _codes(row):
            kind = heard.setdefault((row.station_id or NO_STATION, code, asks), _Heard())
            kind.weeks[row.week] += row.times
            kind.steps[row.step or ""] += row.times
    lines = [
        RefusedLine(station, names.get(station, ""), code, lesson_of(code), asks, _steps(kind.steps),
                    tuple(kind.weeks[week] for week in range(WEEKS)))
        for (station, code, asks), kind in heard.items()
    ]  # fmt: skip
    return sorted(lines, key=lambda line: (-line.times, line.station, line.code))


def _steps(counts: Counter[str]) -> tuple[tuple[str, int], ...]:
    """The steps, the commonest first; a scan that was refused before a step was meant has none."""
    named = [(say(_step_words(step)), times) for step, times in counts.items() if step]
    return tuple(sorted(named, key=lambda pair: (-pair[1], pair[0])))


def _step_words(step: str) -> str:
    return STEP_WORDS[Step(step)][0] if step in set(Step) else step


def _shares(rows: Sequence[Any], scans: Counter[tuple[int, int]], names: dict[int, str]) -> tuple[StationShare, ...]:
    refused: Counter[tuple[int, int]] = Counter()
    for row in rows:
        if not is_question(_codes(row), row.step or ""):
            refused[row.station_id or NO_STATION, row.week] += row.times
    used = [station for station in names if any((station, week) in scans for week in range(WEEKS))]
    return tuple(
        StationShare(station, names[station], tuple((refused[station, week], scans[station, week]) for week in range(WEEKS)))
        for station in used
    )  # fmt: skip
