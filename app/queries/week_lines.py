"""What the report of a week is made of. Nobody is ranked: workers come by name, and no figure compares two of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from app.domain.intervals import Interval
from app.domain.language import mark
from app.domain.limits_of_weeks import Chart
from app.domain.stages import Stage, Step
from app.queries.hours import Hours


@dataclass(frozen=True, slots=True)
class Rate:
    """Sheets per hour over the last eight weeks: `credit` sheets in `hours_s` seconds of own work at the stations of the
    step, without what was learned or taught. The interval (95 %) is that of the `sheets` the worker had a hand in, scaled
    by credit over sheets; `is_near`: the two differ, so it is marked ≈.
    """

    per_hour: float
    interval: Interval
    is_near: bool
    sheets: int
    credit: Fraction
    hours_s: int


@dataclass(frozen=True, slots=True)
class FirstPass:
    """Of `inspected` gluings looked at for the first time in the last eight weeks, `passed` passed as they were.

    `interval` (Wilson, 95 %, shares from 0 to 1) is None below the house's least number of cases. Gluings made while
    learning beside somebody are not among them.
    """

    inspected: int
    passed: int
    interval: Interval | None


@dataclass(frozen=True, slots=True)
class StepLine:
    """One worker's week with one step: `sheets` they had a hand in, each once; `credit` their equal shares of them.

    Of the sheets, `learning` were done while learning beside somebody. `hours_s` are the seconds of own work this week at
    the stations where the step is done. `rate` is None where the hours of the last eight weeks are too few.
    """

    step: Step
    words: str
    sheets: int
    credit: Fraction
    learning: int
    hours_s: int
    rate: Rate | None


@dataclass(frozen=True, slots=True)
class WorkerWeek:
    """One worker's week: what they did by step in the order of the work, and their hours in all and at the
    tables. Somebody with hours and no sheet is there, too. `number` is the worker's number.
    """

    worker_id: int
    name: str
    number: str
    steps: tuple[StepLine, ...]
    hours: Hours
    at_tables: Hours
    first_pass: FirstPass | None


@dataclass(frozen=True, slots=True)
class StageWeek:
    """One stage's week. `came` and `left` are moves (withdrawn ones left); `sent_back` of those that left went to an
    earlier stage. `waiting` and `oldest_since` are as of the week's end, or now while it runs; what is filed does not wait
    (0, None). `stays` ended in the week, half of them within the bucket that begins at `median_h` hours (None: none).

    `waiting_now`, `stalled_now` and `held_now` are how it stands at this moment, whichever week is shown.
    """

    stage: Stage
    name: str
    came: int
    left: int
    sent_back: int
    waiting: int
    oldest_since: datetime | None
    stays: int
    median_h: int | None
    waiting_now: int
    stalled_now: int
    held_now: int


@dataclass(frozen=True, slots=True)
class Exceptional:
    """One thing that did not go by the book. `kind` is one of EXCEPTIONS; `subject` the sheet's number, or the stack's name.

    `what` says it in the room's words, `reason` is as it was given ("" for none), `by` the names of those who did it
    (none where names are not shown). `link` is what its page is asked by: the number of a sheet, the name of a stack.
    """

    kind: str
    entry_id: int
    happened_at: datetime
    recorded_at: datetime
    is_sheet: bool
    subject: str
    link: str
    what: str
    reason: str
    by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChangedSince:
    """What changed the figures of a week after it had ended: an entry written late, or one taken back (`is_correction`).

    `happened_at` is when the entry happened in that week, `changed_at` when the change was recorded.
    """

    entry_id: int
    is_correction: bool
    happened_at: datetime
    changed_at: datetime
    subject: str
    what: str
    reason: str
    by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RoomLine:
    """The whole room's week: `what` ("mounted", "hours at the tables"), its value, and the chart of the weeks before.

    Values are sheets (each once per step and week), or hours. `step` is None for hours. `before` holds the values of the
    weeks before, oldest first, without weeks in which the room had no open day or was not on record yet.
    """

    what: str
    step: Step | None
    value: float
    before: tuple[float, ...]
    chart: Chart


# The kinds of exception in the order in which they are told, and their headings.
EXCEPTIONS: dict[str, str] = {
    "early-release": mark("Let out early"),
    "out-early": mark("Found out of its stack"),
    "called-in-question": mark("Called in question"),
    "correction": mark("Taken back"),
    "late": mark("Written late"),
    "after-the-fact": mark("Told after the fact"),
    "new-number": mark("Given a new number"),
}
