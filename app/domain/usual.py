"""What is usual, in words, and the limit that follows from it where one does."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from app.domain.house import RULES
from app.domain.language import mark, say, say_n
from app.domain.limits import ON_SHELVES, limit_words
from app.domain.stages import Stage
from app.domain.stalls import Limit
from app.domain.stays import DAY_H, WHOLE_HOURS_BELOW_H
from app.domain.words import days_said

WEEKS_OF_ITS_OWN = 8
HALF, NINE_IN_TEN = 0.5, 0.9
NOT_REACHED = mark("not reached")
DAYS_FROM_H = 48
# The house rule that says how long a sheet may wait, for the stages where that follows from what is usual.
RULE_OF: dict[Stage, str] = {
    Stage.INTAKE: "limit_intake_dry_days",
    Stage.READY: "limit_ready_days",
    Stage.MOUNTED: "limit_mounted_h",
}
_WHY_NONE: dict[Stage, str] = {
    Stage.DRYING: mark("None: what dries spoils, and does not wait for what is usual."),
    Stage.UNDER_PRESS: mark("None: its limit counts from when a sheet was ready, not from when it was laid in."),
    Stage.DRY: mark(
        "None: its limits are for what a sheet waits for, and this is the whole time from the press to filing."
    ),
}
_FRESH = mark("None: fresh plants are among these, and what spoils does not wait for what is usual.")
_OF_STAGE = mark("None: here the limit of the stage holds, whatever the cabinet.")


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A limit that follows from what is usual: its `value` in the unit of its rule, and how it is said. Where none
    follows the value is None, and the words say why.
    """

    value: int | None
    words: str


@dataclass(frozen=True, slots=True)
class Figures:
    """What a limit is suggested from: the lower bound of the bucket in which nine in ten have ended (hours, None: not
    reached), how many stays ended, in how many ISO weeks, and whether fresh plants are among them.
    """

    ninety_h: int | None
    ended: int
    weeks: int
    fresh_among: bool = False


def bucket_end_h(hours: int) -> int:
    """The upper bound in hours of the bucket that begins there: every stay in it was shorter."""
    return hours + (1 if hours < WHOLE_HOURS_BELOW_H else DAY_H)


def within(hours: int | None) -> str:
    """The time within which stays of this bucket ended, never said too short: "5 hours", "3 days" from two days on,
    "not reached" for None.
    """
    return say(NOT_REACHED) if hours is None else hours_words(bucket_end_h(hours))


def hours_words(hours: int) -> str:
    """A span of whole hours as it is said, never too short: "5 hours", from two days on "3 days"."""
    number, unit = _number(hours)
    return days_said(number) if unit == "day" else say_n("{n} hour", "{n} hours", number)


def usual_words(median_h: int | None, ninety_h: int | None) -> str:
    """Both figures in a sentence: "half within 3 days, nine in ten within 11 days"."""
    return say("half {half}, nine in ten {most}", half=_within(median_h), most=_within(ninety_h))


def short_words(median_h: int | None, ninety_h: int | None) -> str:
    """The same for a small place: "usually 3 days, nine in ten 11", "usually 5 hours, nine in ten not reached"; "nearly
    always 3 days" where both are said alike.
    """
    if median_h is None:
        return say("usual time not reached")
    second = within(ninety_h)
    if second == within(median_h):
        return say("nearly always {time}", time=second)
    if ninety_h is not None and _number(bucket_end_h(median_h))[1] == _number(bucket_end_h(ninety_h))[1]:
        second = str(_number(bucket_end_h(ninety_h))[0])
    return say("usually {time}, nine in ten {most}", time=within(median_h), most=second)


def suggested(
    stage: Stage, found: Figures, *, least: int, open_share: Fraction, in_cabinet: bool = False
) -> Suggestion:
    """The limit that nine in ten keep, where one follows: the room's first eight weeks are over, `least` stays have
    ended, nine in ten is reached, and the rule's bounds hold it.

    On shelves in open days, of which `open_share` is the share among all days; once mounted in hours. Rounded up.
    """
    rule = RULE_OF.get(stage)
    if rule is None:
        return Suggestion(None, say(_WHY_NONE.get(stage, "")))
    if in_cabinet and stage not in ON_SHELVES:
        return Suggestion(None, say(_OF_STAGE))
    wanting = _wanting(found, least)
    if wanting or found.ninety_h is None:
        return Suggestion(None, wanting)
    end_h, row = bucket_end_h(found.ninety_h), RULES[rule]
    limit = (
        Limit(hours=end_h) if stage is Stage.MOUNTED else Limit(open_days=max(1, math.ceil(open_share * end_h / DAY_H)))
    )
    value = limit.hours or limit.open_days or 0
    if not row.low <= value <= row.high:
        none = mark("None: {limit} lie outside the {low} to {high} that the rule allows.")
        return Suggestion(None, say(none, limit=limit_words(limit), low=row.low, high=row.high))
    return Suggestion(value, limit_words(limit))


def reason_of(ended: int) -> str:
    """Why a suggested limit was taken, where nothing else is said."""
    return f"nine in ten took no longer, of {ended:,} stays"


def _wanting(found: Figures, least: int) -> str:
    """What is wanting before a limit follows; empty for nothing."""
    wanting = (
        (found.fresh_among, say(_FRESH)),
        (
            found.weeks < WEEKS_OF_ITS_OWN,
            say(
                "Not yet: {weeks} of {least} weeks are on record.",
                weeks=found.weeks,
                least=WEEKS_OF_ITS_OWN,
            ),
        ),
        (found.ended < least, say("Not yet: {ended} of {least} stays have ended.", ended=found.ended, least=least)),
        (found.ninety_h is None, say("None: nine in ten is not reached while so many still wait.")),
    )
    return next((words for is_so, words in wanting if is_so), "")


def _within(hours: int | None) -> str:
    return say(NOT_REACHED) if hours is None else say("within {time}", time=within(hours))


def _number(hours: int) -> tuple[int, str]:
    return (hours, "hour") if hours < DAYS_FROM_H else (math.ceil(hours / DAY_H), "day")
