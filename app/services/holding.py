"""Holds put and lifted for many sheets at once: one transaction, one reason, and one answer that names those left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy.engine import RowMapping

from app.domain.answer import WORDS, Answer
from app.domain.errors import Refusal, Refused
from app.domain.holds import HOLDS, OUT
from app.domain.language import mark, say, say_n
from app.domain.moves import refusals
from app.domain.numbers import Kind, shown
from app.domain.reading import Exact, read
from app.domain.sheet import Standing
from app.domain.stages import Step
from app.services import saying
from app.services.custody import Writing, enter_many, standing_of
from app.services.desk import Desk, behind
from app.services.facts import make_attempt, sheet_by_number
from app.services.writers import writing_for

MOST = 500
WHY = Refusal("reason-needed", mark("A reason is needed; it stays in the log."), mark("Say why."), "which-one")
# More than these are told as a number; the stored answer has all.
NAMED = 20
Going = list[tuple[int, Standing, Writing]]


def put_many(desk: Desk, kind: str, numbers: Sequence[str]) -> Answer:
    """Put one hold on these sheets, each named by its number as it was typed or scanned; the reason is the request's.

    Refused as a whole: not-signed-in, manager-only for who neither teaches nor manages, reason-needed, on-hold for a kind
    that is not put so (a sheet is sent out from its own page), misread-number for none or too many.
    """
    return _all(desk, Step.PUT_HOLD, kind, numbers)


def lift_many(desk: Desk, kind: str, numbers: Sequence[str]) -> Answer:
    """Lift one hold of these sheets. Refused as putting it is; what only the manager settles stays on those of others."""
    return _all(desk, Step.LIFT_HOLD, kind, numbers)


def _all(desk: Desk, step: Step, kind: str, numbers: Sequence[str]) -> Answer:
    _may_be_asked(desk, kind, numbers)
    desk.request = replace(desk.request, facts={**desk.request.facts, "hold": kind})
    going, done, left, seen = Going(), list[str](), list[dict[str, str]](), set[int]()
    for text in numbers:
        row = _row(desk, text)
        why = _UNKNOWN if row is None else _why_not(desk, row, step)
        if row is not None and row["id"] in seen:
            continue
        if row is None or why:
            left.append({"number": row["number"] if row is not None else text.strip()[:40], "why": why})
        else:
            going.append(_going(desk, row, step))
            done.append(row["number"])
        seen |= {row["id"]} if row is not None else set()
    if going:
        enter_many(desk, going)
    return _said(desk, step, kind, done, left)


def _going(desk: Desk, row: RowMapping, step: Step) -> tuple[int, Standing, Writing]:
    attempt = make_attempt(desk, row, standing_of(row), step)
    return row["id"], attempt.sheet, replace(writing_for(desk, row, attempt), reason=attempt.reason)


def _why_not(desk: Desk, row: RowMapping, step: Step) -> str:
    attempt = make_attempt(desk, row, standing_of(row), step)
    late = behind(desk, row["last_at"])
    found = [late] if late is not None else refusals(attempt)
    return " ".join(refusal.said(saying.desk_tell(desk)) for refusal in found)


def _row(desk: Desk, text: str) -> RowMapping | None:
    reading = read(text, desk.patterns)
    is_sheet = isinstance(reading, Exact) and reading.kind is Kind.SHEET
    return sheet_by_number(desk.session, reading.text) if is_sheet and isinstance(reading, Exact) else None


def _may_be_asked(desk: Desk, kind: str, numbers: Sequence[str]) -> None:
    teaches = any({"trainer", "manager"} & worker.rights for worker in desk.by)
    asked = (
        (not desk.by, Refusal("not-signed-in", say("Nobody is signed in here."), say("Sign in first."))),
        (
            not teaches,
            Refusal("manager-only", say("Only a trainer or the manager does this for many."), say("Ask them.")),
        ),
        (
            kind not in HOLDS or kind == OUT,
            Refusal("on-hold", say("Which hold?"), say("Say which kind of hold is meant."), "which-one"),
        ),
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


def _said(desk: Desk, step: Step, kind: str, done: Sequence[str], left: Sequence[dict[str, str]]) -> Answer:
    what = say(HOLDS[kind].words).capitalize()
    lines = [
        say_n("{what}: {n:,} sheet held.", "{what}: {n:,} sheets held.", len(done), what=what)
        if step is Step.PUT_HOLD
        else say_n("{what}: {n:,} sheet no longer held.", "{what}: {n:,} sheets no longer held.", len(done), what=what)
    ]
    lines += [f"{_shown(desk, each)}: {each['why']}" for each in left[:NAMED]]
    lines += [_more_left(len(left) - NAMED)] if len(left) > NAMED else []
    entry: Any = desk.written[-1] if desk.written else None
    word = say("Held.") if step is Step.PUT_HOLD else say("Lifted.")
    return Answer("done" if done else "stop", word if done else WORDS["stop"], tuple(lines), step=step.value, entry=entry,
                  moved=tuple(done), left=tuple(left), status=200 if done else 422)  # fmt: skip


def _shown(desk: Desk, each: dict[str, str]) -> str:
    return shown(each["number"], desk.patterns)


def _more_left(many: int) -> str:
    return say_n("{n} more was left as it is.", "{n} more were left as they are.", many)


_UNKNOWN = mark("no sheet here has this number.")
