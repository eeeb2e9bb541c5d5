"""Dates as people type them: one date or one range to a line or comma, in forms that can be read in one way only."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from app.domain.words import MONTHS, WEEKDAYS

MOST_DAYS = 400  # more in one go is a slip in a year, not a closing list
MOST_ROLLED_DAYS = 60  # a range over the new year whose years were left out is a short one
MONTH_NAMES = ("January", "February", "March", "April", "May", "June",
               "July", "August", "September", "October", "November", "December")  # fmt: skip
HOW = "Write it like 24 Dec 2026, 24 Dec 2026 – 2 Jan 2027, or 2026-12-24."
DAY = timedelta(days=1)

_ISO = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_SAID = re.compile(
    r"(?:(?P<weekday>[A-Za-z]{3,})\.?\s+)?(?P<day>\d{1,2})(?:st|nd|rd|th)?(?:\s*(?P<month>[A-Za-z]{3,})\.?(?:\s+(?P<year>\d{4}))?)?",
    re.ASCII,
)
# A hyphen joins two dates where it stands free, or where a day and a month follow; elsewhere it is part of one.
_BETWEEN = re.compile(
    rf"\s*[–—]\s*|\s+(?:to|until|-)\s+|\s*-\s*(?=\d{{1,2}}(?:st|nd|rd|th)?\s*(?:{'|'.join(MONTHS)}))", re.IGNORECASE
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
                wrong.append(f"Line {number}, “{part[:60]}”: {error}")
    if not found and not wrong:
        wrong.append(f"There is no date in it. {HOW}")
    total = sum(span.length for span in found)
    if total > MOST_DAYS:
        wrong.append(f"That is {total:,} days. At most {MOST_DAYS} can be set in one go. Look at the years.")
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


def day_words(day: date) -> str:
    """A date with its year: "24 Dec 2026"."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def span_words(span: Span) -> str:
    """A run of days as it is said: "24 Dec 2026", "24 – 28 Dec 2026", "24 Dec 2026 – 2 Jan 2027"."""
    first, last = span.first, span.last
    if first == last:
        return day_words(last)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} – {day_words(last)}"
    start = f"{first.day} {MONTHS[first.month - 1]}" if first.year == last.year else day_words(first)
    return f"{start} – {day_words(last)}"


def days_words(days: Iterable[date]) -> str:
    """Some days as they are said: up to three runs by name, more as their number and their ends; empty for none."""
    runs = spans(days)
    if len(runs) <= 3:
        return ", ".join(map(span_words, runs))
    total = sum(run.length for run in runs)
    return f"{total} days from {day_words(runs[0].first)} to {day_words(runs[-1].last)}"


def _span(text: str, year: int) -> Span:
    ends = _BETWEEN.split(text)
    if len(ends) > 2:
        raise ValueError(f"that has more than two ends. {HOW}")
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
        raise ValueError(f"it ends on {day_words(last)}, before it begins on {day_words(first)}.")
    if None in (start.year, end.year) and first.year != last.year and (last - first).days > MOST_ROLLED_DAYS:
        raise ValueError("that would go on into another year. Write both years.")
    return Span(first, last)


def _read(text: str) -> _Part:
    """One date as typed; ValueError for what could be read in more ways than one, or in none."""
    if _ISO.fullmatch(text):
        year, month, day = (int(number) for number in text.split("-"))
        return _Part(day, month, year)
    found = _SAID.fullmatch(text)
    if found is None:
        raise ValueError(f"that cannot be read as a date in one way only. {HOW}")
    return _Part(
        int(found["day"]), _named(found["month"], MONTH_NAMES, "month"), int(found["year"]) if found["year"] else None,
        _named(found["weekday"], WEEKDAYS, "weekday"),
    )  # fmt: skip


def _named(typed: str | None, names: tuple[str, ...], kind: str) -> int | None:
    """The number of a month (from 1) or weekday (from 0) that was typed in full or with its first letters."""
    if typed is None:
        return None
    found = [number for number, name in enumerate(names) if name.lower().startswith(typed.lower())]
    if len(found) != 1:
        raise ValueError(f"there is no {kind} called {typed}. {HOW}")
    return found[0] + (kind == "month")


def _dated(part: _Part, year: int) -> date:
    """The date, of this year if it has none of its own; ValueError for one that no calendar has."""
    if part.month is None:
        raise ValueError(f"that has no month. {HOW}")
    year = year if part.year is None else part.year
    if not 1 <= part.month <= 12:
        raise ValueError(f"there is no month {part.month}. {HOW}")
    try:
        day = date(year, part.month, part.day)
    except ValueError:
        raise ValueError(f"there is no {part.day} {MONTHS[part.month - 1]} {year}.") from None
    if part.weekday is not None and day.weekday() != part.weekday:
        raise ValueError(f"{day_words(day)} is a {WEEKDAYS[day.weekday()]}, not a {WEEKDAYS[part.weekday]}.")
    return day


def _order(part: _Part) -> tuple[int, int]:
    return part.month or 0, part.day
