"""When it would be done with a changed pace: one more afternoon a week, somebody away, a bigger press."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Stack, Worker, table_of
from app.domain.calendar import local_day, open_days_between
from app.domain.changed_pace import Change, PressPace, press_pace, repeated, scaled, without
from app.domain.forecast import Days, Extra, Spell
from app.domain.language import number, say, say_n
from app.domain.stages import STAGES, Stage
from app.queries.board_stages import StageView
from app.queries.forecast import Dates, dates_of, open_in_week, too_few
from app.queries.pace import COMING, LEAVING, Pace, pace, pace_of_worker, whole_sheets, workers_within
from app.queries.stays import FULL_WEEKS, stage_counts
from app.queries.waiting import Judge

STACK, WORKER = table_of(Stack), table_of(Worker)
# What a bigger press lets through, and what its sheets wait for.
AT_THE_PRESS = frozenset({Stage.MOUNTED, Stage.UNDER_PRESS})


@dataclass(frozen=True, slots=True)
class ChangedStage:
    """A stage's dates for 50, 85 and 95 % as it is and as it would be; None beyond ten years."""

    slug: str
    name: str
    backlog: int
    today: Dates
    then: Dates


@dataclass(frozen=True, slots=True)
class Changed:
    """What a change would do, stage by stage, and what that rests on, in whole sentences; no stage where nothing can be said."""

    asked: Change
    stages: tuple[ChangedStage, ...]
    rests_on: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Ground:
    """What is reckoned from: the room's pace, the part of who is away, and the press."""

    found: Pace
    theirs: Pace | None
    press: PressPace | None


def changed_pace(session: Session, judged: Judge, stages: Sequence[StageView], asked: Change) -> Changed:
    """When the backlogs of the board's stages would be done with this change. Nothing where too few days are on record."""
    found = pace(session, judged)
    few = too_few(judged, found)
    if few:
        return Changed(asked, (), (say("There are {few}.", few=few),))
    theirs = pace_of_worker(session, judged, found, asked.away) if asked.away is not None else None
    ground = _Ground(found, theirs, _press(session, judged, found, asked.places) if asked.places else None)
    views = [view for view in stages if view.slug in LEAVING and view.may_go_on]
    lines = tuple(_stage(judged, ground, view, asked) for view in views)
    return Changed(asked, lines, tuple(_rests_on(session, judged, ground, asked)))


def may_be_away(session: Session, judged: Judge) -> tuple[tuple[int, str], ...]:
    """Who did anything on the days that a forecast rests on and works here still: id and name, by name."""
    some = workers_within(session, judged, pace(session, judged))
    rows = session.execute(select(WORKER.c.id, WORKER.c.name).where(WORKER.c.retired_at.is_(None)))
    return tuple(sorted(((row.id, row.name) for row in rows if row.id in some), key=lambda each: each[1].casefold()))


def _stage(judged: Judge, ground: _Ground, view: StageView, asked: Change) -> ChangedStage:
    stage = Stage(view.slug)
    seen = ground.found.sixtieths(LEAVING[stage])
    days = Days.of(whole_sheets(seen))
    less = Days.of(whole_sheets(without(seen, ground.theirs.sixtieths(LEAVING[stage])))) if ground.theirs else days
    spell = Spell(less, asked.weeks * open_in_week(judged)) if ground.theirs and asked.weeks else None
    usual = days if spell else less
    if ground.press and stage in AT_THE_PRESS:
        usual = scaled(usual, ground.press.factor)
        spell = Spell(scaled(less, ground.press.factor), spell.number) if spell else None
    extra = _afternoons(judged, usual, asked)
    then = dates_of(judged, usual, view.may_go_on, extra, spell)
    return ChangedStage(stage.value, STAGES[stage].words, view.may_go_on, dates_of(judged, days, view.may_go_on), then)


def _afternoons(judged: Judge, days: Days, asked: Change) -> Extra | None:
    if not asked.afternoons:
        return None
    return Extra(repeated(scaled(days, asked.share), asked.afternoons), open_in_week(judged))


def _press(session: Session, judged: Judge, found: Pace, more: int) -> PressPace | None:
    """The press as it is and as it would be; None where there is no stack, or no stay in it is on record."""
    places = session.execute(select(func.sum(STACK.c.capacity)).where(STACK.c.closed_at.is_(None))).scalar() or 0
    count = stage_counts(session, judged.now, judged.calendar.zone).get(Stage.UNDER_PRESS)
    ended = count.ended if count else {}
    # A stay is counted in full hours: half an hour more is its mean.
    hours = sum((bucket + 0.5) * many for bucket, many in ended.items()) / (sum(ended.values()) or 1)
    laid = Days.of(found.of(LEAVING[Stage.MOUNTED])).mean
    if not places or not hours or not laid:
        return None
    today = local_day(judged.now, judged.calendar.zone)
    year = timedelta(weeks=FULL_WEEKS)
    share = Fraction(open_days_between(judged.calendar, today - year, today), year.days)
    return press_pace(int(places), more, hours, laid, Days.of(found.of(COMING[Stage.MOUNTED])).mean, share)


def _rests_on(session: Session, judged: Judge, ground: _Ground, asked: Change) -> list[str]:
    said = [say_n("The last open day on record.", "The last {n} open days on record.", len(ground.found.days))]
    if asked.afternoons:
        said.append(_afternoon_words(asked))
    if asked.away is not None:
        name = session.execute(select(WORKER.c.name).where(WORKER.c.id == asked.away)).scalar() or ""
        said.append(_away_words(asked, name))
    if asked.places:
        said.append(_press_words(ground.press, asked.places))
    return said


def _afternoon_words(asked: Change) -> str:
    half = asked.share != 1
    if asked.afternoons == 1:
        return (
            say(
                "One more afternoon a week does half of what a usual open day here did: as many people come for half as long."
            )
            if half
            else say("One more afternoon a week does what a usual open day here did: as many people come for as long.")
        )
    return (
        say("Each of {n} more afternoons a week does half of what a usual open day here did.", n=asked.afternoons)
        if half
        else say("Each of {n} more afternoons a week does what a usual open day here did.", n=asked.afternoons)
    )


def _away_words(asked: Change, name: str) -> str:
    if not asked.weeks:
        return say("What {name} did on those days is left out from tomorrow on, and nobody takes it over.", name=name)
    return say_n(
        "What {name} did on those days is left out for one week, and nobody takes it over.",
        "What {name} did on those days is left out for {n} weeks, and nobody takes it over.",
        asked.weeks,
        name=name,
    )


def _press_words(press: PressPace | None, more: int) -> str:
    if press is None:
        return say("Of the press nothing can be said: there is no stack, or no sheet has come out of one yet.")
    parts = {name: number(float(getattr(press, name)), ",.1f") for name in ("takes", "would", "laid", "come")}
    if not press.holds_back:
        return say("The press could take {takes} sheets a day, and {laid} are laid in: it does not hold the room back, and a "
                   "bigger one changes nothing.", **parts)  # fmt: skip
    return say("The press takes at most {takes} sheets a day (its places over the time that a sheet lies in one), and {laid} are "
               "laid in; with {more} places more it could take {would}. {come} a day come to it, so it is reckoned with no more "
               "than that.", more=more, **parts)  # fmt: skip
