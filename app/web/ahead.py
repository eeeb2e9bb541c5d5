"""When will it be done: the dates for each stage, what they rest on, and a time line of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from flask import Blueprint, Response, request

from app.db.engine import reading
from app.domain.language import say
from app.domain.words import date_said, month_said
from app.queries.forecast import Forecast, StageAhead, day_words, forecast
from app.queries.pace import LEAVING
from app.queries.waiting import judge
from app.web.board import kept_board
from app.web.changed_pace import asked_change
from app.web.render import house, now, page

bp = Blueprint("ahead", __name__)
KINDS = ("even", "likely", "sure")
MOST_MARKS = 7
MONTHS_APART = (1, 2, 3, 6, 12, 24, 60)
DAYS_BY_WEEK = 70  # below this the time line is marked by Mondays
WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class DrawnLine:
    """One stage on the time line: from where to where, in per cent of its length, and the same in words."""

    name: str
    parts: tuple[tuple[float, float, str], ...]
    words: str


@dataclass(frozen=True, slots=True)
class TimeLine:
    """The time line from today to the last date, its marks in per cent of its length."""

    marks: tuple[tuple[float, str], ...]
    lines: tuple[DrawnLine, ...]


@bp.get("/ahead")
def show() -> Response:
    """When today's backlogs are done, and what one more worker's day in the week would change."""
    asked = request.args.get("stage", "")
    known = {stage.value: stage for stage in LEAVING}
    stages = kept_board().board_now().stages
    with reading(house().database) as session:
        judged = judge(session, now(), house().zone)
        found = forecast(session, judged, stages, known.get(asked))
        change = asked_change(session, judged, stages)
    wrong = "" if asked in ("", *known) else say("There is no such stage to look ahead for. Choose one of those below.")
    return page("board/ahead.html", 422 if wrong or change["change_form"].errors else 200, found=found, wrong=wrong,
                drawn=time_line(found), choices=_may_ask(found), day_words=day_words, **change)  # fmt: skip


def time_line(found: Forecast) -> TimeLine | None:
    """The stages of a forecast on one time line; None where there is no date to draw."""
    dated = [each for each in found.stages if each.when.dates and each.when.dates[0]]
    ends = [day for each in dated for day in each.when.dates or () if day]
    if not ends:
        return None
    end = max(ends)
    return TimeLine(_marks(found.today, end), tuple(_line(each, found.today, end) for each in dated))


def _line(ahead: StageAhead, today: date, end: date) -> DrawnLine:
    parts, at = [], 0.0
    for day, kind in zip(ahead.when.dates or (), KINDS, strict=True):
        to = _share(day, today, end) if day else 100.0
        parts.append((at, max(to - at, 0.0), kind))
        at = to
    return DrawnLine(ahead.name, tuple(parts), ahead.when.words)


def _marks(today: date, end: date) -> tuple[tuple[float, str], ...]:
    days = _mondays(today, end) if (end - today).days < DAYS_BY_WEEK else _months(today, end)
    with_year = (end - today).days >= DAYS_BY_WEEK
    return tuple((_share(day, today, end), _mark_words(day, with_year)) for day in days)


def _mondays(today: date, end: date) -> list[date]:
    first = today + timedelta(days=7 - today.weekday())
    every = [first + number * WEEK for number in range((end - first).days // 7 + 1)]
    return every[:: len(every) // (MOST_MARKS + 1) + 1]


def _months(today: date, end: date) -> list[date]:
    first, last = today.year * 12 + today.month, end.year * 12 + end.month - 1
    choices = ([month for month in range(first, last + 1) if month % apart == 0] for apart in MONTHS_APART)
    chosen: Sequence[int] = next((each for each in choices if len(each) <= MOST_MARKS), ())
    return [date(month // 12, month % 12 + 1, 1) for month in chosen]


def _mark_words(day: date, is_month: bool) -> str:
    return month_said(day) if is_month else date_said(day, with_year=False)


def _share(day: date, today: date, end: date) -> float:
    return round(100 * (day - today).days / max((end - today).days, 1), 2)


def _may_ask(found: Forecast) -> list[tuple[str, str, bool]]:
    """The stages for which one more worker's day can be reckoned with, and which of them is shown."""
    shown = found.one_more.slug if found.one_more else ""
    return [(each.when.slug, each.name, each.when.slug == shown) for each in found.stages if each.when.dates]
