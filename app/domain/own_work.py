"""One's own work, where it may be passed at all: with fresh eyes, on a later day."""

from __future__ import annotations

from datetime import datetime

from app.domain.attempt import Attempt
from app.domain.calendar import local_day
from app.domain.errors import Refusal
from app.domain.language import say


def own_work_waits_a_day(attempt: Attempt) -> Refusal | None:
    """Where the house has it so, own work is passed on a later day of the room than the one on which it was done."""
    house = attempt.house
    if house.not_own_work or not house.own_work_next_day or attempt.facts.get("outcome") != "passed":
        return None
    done_at = _own_work_at(attempt)
    zone = attempt.calendar.zone
    if done_at is None or local_day(attempt.happened_at, zone) > local_day(done_at, zone):
        return None
    return Refusal(
        "own-work",
        say("You mounted or mended this sheet yourself, and not before today."),
        say("Look at it again on a later day. Leave it on the inspection shelf."),
        "not-yet",
    )


def _own_work_at(attempt: Attempt) -> datetime | None:
    """When those who take the step last worked on the sheet, at the latest; None when they never did."""
    sheet, who = attempt.sheet, {worker.worker_id for worker in attempt.by}
    mended = not who.isdisjoint(sheet.mended_by)
    if not mended and who.isdisjoint(sheet.mounted_by):
        return None
    # A sheet remembers when it was glued, not when it was mended without glue: only an inspection since does that.
    since_glued = mended and sheet.outcome is not None
    return sheet.last_at if since_glued or sheet.glued_at is None else sheet.glued_at
