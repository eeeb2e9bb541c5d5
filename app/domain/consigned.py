"""What came together: of which kinds it is, how what was said differs from what is here, and what became of each sheet."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from app.domain.stages import Stage

# How sheets come to a herbarium; the words are the trade's.
KINDS: dict[str, str] = {
    "fieldwork": "fieldwork",
    "exchange": "exchange",
    "gift": "gift",
    "bequest": "bequest",
    "backlog": "found in the backlog",
}
# A sheet that leaves in exchange is closed with these words and with whom it went to.
SENT = "sent in exchange to "
# A number that was given up because it was the same sheet as another is no sheet of its own.
JOINED = "put together with "
# What the change of a count by hand is called, by which the pages find it again.
COUNT = "count"
# How a label says that its collector gave no number (sine numero): such sheets have no number in common.
NO_NUMBER = ("", "s.n.", "s.n", "s. n.", "sn", "-", "–", "?", "S.N.", "S.n.")


class Fate(StrEnum):
    """What became of a sheet, as it is told to whoever gave it; the value is the words."""

    EXPECTED = "on the list, not unpacked yet"
    WAITING = "waiting to be mounted"
    AT_WORK = "being mounted"
    FILED = "filed in the collection"
    LOOKED_FOR = "not found at the last look, and looked for"
    SENT = "withdrawn: sent in exchange to another collection"
    DESTROYED = "withdrawn: destroyed"
    NOT_KEPT = "withdrawn: not kept in the collection"


WITHDRAWN = (Fate.SENT, Fate.DESTROYED, Fate.NOT_KEPT)
_FATES: dict[Stage, Fate] = {
    Stage.INTAKE: Fate.WAITING, Stage.DRYING: Fate.WAITING, Stage.READY: Fate.WAITING, Stage.MOUNTED: Fate.AT_WORK,
    Stage.UNDER_PRESS: Fate.AT_WORK, Stage.DRY: Fate.AT_WORK, Stage.FILED: Fate.FILED,
}  # fmt: skip


def fate(stage: str | None, closed_as: str | None, holds: Collection[str], *, on_table: bool = False) -> Fate:
    """What became of a sheet in plain words: its reason for leaving is told as a class, never in the room's own words."""
    if closed_as is not None:
        return _why_gone(closed_as)
    if stage is None:
        return Fate.EXPECTED
    if "not-found" in holds:
        return Fate.LOOKED_FOR
    return Fate.AT_WORK if on_table else _FATES[Stage(stage)]


def _why_gone(closed_as: str) -> Fate:
    words = closed_as.strip().casefold()
    if words.startswith(("sent in exchange", "exchange", "in exchange")):
        return Fate.SENT
    return Fate.DESTROYED if words.startswith("destroy") else Fate.NOT_KEPT


def difference(told: int | None, here: int, *, by: str = "said") -> str:
    """How many were told of and how many are here, in one plain sentence; empty when nobody told a number.

    "12 said, 11 here: one missing or miscounted."
    """
    if told is None:
        return ""
    words = f"{told:,} {by}, {here:,} here"
    if told == here:
        return f"{words}."
    apart = "one" if abs(told - here) == 1 else f"{abs(told - here):,}"
    return f"{words}: {apart} {'missing' if here < told else 'more'} or miscounted."


@dataclass(frozen=True, slots=True)
class Gathered:
    """What tells gatherings apart: a sheet's row, its specimen (one of its own where none is written), and its date."""

    sheet_id: int
    specimen: int | str
    event_date: str


def gatherings(sheets: Sequence[Gathered]) -> list[list[Gathered]]:
    """The gatherings among sheets of one collector and field number that are in duplicate: of two specimens or more.

    A number that was used on two dates is two gatherings; a sheet without a date goes with the only date there is.
    """
    dates = {sheet.event_date for sheet in sheets} - {""}
    if len(dates) < 2:
        return [list(sheets)] if _many(sheets) else []
    apart = ([sheet for sheet in sheets if sheet.event_date == date] for date in sorted({*dates, ""}))
    return [mine for mine in apart if _many(mine)]


def _many(sheets: Iterable[Gathered]) -> bool:
    return len({sheet.specimen for sheet in sheets}) > 1


def number_order(text: str) -> list[tuple[int, str]]:
    """A key that puts field number 9 before 10, and 10a after 10."""
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in re.split(r"(\d+)", text)]
