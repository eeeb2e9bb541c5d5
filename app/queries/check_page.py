"""What a cabinet check found, sheet by sheet: what is missing with its last hands, what belongs elsewhere, what moved meanwhile."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.checked import reckoned
from app.db.models import Cabinet, Shelf, Station, table_of
from app.domain.checking import FATE_WORDS, Fate, Lies, Reckoned, missing_share
from app.domain.intervals import Interval
from app.domain.language import say
from app.domain.numbers import shown
from app.domain.words import said
from app.queries.check_hands import LastHand, found_later, last_hands
from app.queries.checks import EXPECTED, SEEN, CheckLine, check_line, stations_in
from app.queries.house import patterns_now
from app.queries.lines import line_rows, place_of

STATION, SHELF = table_of(Station), table_of(Shelf)


@dataclass(frozen=True, slots=True)
class CheckedSheet:
    """One sheet of a check. `belongs` is where the log had it, `told` what the log wrote meanwhile, `place` where it is now.

    `lifted_at` and `lifted_where` say when and where a sheet that was held as not found was scanned again.
    """

    sheet_id: int
    number: str
    shown: str
    plant: str
    family: str
    fate: Fate
    expected: bool
    belongs: str
    told: str
    at: datetime | None
    shelf: str
    place: str
    last: LastHand | None = None
    lifted_at: datetime | None = None
    lifted_where: str = ""


@dataclass(frozen=True, slots=True)
class Unnamed:
    """What was scanned and is no sheet here: a number that nobody knows, or (empty) one that could not be read."""

    shown: str
    at: datetime
    shelf: str
    station: str


@dataclass(frozen=True, slots=True)
class CheckGroup:
    """Sheets of which the same became."""

    fate: Fate
    words: str
    lines: tuple[CheckedSheet, ...]


@dataclass(frozen=True, slots=True)
class CheckPage:
    """A check and what it found; `found` counts the sheets that are where they belong, `share` what a sample tells of all.

    While it goes on, what was not scanned yet is counted in `to_see` and called missing by nobody.
    """

    line: CheckLine
    seed: int | None
    groups: tuple[CheckGroup, ...]
    unknown: tuple[Unnamed, ...]
    unreadable: tuple[Unnamed, ...]
    found: int
    to_see: int
    missing: int
    share: Interval | None
    stations: tuple[str, ...]

    @property
    def named(self) -> int:
        """How many sheets somebody has to see to."""
        apart = (Fate.MISSING, Fate.ELSEWHERE, Fate.CLOSED, Fate.WRONG_SHELF)
        kept_apart = len(self.unknown) + len(self.unreadable)
        return sum(len(group.lines) for group in self.groups if group.fate in apart) + kept_apart


def check_page(session: Session, check_id: int, now: datetime, zone: ZoneInfo, *, names: bool) -> CheckPage | None:
    """One check with all that it found; None when there is none."""
    asked = check_line(session, check_id, names=names)
    if asked is None:
        return None
    line, row = asked
    fates = reckoned(session, row)
    goes_on = line.state in ("open", "broken-off")
    named = [each for each in fates if each.fate is not Fate.FOUND and not (goes_on and each.fate is Fate.MISSING)]
    sheets = _sheets(session, row, named, now, zone, names)
    groups = tuple(CheckGroup(fate, say(words), mine) for fate, words in FATE_WORDS.items()
                   if (mine := tuple(each for each in sheets if each.fate is fate)))  # fmt: skip
    missing = sum(each.fate is Fate.MISSING for each in fates)
    share = missing_share(missing, line.expected) if line.sample is not None and not goes_on else None
    unnamed = _unnamed(session, check_id)
    return CheckPage(
        line, row.seed, groups, tuple(each for each in unnamed if each.shown),
        tuple(each for each in unnamed if not each.shown), sum(each.fate is Fate.FOUND for each in fates),
        missing if goes_on else 0, 0 if goes_on else missing, share, stations_in(session, check_id),
    )  # fmt: skip


def check_rows(session: Session, check_id: int, now: datetime, zone: ZoneInfo, *, names: bool) -> Iterator[list[str]]:
    """A check as a table: its headings, then a line for each sheet, found ones too. ValueError when there is no such check."""
    asked = check_line(session, check_id, names=names)
    if asked is None:
        raise ValueError(say("There is no such check."))
    line, row = asked
    yield list(HEADINGS if names else HEADINGS[:-1])
    for each in _sheets(session, row, reckoned(session, row), now, zone, names):
        words = (
            say("not seen yet")
            if each.fate is Fate.MISSING and line.state == "open"
            else say(FATE_WORDS[each.fate]).lower()
        )
        cells = [each.number, each.plant, each.family, "yes" if each.expected else "no", words, each.belongs, each.told,
                 _iso(each.at, zone), each.shelf, _iso(each.lifted_at, zone)]  # fmt: skip
        yield [*cells, say(" and ").join(each.last.by) if each.last else ""] if names else cells
    for thing in _unnamed(session, check_id):
        cells = [thing.shown, "", "", "no", say("number unknown") if thing.shown else say("could not be read"), "", "",
                 _iso(thing.at, zone), thing.shelf, ""]  # fmt: skip
        yield [*cells, ""] if names else cells


def drawn_ids(session: Session, check_id: int) -> tuple[int, ...]:
    """The sheets that a check looks for."""
    return tuple(session.execute(select(EXPECTED.c.sheet_id).where(EXPECTED.c.check_id == check_id)).scalars())


def _sheets(session: Session, check: Any, fates: Sequence[Reckoned], now: datetime, zone: ZoneInfo,
            names: bool) -> list[CheckedSheet]:  # fmt: skip
    rows = {row.id: row for row in _rows(session, [each.sheet_id for each in fates])}
    missing = [each.sheet_id for each in fates if each.fate is Fate.MISSING]
    hands, lifted = last_hands(session, missing, check, names), found_later(session, check.id)
    patterns, shelves = patterns_now(session), _shelves(session)
    found = [
        CheckedSheet(
            each.sheet_id, row.number, shown(row.number, patterns), row.plant or "", row.family or "", each.fate,
            each.expected, _belongs(each.belongs, shelves), _told(each, now, zone), each.at,
            shelves.get(each.shelf_id or 0, ("", ""))[1], place_of(row), hands.get(each.sheet_id),
            *lifted.get(each.sheet_id, (None, "")),
        )
        for each in fates if (row := rows.get(each.sheet_id)) is not None
    ]  # fmt: skip
    return sorted(found, key=lambda each: (each.belongs, each.number))


def _rows(session: Session, ids: Sequence[int]) -> Iterator[Any]:
    for start in range(0, len(ids), 500):
        yield from line_rows(session, ids[start : start + 500])


def _told(each: Reckoned, now: datetime, zone: ZoneInfo) -> str:
    """What the log wrote of a sheet meanwhile: "left at 10:40 for Mounting table 2", "came 10:50"."""
    if each.turn is None:
        return ""
    at, where = said(each.turn.happened_at, zone, now), each.turn.lies.where
    if each.fate is Fate.CAME:
        return say("came {moment}, to {where}", moment=at, where=where) if where else say("came {moment}", moment=at)
    if where == "withdrawn":
        return say("withdrawn {moment}", moment=at)
    return say("left {moment} for {where}", moment=at, where=where) if where else say("left {moment}", moment=at)


def _belongs(lies: Lies, shelves: Mapping[int, tuple[str, str]]) -> str:
    if lies.shelf_id is not None and lies.shelf_id in shelves:
        cabinet, shelf = shelves[lies.shelf_id]
        return say("{cabinet}, shelf {shelf}", cabinet=cabinet, shelf=shelf)
    return lies.where


def _shelves(session: Session) -> dict[int, tuple[str, str]]:
    found = select(SHELF.c.id, Cabinet.name.label("cabinet"), SHELF.c.name).join(
        Cabinet, Cabinet.id == SHELF.c.cabinet_id
    )
    return {row.id: (row.cabinet, row.name) for row in session.execute(found)}


def _unnamed(session: Session, check_id: int) -> list[Unnamed]:
    found = (
        select(SEEN.c.text, SEEN.c.seen_at, SHELF.c.name.label("shelf"), STATION.c.name.label("station"))
        .outerjoin(SHELF, SHELF.c.id == SEEN.c.shelf_id).outerjoin(STATION, STATION.c.id == SEEN.c.station_id)
        .where(SEEN.c.check_id == check_id, SEEN.c.sheet_id.is_(None)).order_by(SEEN.c.seen_at, SEEN.c.id)
    )  # fmt: skip
    patterns = patterns_now(session)
    return [Unnamed(shown(row.text, patterns) if row.text else "", row.seen_at, row.shelf or "", row.station or "")
            for row in session.execute(found)]  # fmt: skip


def _iso(moment: datetime | None, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).isoformat(timespec="seconds") if moment else ""


HEADINGS = ("number", "plant", "family", "expected", "what became of it", "belongs in", "the log meanwhile", "seen at",
            "seen on shelf", "found later", "last hands")  # fmt: skip
