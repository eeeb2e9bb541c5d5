"""Sheets brought back, or withdrawn, one or many at once: one transaction, one reason, and those left out are named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer
from app.domain.errors import Refusal, Refused
from app.domain.holds import AWAY
from app.domain.language import mark, say, say_n
from app.domain.moves import refusals
from app.domain.numbers import Kind, shown
from app.domain.reading import Exact, read
from app.domain.sheet import Standing
from app.domain.stages import STEP_WORDS, Step
from app.services import saying
from app.services.custody import Writing, enter_many, standing_of
from app.services.desk import Desk, behind
from app.services.facts import make_attempt, sheet_by_number
from app.services.wanted import ENDED_BY, end_wish
from app.services.writers import writing_for

MOST = 500
# More than these are told as a number; the stored answer has all.
NAMED = 20
Going = list[tuple[RowMapping, Standing, Writing]]
Left = list[dict[str, str]]
WHY = Refusal("reason-needed", mark("A reason is needed; it stays in the log."), mark("Say why."), "which-one")


def bring_back_many(desk: Desk, numbers: Sequence[str]) -> Answer:
    """Bring these filed sheets back, each named by its number as it was typed or scanned; the reason is the request's.

    Those that are not filed, or may not be touched, are named and stay. Refused as a whole: not-signed-in, reason-needed,
    misread-number for none or too many.
    """
    return _all(desk, Step.BRING_BACK, numbers)


def withdraw_many(desk: Desk, numbers: Sequence[str]) -> Answer:
    """Withdraw these sheets for good; their log stays. Refused as bringing back is, and manager-only for each."""
    return _all(desk, Step.WITHDRAW, numbers)


def _all(desk: Desk, step: Step, numbers: Sequence[str]) -> Answer:
    _may_be_asked(desk, numbers)
    going, left = _sorted_out(desk, step, numbers)
    if going:
        enter_many(desk, [(row["id"], was, writing) for row, was, writing in going])
    for row, _, _ in going:
        if step in ENDED_BY and row["wanted_at"] is not None:
            end_wish(desk, row["id"], step)
    return _said(desk, step, [row["number"] for row, _, _ in going], left)


def _sorted_out(desk: Desk, step: Step, numbers: Sequence[str]) -> tuple[Going, Left]:
    """What goes, each sheet once; and what is left as it is, with why."""
    going, left, seen = Going(), Left(), set[int]()
    for text in numbers:
        row = _row(desk, text)
        if row is None:
            left.append({"number": text.strip()[:40], "why": _UNKNOWN})
        elif row["id"] not in seen:
            seen.add(row["id"])
            why = _why_not(desk, row, step)
            if why:
                left.append({"number": row["number"], "why": why})
            else:
                going.append(_going(desk, row, step))
    return going, left


def _going(desk: Desk, row: RowMapping, step: Step) -> tuple[RowMapping, Standing, Writing]:
    attempt = make_attempt(desk, row, standing_of(row), step)
    # Whoever writes of it has it in the hands, or knows what became of it.
    ends = tuple(sorted(attempt.sheet.holds & AWAY))
    writing = writing_for(desk, row, attempt)
    return row, attempt.sheet, replace(writing, reason=attempt.reason, lifts=(*writing.lifts, *ends))


def _why_not(desk: Desk, row: RowMapping, step: Step) -> str:
    late = behind(desk, row["last_at"])
    found = [late] if late is not None else refusals(make_attempt(desk, row, standing_of(row), step))
    return " ".join(refusal.said(saying.desk_tell(desk)) for refusal in found)


def _row(desk: Desk, text: str) -> RowMapping | None:
    reading = read(text, desk.patterns)
    is_sheet = isinstance(reading, Exact) and reading.kind is Kind.SHEET
    return sheet_by_number(desk.session, reading.text) if is_sheet and isinstance(reading, Exact) else None


def _may_be_asked(desk: Desk, numbers: Sequence[str]) -> None:
    asked = (
        (not desk.by, Refusal("not-signed-in", say("Nobody is signed in here."), say("Sign in first."))),
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


def _said(desk: Desk, step: Step, done: Sequence[str], left: Sequence[dict[str, str]]) -> Answer:
    word, deed = say(STEP_WORDS[step][1]).capitalize() + ".", STEP_WORDS[step][1]
    lines = [say_n("{n:,} sheet is {deed}: {why}.", "{n:,} sheets are {deed}: {why}.", len(done), deed=deed,
                   why=desk.request.reason.strip())]  # fmt: skip
    lines += [f"{shown(each['number'], desk.patterns)}: {each['why']}" for each in left[:NAMED]]
    lines += [_more_left(len(left) - NAMED)] if len(left) > NAMED else []
    entry: Any = desk.written[-1] if desk.written else None
    return Answer("done" if done else "stop", word if done else WORDS["stop"], tuple(lines if done else lines[1:]),
                  _NEXT[step] if done else "", step=step.value, entry=entry, moved=tuple(done), left=tuple(left),
                  status=200 if done else 422)  # fmt: skip


def _more_left(many: int) -> str:
    return say_n("{n} more was left as it is.", "{n} more were left as they are.", many)


_UNKNOWN = mark("no sheet here has this number.")
_NEXT = {Step.BRING_BACK: mark("Put them on the inspection shelf."), Step.WITHDRAW: mark("They are out of the queue.")}
