"""One worker's own weeks: sheets by step and hours, held against nobody's but their own."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import TallyDay, table_of
from app.domain.language import say
from app.domain.limits_of_weeks import LEAST_WEEKS, Chart, chart
from app.domain.stages import STEP_WORDS, Step
from app.queries.hours import Hours, hours_within, kept_since, presences
from app.queries.last_weeks import WeekOf, bounds_of, last_weeks

TALLY = table_of(TallyDay)
WEEKS = 26
SIXTIETHS = 60
HOUR_S = 3600
NOTHING = Fraction(0)


@dataclass(frozen=True, slots=True)
class OwnLine:
    """One figure of a worker, week by week (None: they were not here, or it is no longer kept).

    `chart` holds the mean and natural limits of their own full weeks here (no limits where those are too few); `beyond`
    are the places of the weeks outside these limits, each with "more" or "less".
    """

    what: str
    values: tuple[Fraction | None, ...]
    chart: Chart
    beyond: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True)
class OwnWeeks:
    """The last 26 ISO weeks of one worker, the one that runs as the last.

    `steps` are in sheets, fractions where two worked together; `hours` in hours, all of them and apart. `hours_kept_since`
    is None where hours of all these weeks are still kept by person.
    """

    weeks: tuple[WeekOf, ...]
    steps: tuple[OwnLine, ...]
    hours: tuple[OwnLine, ...]
    hours_kept_since: datetime | None

    @property
    def here(self) -> int:
        """In how many of the weeks they were here."""
        lines = (*self.steps, *self.hours)
        return sum(any(line.values[place] is not None for line in lines) for place in range(len(self.weeks)))


def own_weeks(session: Session, worker_id: int, now: datetime, zone: ZoneInfo) -> OwnWeeks:
    """A worker's own weeks, off the sums kept beside the log and the times at stations.

    A week in which they were not here is left out of mean and limits: to be away is not to do less.
    """
    weeks = last_weeks(now, zone, WEEKS)
    sheets, hours = _sheets(session, worker_id, weeks), _hours(session, worker_id, bounds_of(weeks, zone), now)
    here = [any(by_week[place] for by_week in sheets.values()) or bool(hours[place].total_s)
            for place in range(WEEKS)]  # fmt: skip
    since = kept_since(session, zone)
    steps = [
        _line(say(STEP_WORDS[step][1]), sheets[step.value], here) for step in Step if any(sheets.get(step.value, ()))
    ]
    return OwnWeeks(weeks, tuple(steps), _hour_lines(hours, here), since)


def _sheets(session: Session, worker_id: int, weeks: Sequence[WeekOf]) -> Mapping[str, list[Fraction]]:
    """Sheets by step and week: the credit for them, in whole sheets and fractions."""
    first, last = weeks[0].first, weeks[-1].last
    found = (
        select(TALLY.c.day, TALLY.c.step, func.sum(TALLY.c.credit_60).label("credit"))
        .where(TALLY.c.day.between(first, last), TALLY.c.worker_id == worker_id)
        .group_by(TALLY.c.day, TALLY.c.step)
    )
    by_step: dict[str, list[Fraction]] = defaultdict(lambda: [NOTHING] * WEEKS)
    for row in session.execute(found):
        by_step[row.step][(row.day - first).days // 7] += Fraction(row.credit, SIXTIETHS)
    return by_step


def _hours(session: Session, worker_id: int, bounds: Sequence[datetime], now: datetime) -> list[Hours]:
    present = presences(session, bounds[0], bounds[-1], now)
    found = []
    for since, until in zip(bounds, bounds[1:], strict=False):
        mine = [hours for (worker, _), hours in hours_within(present, since, until).items() if worker == worker_id]
        found.append(sum(mine, Hours()))
    return found


def _hour_lines(hours: Sequence[Hours], here: Sequence[bool]) -> tuple[OwnLine, ...]:
    kinds = (
        (say("all hours"), [each.total_s for each in hours]),
        (say("own work"), [each.own_s for each in hours]),
        (say("learning"), [each.learning_s for each in hours]),
        (say("teaching"), [each.teaching_s for each in hours]),
    )
    return tuple(
        _line(what, [Fraction(each, HOUR_S) for each in seconds], here) for what, seconds in kinds if any(seconds)
    )


def _line(what: str, values: Sequence[Fraction], here: Sequence[bool]) -> OwnLine:
    """The last week runs still: it is in no mean, and cannot have too little yet."""
    told = tuple(value if is_here else None for value, is_here in zip(values, here, strict=True))
    full = [float(value) for value in told[:-1] if value is not None]
    done = [value for value in full if value]
    # What somebody does now and then has no usual week.
    limits = chart(float(values[-1]), full if len(done) >= LEAST_WEEKS else done, is_over=False)
    found = [(place, _beyond(value, limits, is_over=place < len(told) - 1)) for place, value in enumerate(told)]
    return OwnLine(what, told, limits, tuple((place, word) for place, word in found if word))


def _beyond(value: Fraction | None, limits: Chart, *, is_over: bool) -> str:
    if value is None or limits.low is None or limits.high is None:
        return ""
    if value > limits.high:
        return "more"
    return "less" if is_over and value < limits.low else ""
