"""Holds put and lifted for many sheets at once: one transaction, one reason, and one answer that names those left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from app.domain.answer import Answer
from app.domain.errors import Refusal
from app.domain.holds import HOLDS, OUT
from app.domain.language import say, say_n
from app.domain.stages import Step
from app.services.custody import enter_many
from app.services.desk import Desk
from app.services.many_sheets import answered, left_lines, may_be_asked, sorted_out


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
    teaches = any({"trainer", "manager"} & worker.rights for worker in desk.by)
    may_be_asked(
        desk,
        numbers,
        (
            not teaches,
            Refusal("manager-only", say("Only a trainer or the manager does this for many."), say("Ask them.")),
        ),
        (
            kind not in HOLDS or kind == OUT,
            Refusal("on-hold", say("Which hold?"), say("Say which kind of hold is meant."), "which-one"),
        ),
    )
    desk.request = replace(desk.request, facts={**desk.request.facts, "hold": kind})
    going, left = sorted_out(desk, step, numbers)
    if going:
        enter_many(desk, [(row["id"], was, writing) for row, was, writing in going])
    done = [row["number"] for row, _, _ in going]
    word = say("Held.") if step is Step.PUT_HOLD else say("Lifted.")
    return answered(desk, step, word, [_said(step, kind, len(done)), *left_lines(desk, left)], done, left)


def _said(step: Step, kind: str, many: int) -> str:
    what = say(HOLDS[kind].words).capitalize()
    if step is Step.PUT_HOLD:
        return say_n("{what}: {n:,} sheet held.", "{what}: {n:,} sheets held.", many, what=what)
    return say_n("{what}: {n:,} sheet no longer held.", "{what}: {n:,} sheets no longer held.", many, what=what)
