"""Dates as people type them: one date or one range to a line or comma, in forms that can be read in one way only."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

from app.domain.calendar import DAY
from app.domain.language import ENGLISH, mark, say, say_n, spoken
from app.domain.words import date_said, weekday_said

MOST_DAYS = 400  # more in one go is a slip in a year, not a closing list
MOST_ROLLED_DAYS = 60  # a range over the new year whose years were left out is a short one
HOW = mark("Write it like 24 Dec 2026, 24 Dec 2026 – 2 Jan 2027, or 2026-12-24.")
FEWEST_LETTERS = 3

_ISO = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
# Names are of the language of the moment, whatever its letters; digits are 0 to 9.
_SAID = re.compile(
    r"(?:(?P<weekday>[^\W\d_]{2,})\.?\s+)?(?P<day>[0-9]{1,2})(?:st|nd|rd|th|\.)?"
    r"(?:\s*(?P<month>[^\W\d_]{3,})\.?(?:\s+(?P<year>[0-9]{4}))?)?"
)


@dataclass(frozen=True, slots=True)
class Span:
    """Days that follow each other, both ends included."""

    first: date
    last: date

    @property
    def length(self) -> int:
        """How many days."""
        return (self.last - self.first).days + 1

    def days(self) -> tuple[date, ...]:
        """Each of its days."""
        return tuple(self.first + DAY * number for number in range(self.length))


@dataclass(frozen=True, slots=True)
class Typed:
    """What was read: the days in order, each once, and a sentence for every part that could not be read."""

    days: tuple[date, ...]
    wrong: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Part:
    """One end of a range as it was typed; what was left out is None."""

    day: int
    month: int | None = None
    year: int | None = None
    weekday: int | None = None


def read_dates(text: str, year: int) -> Typed:
    """Read typed dates: ISO 8601, or day and month's name, with a year or else of this `year`; ranges with "–" or "to".

    A weekday before a date must be the right one. More than 400 days are not read at all.
    """
    found: list[Span] = []
    wrong: list[str] = []
    for number, line in enumerate(text.splitlines(), start=1):
        for part in filter(None, (each.strip() for each in re.split("[,;]", line))):
            try:
                found.append(_span(part, year))
            except ValueError as error:
                wrong.append(say("Line {number}, “{typed}”: {fault}", number=number, typed=part[:60], fault=error))
    if not found and not wrong:
        wrong.append(say("There is no date in it. {how}", how=HOW))
    total = sum(span.length for span in found)
    if total > MOST_DAYS:
        wrong.append(_too_many(total))
        return Typed((), tuple(wrong))
    return Typed(tuple(sorted({day for span in found for day in span.days()})), tuple(wrong))


def spans(days: Iterable[date]) -> tuple[Span, ...]:
    """The days put together into runs without a gap, in order."""
    runs: list[Span] = []
    for day in sorted(set(days)):
        if runs and runs[-1].last + DAY == day:
            runs[-1] = replace(runs[-1], last=day)
        else:
            runs.append(Span(day, day))
    return tuple(runs)


def span_words(span: Span) -> str:
    """A run of days as it is said: "24 Dec 2026", "24 – 28 Dec 2026", "24 Dec 2026 – 2 Jan 2027"."""
    first, last = span.first, span.last
    if first == last:
        return date_said(last)
    if (first.year, first.month) == (last.year, last.month):
        return say("{day} – {date}", day=first.day, date=date_said(last))
    start = date_said(first, with_year=first.year != last.year)
    return say("{start} – {end}", start=start, end=date_said(last))


def days_words(days: Iterable[date]) -> str:
    """Some days as they are said: up to three runs by name, more as their number and their ends; empty for none."""
    runs = spans(days)
    if len(runs) <= 3:
        return ", ".join(map(span_words, runs))
    total = sum(run.length for run in runs)
    first, last = date_said(runs[0].first), date_said(runs[-1].last)
    return say_n("{n} day from {first} to {last}", "{n} days from {first} to {last}", total, first=first, last=last)


def _too_many(total: int) -> str:
    return say_n(
        "That is {n:,} day. At most {most} can be set in one go. Look at the years.",
        "That is {n:,} days. At most {most} can be set in one go. Look at the years.",
        total, most=MOST_DAYS,
    )  # fmt: skip


def _span(text: str, year: int) -> Span:
    ends = _between(spoken().short_months).split(text)
    if len(ends) > 2:
        raise ValueError(say("that has more than two ends. {how}", how=HOW))
    if len(ends) == 1:
        day = _dated(_read(ends[0]), year)
        return Span(day, day)
    return _range(_read(ends[0]), _read(ends[1]), year)


def _range(start: _Part, end: _Part, year: int) -> Span:
    within = start.month is None  # "24 – 28 Dec": the start is of the month and year of the end
    if within:
        start = replace(start, month=end.month, year=end.year)
    elif start.year is None and end.year is not None and _order(start) > _order(end):
        start = replace(start, year=end.year - 1)
    first = _dated(start, year if end.year is None else end.year)
    rolls = not within and end.year is None and _order(end) < (first.month, first.day)
    last = _dated(end, first.year + rolls)
    if last < first:
        raise ValueError(
            say("it ends on {last}, before it begins on {first}.", last=date_said(last), first=date_said(first))
        )
    if None in (start.year, end.year) and first.year != last.year and (last - first).days > MOST_ROLLED_DAYS:
        raise ValueError(say("that would go on into another year. Write both years."))
    return Span(first, last)


def _read(text: str) -> _Part:
    """One date as typed; ValueError for what could be read in more ways than one, or in none."""
    if _ISO.fullmatch(text):
        year, month, day = (int(number) for number in text.split("-"))
        return _Part(day, month, year)
    found = _SAID.fullmatch(text)
    if found is None:
        raise ValueError(say("that cannot be read as a date in one way only. {how}", how=HOW))
    own_year = int(found["year"]) if found["year"] else None
    return _Part(int(found["day"]), _month(found["month"]), own_year, _weekday(found["weekday"]))


def _month(typed: str | None) -> int | None:
    """The number of a month, from 1."""
    names = spoken()
    number = _named(typed, (names.months, names.short_months), ENGLISH.months)
    if typed is not None and number is None:
        raise ValueError(say("there is no month called {name}. {how}", name=typed, how=HOW))
    return None if number is None else number + 1


def _weekday(typed: str | None) -> int | None:
    """The number of a weekday, from 0 for Monday."""
    names = spoken()
    number = _named(typed, (names.weekdays, names.short_weekdays), ENGLISH.weekdays)
    if typed is not None and number is None:
        raise ValueError(say("there is no weekday called {name}. {how}", name=typed, how=HOW))
    return number


def _named(typed: str | None, own: tuple[tuple[str, ...], ...], english: tuple[str, ...]) -> int | None:
    """Which of some names was typed, in full or with its first letters, at least three; None for none, or for several.

    A whole name in the language of the moment goes before first letters, and before what it would be in English.
    """
    begins = (typed or "").casefold()
    whole = {number for names in own for number, name in enumerate(names) if name.casefold().rstrip(".") == begins}
    if len(whole) != 1 and len(begins) >= FEWEST_LETTERS:
        every = (*own, english)
        whole = {number for names in every for number, name in enumerate(names) if name.casefold().startswith(begins)}
    return whole.pop() if len(whole) == 1 else None


@lru_cache(maxsize=16)
def _between(months: tuple[str, ...]) -> re.Pattern[str]:
    """What joins two dates: a hyphen where it stands free, or where a day and a month follow; elsewhere it is part of one."""
    names = "|".join(re.escape(name.rstrip(".")) for name in {*ENGLISH.short_months, *months})
    return re.compile(
        rf"\s*[–—]\s*|\s+(?:to|until|-)\s+|\s*-\s*(?=\d{{1,2}}(?:st|nd|rd|th|\.)?\s*(?:{names}))", re.IGNORECASE
    )


def _dated(part: _Part, year: int) -> date:
    """The date, of this year if it has none of its own; ValueError for one that no calendar has."""
    if part.month is None:
        raise ValueError(say("that has no month. {how}", how=HOW))
    year = year if part.year is None else part.year
    if not 1 <= part.month <= 12:
        raise ValueError(say("there is no month {number}. {how}", number=part.month, how=HOW))
    try:
        day = date(year, part.month, part.day)
    except ValueError:
        month = spoken().short_months[part.month - 1]
        raise ValueError(say("there is no {day} {month} {year}.", day=part.day, month=month, year=year)) from None
    if part.weekday is not None and day.weekday() != part.weekday:
        other = spoken().weekdays[part.weekday]
        raise ValueError(
            say("{date} is a {weekday}, not a {other}.", date=date_said(day), weekday=weekday_said(day), other=other)
        )
    return day


def _order(part: _Part) -> tuple[int, int]:
    return part.month or 0, part.day
