"""Sheets brought back, or withdrawn, one or many at once: one transaction, one reason, and those left out are named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from app.domain.answer import Answer
from app.domain.holds import AWAY
from app.domain.language import mark, say, say_n
from app.domain.sheet import Standing
from app.domain.stages import STEP_WORDS, Step
from app.services.custody import Writing, enter_many
from app.services.desk import Desk
from app.services.many_sheets import answered, left_lines, may_be_asked, sorted_out
from app.services.wanted import ENDED_BY, end_wish

_NEXT = {Step.BRING_BACK: mark("Put them on the inspection shelf."), Step.WITHDRAW: mark("They are out of the queue.")}


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
    may_be_asked(desk, numbers)
    going, left = sorted_out(desk, step, numbers)
    if going:
        enter_many(desk, [(row["id"], was, _in_the_hands(was, writing)) for row, was, writing in going])
    for row, _, _ in going:
        if step in ENDED_BY and row["wanted_at"] is not None:
            end_wish(desk, row["id"], step)
    done = [row["number"] for row, _, _ in going]
    lines = left_lines(desk, left)
    deed = STEP_WORDS[step][1]
    if done:
        lines.insert(0, say_n("{n:,} sheet is {deed}: {why}.", "{n:,} sheets are {deed}: {why}.", len(done), deed=deed,
                              why=desk.request.reason.strip()))  # fmt: skip
    return answered(desk, step, say(deed).capitalize() + ".", lines, done, left, _NEXT[step])


def _in_the_hands(was: Standing, writing: Writing) -> Writing:
    """Whoever writes of a sheet has it in the hands, or knows what became of it: it is not missing or out any more."""
    return replace(writing, lifts=(*writing.lifts, *sorted(was.holds & AWAY)))
