"""What a station may still say of a scan that it kept while the line was down."""

from __future__ import annotations

from datetime import datetime, timedelta

from app.domain.errors import Refusal
from app.domain.language import say
from app.domain.stages import Step

# Deeds that stay true whenever they are told. A count says only what somebody saw; everything else rests on a judgement
# of that moment (dry, ready, passed, the right shelf), which nobody can make anew an hour later.
SAFE_LATE = frozenset({Step.TAKE_UP, Step.MOUNT, Step.PUT_UNDER_WEIGHT, Step.WEIGHTS_ON, Step.WEIGHTS_OFF, Step.COUNT})
# So long whoever scanned it still stands there with the thing in their hands. Common practice, no source.
STILL_THERE = timedelta(minutes=1)


def told_too_late(step: Step, happened_at: datetime, now: datetime) -> Refusal | None:
    """Why this step may not be written from a scan that a station kept since then; None where it may.

    `happened_at` is the earliest moment at which it may have been.
    """
    if step in SAFE_LATE or now - happened_at <= STILL_THERE:
        return None
    words = say("It was scanned at {scanned}, when the line was down, and nothing was written.")
    return Refusal(
        "too-old", words, say("Look where it lies now, and scan it again."), "not-yet", {"scanned": happened_at}
    )


def bounds_of(
    told: datetime, not_before: datetime | None, clear_at: datetime | None
) -> tuple[datetime, datetime] | None:
    """Between which moments a kept scan was made; None where that cannot be.

    `told` is when it was, or with `not_before` the latest that it may have been. At `clear_at` the station was heard of
    with nothing to send, so that it cannot have been before; of a station that was never heard of nothing is believed.
    """
    if clear_at is None or told < clear_at:
        return None
    earliest = told if not_before is None else not_before
    return min(max(earliest, clear_at), told), told
