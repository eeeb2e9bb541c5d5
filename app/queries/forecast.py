"""When each stage's backlog is done, what that rests on, which stage holds the others back, and what one more helps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from sqlalchemy.orm import Session

from app.domain.calendar import Calendar, day_bounds, local_day, plus_open_days
from app.domain.forecast import CERTAINTIES, Days, Extra, Spell, days_needed
from app.domain.language import say, say_n
from app.domain.stages import STAGES, Stage
from app.domain.words import date_said
from app.queries.board_stages import StageView
from app.queries.pace import COMING, GOING_BACK, LEAVING, Pace, pace, worker_days
from app.queries.waiting import Judge

WEEKS_IN_TEN_YEARS = 520
# Coming in and going out are never quite alike: a twentieth more is not yet worth a word.
GROWS_FROM = Fraction(21, 20)
Dates = tuple[date | None, ...]


@dataclass(frozen=True, slots=True)
class StageForecast:
    """When what may go on at a stage is done: the dates for 50, 85 and 95 %, each None beyond ten years.

    `dates` is None where nothing is to be done, or nothing can be said; `words` says it either way.
    """

    slug: str
    backlog: int
    dates: Dates | None
    words: str


@dataclass(frozen=True, slots=True)
class StageAhead:
    """A stage's forecast with all that it rests on: sheets a day on average, and on how many days there were none."""

    when: StageForecast
    name: str
    waits: int
    mean: float
    idle: int
    rests_on: str
    growing: str


@dataclass(frozen=True, slots=True)
class OneMore:
    """What one more worker's day in the week changes at a stage; `dates` is None where too little is known."""

    slug: str
    name: str
    today: Dates
    dates: Dates | None
    words: str


@dataclass(frozen=True, slots=True)
class Forecast:
    """All stages from intake to dry; `holds_back` is the slug of the one that is done last, if any can be named."""

    today: date
    open_days: int
    rests_on: str
    too_few: str
    stages: tuple[StageAhead, ...]
    holds_back: str
    holds_back_words: str
    one_more: OneMore | None


def forecast(session: Session, judged: Judge, stages: Sequence[StageView], asked: Stage | None = None) -> Forecast:
    """When the backlogs of the board's stages are done; one more worker is reckoned with at the stage asked for,
    or else at the one that holds the others back.

    Days are counted from the next open day after today: what is left of today is not reckoned with.
    """
    found, today = pace(session, judged), local_day(judged.now, judged.calendar.zone)
    ahead = tuple(_ahead(judged, found, stage) for stage in stages if stage.slug in LEAVING)
    last = _last(ahead)
    at = asked.value if asked else last.when.slug if last else ""
    chosen = next((each for each in ahead if each.when.slug == at and each.when.dates), None)
    return Forecast(
        today, len(found.days), _span(found, today), too_few(judged, found), ahead, last.when.slug if last else "",
        _last_words(last), _one_more(session, judged, found, chosen) if chosen else None,
    )  # fmt: skip


def forecast_lines(session: Session, judged: Judge, stages: Sequence[StageView]) -> tuple[StageForecast, ...]:
    """The same in one line for each of the board's stages from intake to dry. Reads two small statements."""
    found = pace(session, judged)
    return tuple(_when(judged, found, stage) for stage in stages if stage.slug in LEAVING)


def day_words(day: date | None) -> str:
    """A date as a forecast says it, always with its year; what lies beyond ten years has none."""
    return date_said(day) if day else say("not within ten years")


def _ahead(judged: Judge, found: Pace, view: StageView) -> StageAhead:
    stage, few = Stage(view.slug), bool(too_few(judged, found))
    days, today = Days.of(found.of(LEAVING[stage])), local_day(judged.now, judged.calendar.zone)
    return StageAhead(
        _when(judged, found, view), say(STAGES[stage].words), view.count, float(days.mean), days.idle,
        "" if few else _rests_on(found, days, today), "" if few else _growing(found, stage),
    )  # fmt: skip


def _when(judged: Judge, found: Pace, view: StageView) -> StageForecast:
    backlog, few = view.may_go_on, too_few(judged, found)
    if not backlog or few:
        nothing = say("none may go on now") if view.count else say("nothing waits")
        return StageForecast(view.slug, backlog, None, few if backlog else nothing)
    days = Days.of(found.of(LEAVING[Stage(view.slug)]))
    dates = dates_of(judged, days, backlog)
    if not days.mean:
        return StageForecast(
            view.slug, backlog, dates, say("nothing has left here on the last {number} open days", number=days.number)
        )
    return StageForecast(view.slug, backlog, dates, _dates_words(dates))


