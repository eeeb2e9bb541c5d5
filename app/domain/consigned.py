"""What came together: of which kinds it is, how what was said differs from what is here, and what became of each sheet."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from app.domain.language import SaidEnum, mark, say, say_n
from app.domain.stages import Stage

# How sheets come to a herbarium; the words are the trade's.
KINDS: dict[str, str] = {
    "fieldwork": mark("fieldwork"),
    "exchange": mark("exchange"),
    "gift": mark("gift"),
    "bequest": mark("bequest"),
    "backlog": mark("found in the backlog"),
}
# A sheet that leaves in exchange is closed with these words and with whom it went to.
SENT = "sent in exchange to "
GIVEN = "given to "
# A number that was given up because it was the same sheet as another is no sheet of its own.
JOINED = "put together with "
# How a number of sheets came to be known; marked so that they are said.
SAID, COUNTED = mark("said"), mark("counted")
# What the change of a count by hand is called, by which the pages find it again.
COUNT = "count"
# How a label says that its collector gave no number (sine numero): such sheets have no number in common.
NO_NUMBER = ("", "s.n.", "s.n", "s. n.", "sn", "-", "–", "?", "S.N.", "S.n.")


class Fate(SaidEnum):
    """What became of a sheet, as it is told to whoever gave it; the value is the words in English, and it says itself."""

    EXPECTED = mark("on the list, not unpacked yet")
    WAITING = mark("waiting to be mounted")
    AT_WORK = mark("being mounted")
    FILED = mark("filed in the collection")
    LOOKED_FOR = mark("not found at the last look, and looked for")
    SENT = mark("withdrawn: sent in exchange to another collection")
    DESTROYED = mark("withdrawn: destroyed")
    NOT_KEPT = mark("withdrawn: not kept in the collection")


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


def difference(told: int | None, here: int, *, by: str = SAID) -> str:
    """How many were told of and how many are here, in one plain sentence; empty when nobody told a number.

    "12 said, 11 here: one missing or miscounted."
    """
    if told is None:
        return ""
    counts = say("{told:,} {by}, {here:,} here", told=told, by=say(by), here=here)
    if told == here:
        return f"{counts}."
    apart = abs(told - here)
    if here < told:
        return say_n(
            "{counts}: one missing or miscounted.", "{counts}: {n:,} missing or miscounted.", apart, counts=counts
        )
    return say_n("{counts}: one more or miscounted.", "{counts}: {n:,} more or miscounted.", apart, counts=counts)


def why_closed(closed_as: str) -> str:
    """Why a sheet was closed, as it is said: the usual reasons in the language of the moment, what was typed as it is."""
    for kept, words in _CLOSED_WITH.items():
        if closed_as.startswith(kept):
            return say(words, name=closed_as.removeprefix(kept))
    return say(closed_as)


# Reasons that are kept with a name behind them.
_CLOSED_WITH: dict[str, str] = {
    SENT: mark("sent in exchange to {name}"), JOINED: mark("put together with {name}"), GIVEN: mark("given to {name}"),
}  # fmt: skip


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
