"""Which pot a sheet was glued from: known from where it was glued, when, and with which adhesive; else not known, never guessed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from typing import Any

from app.domain.findings import MENDED
from app.domain.language import mark
from app.domain.stages import Step

MOUNTED, RE_GLUED, MENDED_HERE = "mounted", "re-glued", "mended"
DEED_WORDS: dict[str, str] = {
    MOUNTED: mark("mounted"),
    RE_GLUED: mark("re-glued"),
    MENDED_HERE: mark("mended at the inspection"),
}
GLUES = (MOUNTED, RE_GLUED)
NOT_KNOWN = mark("lot not known")
# The steps of which a sheet's gluings are read.
READ = (Step.MOUNT, Step.RE_GLUE, Step.RESTATE, Step.INSPECT, Step.BACK_TO_TABLE)


@dataclass(frozen=True, slots=True)
class Opening:
    """From a moment on a pot of this lot is the one that is open at a station for its adhesive; with no lot, none is."""

    opening_id: int
    station_id: int
    adhesive_id: int
    lot_id: int | None
    at: datetime


@dataclass(frozen=True, slots=True)
class Span:
    """A lot was open at a station from a moment on and until another; `ends` is None while it still is."""

    station_id: int
    adhesive_id: int
    lot_id: int
    begins: datetime
    ends: datetime | None

    def holds(self, station_id: int | None, at: datetime) -> bool:
        """Whether it was open at this station at this moment."""
        return self.station_id == station_id and self.begins <= at and (self.ends is None or at < self.ends)


@dataclass(frozen=True, slots=True)
class Line:
    """One standing entry of a sheet, as far as its gluings are read from it."""

    entry_id: int
    sheet_id: int
    step: str
    at: datetime
    station_id: int | None
    facts: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Gluing:
    """Adhesive was put on a sheet: by which entry and deed, where and when, and with what.

    `named_id` is the adhesive as it was named then, `adhesive_id` as it was put right since. `looked` is how the first look
    at it ended, empty before one; `glued_again` whether the sheet was glued anew after it.
    """

    entry_id: int
    sheet_id: int
    deed: str
    station_id: int | None
    at: datetime
    named_id: int | None
    adhesive_id: int | None
    looked: str = ""
    glued_again: bool = False


def spans_of(openings: Iterable[Opening]) -> tuple[Span, ...]:
    """When each lot was open where: at one station one pot of each adhesive is open, until another takes its place."""
    ordered = sorted(openings, key=lambda each: (*_place(each), each.at, each.opening_id))
    found = list[Span]()
    for _, mine in groupby(ordered, _place):
        theirs = list(mine)
        for one, after in zip(theirs, [*theirs[1:], None], strict=True):
            ends = after.at if after is not None else None
            if one.lot_id is not None and one.at != ends:
                found.append(Span(one.station_id, one.adhesive_id, one.lot_id, one.at, ends))
    return tuple(found)


def lot_of(gluing: Gluing, spans: Iterable[Span]) -> int | None:
    """The lot from which a sheet was glued; None where it is not known.

    A mending at the inspection names no adhesive: its lot is known where one pot alone stood open there.
    """
    open_then = {span.lot_id: span.adhesive_id for span in spans if span.holds(gluing.station_id, gluing.at)}
    if gluing.deed == MENDED_HERE:
        return next(iter(open_then)) if len(open_then) == 1 else None
    return next((lot for lot, adhesive in open_then.items() if adhesive == gluing.adhesive_id), None)


def gluings_of(lines: Iterable[Line]) -> tuple[Gluing, ...]:
    """The gluings of one sheet, in the order in which they happened, each with how the first look at it ended."""
    found, is_new = list[Gluing](), False
    for line in sorted(lines, key=lambda each: (each.at, each.entry_id)):
        looked = str(line.facts.get("looked", ""))
        if looked and is_new:
            found[-1], is_new = replace(found[-1], looked=looked), False
        if line.step == Step.RESTATE:
            _put_right(found, line)
        elif line.step in (Step.MOUNT, Step.RE_GLUE):
            _glued(found, line)
            is_new = True
        elif looked == MENDED:
            found.append(_gluing(line, MENDED_HERE))
    return tuple(found)


def by_sheet(lines: Sequence[Line]) -> dict[int, tuple[Gluing, ...]]:
    """The gluings of each of many sheets."""
    mine: dict[int, list[Line]] = {}
    for line in lines:
        mine.setdefault(line.sheet_id, []).append(line)
    return {sheet: gluings_of(theirs) for sheet, theirs in mine.items()}


def _place(opening: Opening) -> tuple[int, int]:
    return opening.station_id, opening.adhesive_id


def _glued(found: list[Gluing], line: Line) -> None:
    again = line.step == Step.RE_GLUE
    last = _last(found)
    if again and last is not None:
        found[last] = replace(found[last], glued_again=True)
    found.append(_gluing(line, RE_GLUED if again else MOUNTED))


def _put_right(found: list[Gluing], line: Line) -> None:
    sets, last = line.facts.get("sets", {}), _last(found)
    if last is not None and "adhesive_id" in sets:
        found[last] = replace(found[last], adhesive_id=sets["adhesive_id"])


def _last(found: Sequence[Gluing]) -> int | None:
    """Which is the last gluing; a mending is none that could be put right, or that is glued anew."""
    return next((at for at in reversed(range(len(found))) if found[at].deed in GLUES), None)


def _gluing(line: Line, deed: str) -> Gluing:
    adhesive = line.facts.get("sets", {}).get("adhesive_id") if deed != MENDED_HERE else None
    return Gluing(line.entry_id, line.sheet_id, deed, line.station_id, line.at, adhesive, adhesive)