def dates_of(judged: Judge, days: Days, backlog: int, extra: Extra | None = None, first: Spell | None = None) -> Dates:
    """The dates for 50, 85 and 95 %, from the next open day after today; None beyond ten years."""
    most = WEEKS_IN_TEN_YEARS * open_in_week(judged)
    needed = days_needed(days, backlog, CERTAINTIES, most, extra, first)
    return tuple(None if number is None else nth_open_day(judged, number) for number in needed)


def nth_open_day(judged: Judge, number: int) -> date | None:
    """The n-th open day after today, n from 1; None where the calendar has none left."""
    calendar: Calendar = judged.calendar
    tomorrow = day_bounds(local_day(judged.now, calendar.zone), calendar.zone)[1]
    begins = plus_open_days(calendar, tomorrow, number - 1)
    return local_day(begins, calendar.zone) if begins is not None else None


def open_in_week(judged: Judge) -> int:
    """How many days of a usual week the room is open, at least 1."""
    return len(judged.calendar.open_weekdays) or 1


def _one_more(session: Session, judged: Judge, found: Pace, ahead: StageAhead) -> OneMore:
    stage, today = Stage(ahead.when.slug), ahead.when.dates or ()
    single, least = worker_days(session, judged, found, stage), judged.house.forecast_least_days
    if single.number < least:
        words = say(
            "Too few days of single workers to say: {known} of {least} are on record.", known=single.number, least=least
        )
        return OneMore(stage.value, ahead.name, today, None, words)
    extra = Extra(single, open_in_week(judged))
    dates = dates_of(judged, Days.of(found.of(LEAVING[stage])), ahead.when.backlog, extra)
    words = say("One worker did {mean:.1f} sheets a day here on average, on {days:,} days of single workers.",
                mean=float(single.mean), days=single.number)  # fmt: skip
    return OneMore(stage.value, ahead.name, today, dates, words)


def _last(ahead: Sequence[StageAhead]) -> StageAhead | None:
    """The stage that is done last, by its even chance; of several the first in the work."""
    said = [each for each in ahead if each.when.dates]
    return max(said, key=lambda each: (each.when.dates or (None,))[0] or date.max, default=None)


def _last_words(last: StageAhead | None) -> str:
    if last is None or not last.when.dates:
        return ""
    even = last.when.dates[0]
    when = (
        say("with an even chance by {day}", day=day_words(even)) if even else say("not within ten years at this pace")
    )
    words = say_n("{stage} holds the others back: its {n:,} sheet is done last, {when}.",
                  "{stage} holds the others back: its {n:,} sheets are done last, {when}.",
                  last.when.backlog, stage=last.name, when=when)  # fmt: skip
    return f"{words} {last.growing}" if last.growing else words


def _growing(found: Pace, stage: Stage) -> str:
    came = Days.of(found.of(COMING[stage])).mean
    gone = Days.of(found.of((*LEAVING[stage], *GOING_BACK.get(stage, ())))).mean
    if came <= gone * GROWS_FROM:
        return ""
    return say("It grows: {came} sheets a day come in, {gone} go out.", came=_tenths(came), gone=_tenths(gone))


def _tenths(mean: Fraction) -> str:
    return say("{mean:.1f}", mean=float(round(mean, 1)))


def too_few(judged: Judge, found: Pace) -> str:
    """Why nothing can be forecast yet; empty where it can."""
    least = judged.house.forecast_least_days
    few = len(found.days) < least
    return (
        say("too few days to say: {days} of {least} open days are on record", days=len(found.days), least=least)
        if few
        else ""
    )


def _dates_words(dates: Dates) -> str:
    if dates[0] is None:
        return say("more than ten years at this pace")
    if dates[0] == dates[-1]:
        return say("95 % by {day}", day=day_words(dates[0]))
    first, last = day_words(dates[0]), day_words(dates[-1])
    if dates[-1]:
        return say("even chance by {first}, 95 % by {last}", first=first, last=last)
    return say("even chance by {first}, 95 % {last}", first=first, last=last)


def _span(found: Pace, today: date) -> str:
    if not found.days:
        return ""
    first, last = (_short(day, today) for day in (found.days[0], found.days[-1]))
    return (
        say("the last {days} open days, {first} to {last}", days=len(found.days), first=first, last=last)
        if len(found.days) > 1
        else say("one open day, {first}", first=first)
    )


def _rests_on(found: Pace, days: Days, today: date) -> str:
    span, mean = _span(found, today), _tenths(days.mean)
    if not days.idle:
        return say("{span}, {mean} sheets a day on average", span=span, mean=mean)
    return say_n("{span}, {mean} sheets a day on average, {n} day without any",
                 "{span}, {mean} sheets a day on average, {n} days without any",
                 days.idle, span=span, mean=mean)  # fmt: skip


def _short(day: date, today: date) -> str:
    return date_said(day, with_year=day.year != today.year)
