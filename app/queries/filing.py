"""The filing round: what is dry, passed and whole, in the order in which one walks past the cabinets where it is filed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.db.filed_places import Filed, Lies, Likeness, Shelf, family_places
from app.domain.filing_order import NO_FAMILY, Plant, Written, begins_folder, filing_key, plant_of
from app.domain.house import House
from app.domain.language import mark, say
from app.domain.limits import treatment_holds
from app.domain.natural_order import natural_order
from app.domain.numbers import Pattern, shown
from app.queries.fetching import cautions_by_sheet
from app.queries.filing_rows import Furniture, filed_today, furniture, parts_missing, to_be_filed
from app.queries.house import house_now, patterns_now
from app.queries.lines import place_of

MOST_IN_ROUND = 1000
NOWHERE = mark("No place known by the log")
# Dwc terms first; the others are the room's own.
COLUMNS = (
    "catalogNumber",
    "scientificName",
    "family",
    "recordedBy",
    "recordNumber",
    "lies in",
    "cabinet",
    "shelf",
    "note",
)


@dataclass(frozen=True, slots=True)
class RoundLine:
    """One sheet of the round, in the place that is proposed, or where it was filed at `filed_at`.

    `by` is whose like lies there by the log, empty where nothing like it is filed. `notes` are what to know of it.
    """

    number: str
    shown: str
    plant: str
    family: str
    collector: str
    record_number: str
    lies_in: str
    cabinet: str
    shelf: str
    by: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    filed_at: datetime | None


@dataclass(frozen=True, slots=True)
class RoundGroup:
    """What goes into one cabinet; `sign` is what hangs on it, to be read before its door is opened. `left` are not filed yet."""

    where: str
    sign: str
    lines: tuple[RoundLine, ...]
    left: int


@dataclass(frozen=True, slots=True)
class StayLine:
    """A passed sheet that stays where it is, and why."""

    number: str
    shown: str
    plant: str
    family: str
    lies_in: str
    why: str


@dataclass(frozen=True, slots=True)
class Round:
    """The round as it is now: by cabinet, what stays, how many are left of it and how many were filed today.

    `matching` counts all that could be filed, also those that are not on the list.
    """

    groups: tuple[RoundGroup, ...]
    stays: tuple[StayLine, ...]
    left: int
    done: int
    matching: int


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A row with its name taken apart, where its like lies, and the shelf that is proposed or was chosen."""

    row: Any
    plant: Plant
    lies: Lies | None
    at: Shelf | None


def filing_round(session: Session, now: datetime, zone: ZoneInfo, most: int = MOST_IN_ROUND) -> Round:
    """What may be filed now, at most `most`, the longest waiting; with what was filed on this local day, where it lies."""
    house, room, filed = house_now(session), furniture(session), Filed(session)
    waiting, matching = to_be_filed(session, house, now, most)
    today = filed_today(session, now, zone, most)
    filed.learn(row.search_key for row in (*waiting, *today) if row.search_key)
    missing = parts_missing(session, waiting)
    sheets = [_sheet(filed, row) for row in waiting]
    stays = {each.row.id: why for each in sheets if (why := missing.get(each.row.id) or _clean(each, room, house, now))}
    going = [each for each in sheets if each.row.id not in stays]
    told = _Telling(session, room, filed, house, patterns_now(session))
    groups = told.groups([*going, *(_done(filed, row) for row in today)], family_places(session))
    return Round(groups, tuple(told.stay(each, stays[each.row.id]) for each in sheets if each.row.id in stays),
                 len(going), len(today), matching)  # fmt: skip


def round_rows(session: Session, now: datetime, zone: ZoneInfo) -> Iterator[tuple[str, ...]]:
    """The headings, then a row for each sheet that is still to be filed, in the order of the round."""
    yield COLUMNS
    for group in filing_round(session, now, zone).groups:
        for line in group.lines:
            if line.filed_at is None:
                yield (line.number, line.plant, line.family, line.collector, line.record_number, line.lies_in, line.cabinet,
                       line.shelf, "; ".join(line.notes))  # fmt: skip


def _sheet(filed: Filed, row: Any) -> _Sheet:
    plant = plant_of(row.plant or "", row.family or "")
    lies = filed.like(_likeness(row, plant))
    return _Sheet(row, plant, lies, lies.places[0][0] if lies else None)


def _done(filed: Filed, row: Any) -> _Sheet:
    plant, at = plant_of(row.plant or "", row.family or ""), (row.cabinet_id, row.shelf_id)
    return _Sheet(row, plant, filed.like(_likeness(row, plant), but=at), at if row.cabinet_id else None)


