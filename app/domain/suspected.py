"""Sheets suspected of old poisons: which start as such, and who may open them. Why somebody is not named is never asked."""

from __future__ import annotations

import re

from app.domain.attempt import Attempt
from app.domain.errors import Refusal
from app.domain.language import mark, say, say_n
from app.domain.stages import Stage, Step

HISTORIC = "historic"
# Work for which worker and station are named; mounting is asked too, to hold what was glued all the same.
ASKED = frozenset({Step.TAKE_UP, Step.BRING_BACK, Step.INSPECT, Step.MOUNT})
# How a consignment came that starts as suspected, and how that is said; it is kept in English.
OLD_KINDS: dict[str, str] = {"bequest": mark("came with a bequest"), "backlog": mark("found in the backlog")}
FOUND = mark("found without a number")
_YEAR = re.compile(r"(?<!\d)(1[5-9]\d\d|20\d\d)(?!\d)")
_FOLDER = mark("Keep the folder closed. Put it back {where}, and tell the manager.")


def why_suspected(kind: str | None, event_date: str | None, before_year: int, *, found: bool = False) -> str:
    """Why a sheet starts as suspected: how it came, or that it was collected before a year; empty when it does not.

    `event_date` is as its label says it: of a range, the earliest year counts; one without a year tells nothing.
    """
    if kind in OLD_KINDS:
        return OLD_KINDS[kind]
    years = [int(year) for year in _YEAR.findall(event_date or "")]
    if years and min(years) < before_year:
        return f"collected {min(years)}, before {before_year}"
    return FOUND if found else ""


def workers_are_named(attempt: Attempt) -> Refusal | None:
    """Everybody who handles a suspected sheet is named for it by the manager."""
    unnamed = attempt.unnamed
    if unnamed is None or not unnamed.workers:
        return None
    who = say(" and ").join(unnamed.workers)
    words = say_n(
        "It may have been treated with mercury or arsenic, and {who} is not named for such sheets.",
        "It may have been treated with mercury or arsenic, and {who} are not named for such sheets.",
        len(unnamed.workers), who=who,
    )  # fmt: skip
    return Refusal("not-named", words, say(_FOLDER, where=_back(attempt)))


def station_is_named(attempt: Attempt) -> Refusal | None:
    """A suspected sheet is opened only at a station that the manager has named for it."""
    unnamed = attempt.unnamed
    if unnamed is None or unnamed.station is None:
        return None
    if unnamed.station:
        words = say(
            "It may have been treated with mercury or arsenic, and {station} is not named for such sheets.",
            station=unnamed.station,
        )
    else:
        words = say("It may have been treated with mercury or arsenic, and no station is named here.")
    return Refusal("not-named", words, say(_FOLDER, where=_back(attempt)))


def _back(attempt: Attempt) -> str:
    at_a_table = attempt.sheet.place.table_id is not None
    if attempt.where and not at_a_table and attempt.sheet.stage in (Stage.READY, Stage.DRY, Stage.FILED):
        return say("in {where}", where=attempt.where)
    return say("on its shelf")


NAMED = (workers_are_named, station_is_named)
