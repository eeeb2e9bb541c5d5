"""What deeds for many sheets at once have in common: which sheets are meant, which may go, and how those left are named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer
from app.domain.attempt import Attempt
from app.domain.errors import Refusal, Refused
from app.domain.language import mark, say, say_n
from app.domain.moves import refusals
from app.domain.numbers import Kind, shown
from app.domain.reading import Exact, read
from app.domain.sheet import Standing
from app.domain.stages import Step
from app.services import saying
from app.services.custody import Writing, standing_of
from app.services.desk import Desk, behind
from app.services.facts import make_attempt, sheet_by_number
from app.services.writers import writing_for

MOST = 500
# More than these are told as a number; the stored answer has all.
NAMED = 20
UNKNOWN = mark("no sheet here has this number.")
WHY = Refusal("reason-needed", mark("A reason is needed; it stays in the log."), mark("Say why."), "which-one")
Going = list[tuple[RowMapping, Standing, Writing]]
Left = list[dict[str, str]]


def may_be_asked(desk: Desk, numbers: Sequence[str], *more: tuple[bool, Refusal]) -> None:
    """Refused as a whole: not-signed-in, those of `more` that are so, reason-needed, misread-number for none or too many."""
    asked = (
        (not desk.by, Refusal("not-signed-in", say("Nobody is signed in here."), say("Sign in first."))),
        *more,
        (not desk.request.reason.strip(), WHY),
        (
            not 0 < len(numbers) <= MOST,
            Refusal(
                "misread-number", say("Name 1 to {most} sheets at a time.", most=MOST), say("Name them, one a line.")
            ),
        ),
    )
    if found := [refusal for is_so, refusal in asked if is_so]:
        raise Refused(*found)


def sorted_out(desk: Desk, step: Step, numbers: Sequence[str]) -> tuple[Going, Left]:
    """Of sheets named as they were typed or scanned: what goes, each sheet once; and what is left as it is, with why."""
    going, left, seen = Going(), Left(), set[int]()
    for text in numbers:
        row = _row(desk, text)
        if row is None:
            left.append({"number": text.strip()[:40], "why": say(UNKNOWN)})
        elif row["id"] not in seen:
            seen.add(row["id"])
            attempt = make_attempt(desk, row, standing_of(row), step)
            if why := why_not(desk, row, attempt):
                left.append({"number": row["number"], "why": why})
            else:
                going.append((row, attempt.sheet, replace(writing_for(desk, row, attempt), reason=attempt.reason)))
    return going, left


def why_not(desk: Desk, row: RowMapping, attempt: Attempt) -> str:
    """Why a step may not be taken with a sheet, in one line; empty where it may."""
    late = behind(desk, row["last_at"])
    found = [late] if late is not None else refusals(attempt)
    return " ".join(refusal.said(saying.desk_tell(desk)) for refusal in found)


def left_lines(desk: Desk, left: Left) -> list[str]:
    """The first of the sheets that were left as they are, each with why, and how many there are more."""
    lines = [f"{shown(each['number'], desk.patterns)}: {each['why']}" for each in left[:NAMED]]
    more = len(left) - NAMED
    return (
        [*lines, say_n("{n} more was left as it is.", "{n} more were left as they are.", more)] if more > 0 else lines
    )


def answered(desk: Desk, step: Step, word: str, lines: Sequence[str], done: Sequence[str], left: Left,
             next_: str = "") -> Answer:  # fmt: skip
    """The answer once it is written: `word` and what comes next if any sheet went, else that nothing was done (422)."""
    entry: Any = desk.written[-1] if desk.written else None
    return Answer("done" if done else "stop", word if done else WORDS["stop"], tuple(lines), next_ if done else "",
                  step=step.value, entry=entry, moved=tuple(done), left=tuple(left), status=200 if done else 422)  # fmt: skip


def _row(desk: Desk, text: str) -> RowMapping | None:
    reading = read(text, desk.patterns)
    is_sheet = isinstance(reading, Exact) and reading.kind is Kind.SHEET
    return sheet_by_number(desk.session, reading.text) if is_sheet and isinstance(reading, Exact) else None