def _likeness(row: Any, plant: Plant) -> Likeness:
    return Likeness(row.search_key or "" if plant.species else "", plant.genus, row.family or "")


def _clean(each: _Sheet, room: Furniture, house: House, now: datetime) -> str:
    """Why an untreated sheet stays: its place is in a clean cabinet, where the house treats at all."""
    treats = house.treat_before_mounting or house.treat_before_filing
    if each.at is None or not treats or not room.cabinets[each.at[0]].is_clean:
        return ""
    is_treated = treatment_holds(each.row.treated_until, now)
    return "" if is_treated else say("It is not treated, and {place} is clean.", place=room.said(each.at))


class _Telling:
    """How the sheets of one round are told."""

    def __init__(
        self, session: Session, room: Furniture, filed: Filed, house: House, patterns: Sequence[Pattern]
    ) -> None:
        self._session, self._room, self._filed, self._house, self._patterns = session, room, filed, house, patterns
        self._more: Counter[tuple[str, Shelf]] = Counter()

    def groups(self, sheets: Sequence[_Sheet], families: dict[str, int]) -> tuple[RoundGroup, ...]:
        """By cabinet as one walks, and there in filing order; what has no place comes last."""
        cautions = cautions_by_sheet(self._session, [each.row for each in sheets]) if sheets else {}
        ordered = sorted(sheets, key=lambda each: (self._walk(each.at), filing_key(_written(each.row), families)))
        found = []
        for cabinet_id, together in groupby(ordered, key=lambda each: each.at[0] if each.at else None):
            lines = tuple(self._line(each, cautions.get(each.row.id, ())) for each in together)
            cabinet = self._room.cabinets.get(cabinet_id) if cabinet_id is not None else None
            where, sign = (
                (say("Cabinet {name}", name=cabinet.name), cabinet.note or "") if cabinet else (say(NOWHERE), "")
            )
            found.append(RoundGroup(where, sign, lines, sum(line.filed_at is None for line in lines)))
        return tuple(found)

    def stay(self, each: _Sheet, why: str) -> StayLine:
        """A sheet that stays."""
        row = each.row
        return StayLine(
            row.number, shown(row.number, self._patterns), row.plant or "", row.family or "", place_of(row), why
        )

    def _walk(self, at: Shelf | None) -> tuple[Any, ...]:
        if at is None:
            return (1,)
        cabinet = self._room.cabinets[at[0]]
        return (0, cabinet.walk, natural_order(cabinet.name), at[0])

    def _line(self, each: _Sheet, cautions: tuple[str, ...]) -> RoundLine:
        row, is_done = each.row, each.row.filed_at is not None
        cabinet, shelf = self._room.names(each.at)
        return RoundLine(
            row.number, shown(row.number, self._patterns), row.plant or "", row.family or "", row.collector or "",
            row.record_number or "", "" if is_done else place_of(row), cabinet, shelf, "" if is_done else self._by(each),
            tuple(self._done_notes(each) if is_done else self._notes(each)), cautions, row.filed_at,
        )  # fmt: skip

    def _by(self, each: _Sheet) -> str:
        if each.lies is None:
            return ""
        words = {"name": each.row.plant, "genus": each.plant.genus.capitalize(), "family": each.row.family}
        return str(words[each.lies.by])

    def _notes(self, each: _Sheet) -> list[str]:
        """What to know before it is put there."""
        nameless = each.plant.why_last or ("" if each.plant.family else NO_FAMILY)
        full = say("the shelf is full by the log") if each.at is not None and self._room.is_full(each.at) else ""
        bulky = say("bulky: on top in its folder") if each.row.bulk == "bulky" else ""
        return [say(words) for words in (nameless, self._new_folder(each), full, bulky) if words]

    def _new_folder(self, each: _Sheet) -> str:
        """That a folder is full once those before it on the round lie there, too."""
        if each.at is None or not each.plant.species:
            return ""
        key = (str(each.row.search_key), each.at)
        lying = self._filed.of_name(key[0]).get(each.at, 0) + self._more[key]
        self._more[key] += 1
        return (
            say("start a new folder: {count} lie there", count=lying)
            if begins_folder(lying, self._house.folder_sheets)
            else ""
        )

    def _done_notes(self, each: _Sheet) -> list[str]:
        if each.lies is None or each.at in dict(each.lies.places):
            return []
        return [say("its like lies in {place}", place=self._room.said(each.lies.places[0][0]))]


def _written(row: Any) -> Written:
    return Written(row.plant or "", row.family or "", row.collector or "", row.record_number or "", row.number)
