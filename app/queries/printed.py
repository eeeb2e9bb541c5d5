"""What is printed for the work table: slips for sheets, labels for shelves, cards for stacks, badges for people."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from app.db.models import Collector, Consignment, PlantName, Sheet, Specimen, Stack, Worker, table_of
from app.domain.hazards import SIGN
from app.domain.language import mark, say
from app.domain.natural_order import natural_order
from app.domain.numbers import Kind, Pattern, shown
from app.domain.reading import Exact, read
from app.domain.stages import Stage
from app.queries.cabinets import CabinetView, cabinets
from app.queries.fetching import cautions_by_sheet
from app.queries.hazards import SuspectedPlaces, suspected_places
from app.queries.house import patterns_now
from app.queries.kinds import IN_QUEUE
from app.queries.lines import collected_words
from app.queries.sieve import Sieve, conditions
from app.queries.waiting import judge

SHEET = table_of(Sheet)
STACK = table_of(Stack)
WORKER = table_of(Worker)
MOST_SLIPS = 2000
# SQLite takes so many values in one statement, and nobody types more.
MOST_NUMBERS = 2000
NOTHING_ASKED = mark(
    "Say for which sheets: choose a consignment, a stage or a cabinet, search for a name, or type the numbers."
)

_ROWS = (
    select(SHEET.c.id, SHEET.c.number, SHEET.c.record_number, SHEET.c.consignment_id, SHEET.c.part, Specimen.sheets.label("parts"),
           PlantName.name.label("plant"),
           Collector.name.label("collector"), Consignment.name.label("consignment"), Consignment.code.label("consignment_code"))
    .select_from(SHEET)
    .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
    .outerjoin(Collector, Collector.id == SHEET.c.collector_id)
    .outerjoin(Consignment, Consignment.id == SHEET.c.consignment_id)
    .outerjoin(Specimen, Specimen.id == SHEET.c.specimen_id)
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SlipsAsked:
    """For which sheets slips are asked: of a consignment (its code), like a sieve, or with these numbers, as typed.

    `everything` is asked for by the command, which has no list to choose from: all that is not filed.
    """

    consignment: str = ""
    numbers: str = ""
    sieve: Sieve = field(default_factory=Sieve)
    everything: bool = False

    @property
    def says_which(self) -> bool:
        """Whether it says for which."""
        sieve = self.sieve
        words = self.consignment or self.numbers or sieve.cabinet or sieve.q.strip()
        return bool(words or sieve.waits or sieve.wanted or self.everything)


ALL_THAT_WAIT = SlipsAsked(everything=True)


@dataclass(frozen=True, slots=True)
class Slip:
    """What travels with a plant. Where it was found is no part of it: a slip lies open, and some plants are sensitive."""

    code: str
    shown: str
    plant: str
    collected: str
    consignment: str
    cautions: tuple[str, ...]
    is_practice: bool = False
    part: str = ""


@dataclass(frozen=True, slots=True)
class Slips:
    """Slips in order of number; `matching` counts all that were asked for, also those beyond the most that are printed."""

    slips: tuple[Slip, ...]
    matching: int


@dataclass(frozen=True, slots=True)
class ShelfLabel:
    """The label of a shelf, or without a shelf's name that of a whole cabinet; `sign` is read before the door is opened."""

    code: str
    shown: str
    cabinet: str
    shelf: str
    stage_words: str
    is_clean: bool
    sign: str


@dataclass(frozen=True, slots=True)
class StackCard:
    """The card on a stack's lid: the code of each of its sides, as it is kept and as people read it."""

    name: str
    code_on: str
    shown_on: str
    code_off: str
    shown_off: str


@dataclass(frozen=True, slots=True)
class Badge:
    """A worker's badge."""

    code: str
    shown: str
    name: str
    number: str


def slips(session: Session, asked: SlipsAsked, now: datetime, zone: ZoneInfo, most: int = MOST_SLIPS) -> Slips:
    """The slips of the sheets asked for, at most `most`, the first by number; of those not filed, unless they are asked for.

    ValueError, in a sentence, where nothing narrows them down, or for a number, consignment or place that is not there.
    """
    patterns = patterns_now(session)
    if not asked.says_which:
        raise ValueError(NOTHING_ASKED)
    wanted = _by_number(asked.numbers, patterns) if asked.numbers else ()
    where = [SHEET.c.number.in_(wanted)] if wanted else _like(session, asked, now, zone)
    found = session.execute(select(SHEET.c.id, SHEET.c.number).where(SHEET.c.closed_as.is_(None), *where)).all()
    _all_there(wanted, {row.number for row in found}, patterns)
    ids = [row.id for row in sorted(found, key=lambda row: row.number)[:most]]
    rows = session.execute(_ROWS.where(SHEET.c.id.in_(ids)).order_by(SHEET.c.number)).all() if ids else []
    cautions = cautions_by_sheet(session, rows) if rows else {}
    practice: bool = session.info["database"].is_practice
    return Slips(tuple(_slip(row, cautions.get(row.id, ()), patterns, practice) for row in rows), len(found))


def shelf_labels(session: Session, cabinet: str = "") -> tuple[ShelfLabel, ...]:
    """The labels of every cabinet in use, each followed by those of its shelves, in walking order; or of one cabinet.

    ValueError, in a sentence, for a cabinet that is not there.
    """
    found = [each for each in cabinets(session) if cabinet in ("", each.name)]
    if cabinet and not found:
        raise ValueError(say("There is no cabinet called {cabinet}. Look it up on the cabinets page.", cabinet=cabinet))
    suspected = suspected_places(session)
    return tuple(label for each in found for label in _labels(each, suspected))


def stack_cards(session: Session, stack: str = "") -> tuple[StackCard, ...]:
    """The cards of the stacks in use, P2 before P10, or of one; ValueError, in a sentence, for one that is not there."""
    rows = session.execute(select(STACK).where(STACK.c.closed_at.is_(None))).mappings()
    found = sorted((row for row in rows if stack in ("", row["name"])), key=lambda row: natural_order(row["name"]))
    if stack and not found:
        raise ValueError(say("There is no stack called {stack}. Look at the press room.", stack=stack))
    return tuple(
        StackCard(row["name"], row["code_on"], shown(row["code_on"], ()), row["code_off"], shown(row["code_off"], ()))
        for row in found
    )


def badges(session: Session, worker_id: int | None = None) -> tuple[Badge, ...]:
    """The badges of those who work here, by name, or of one of them; ValueError, in a sentence, where there is none."""
    found = (
        select(WORKER.c.name, WORKER.c.number, WORKER.c.badge_code)
        .where(WORKER.c.retired_at.is_(None), WORKER.c.badge_code.is_not(None))
        .order_by(WORKER.c.name, WORKER.c.id)
    )
    if worker_id is not None:
        found = found.where(WORKER.c.id == worker_id)
    rows = session.execute(found).all()
    if worker_id is not None and not rows:
        raise ValueError(say("There is no badge for this person. Make one on their page first."))
    return tuple(Badge(row.badge_code, shown(row.badge_code, ()), row.name, row.number) for row in rows)


def _like(session: Session, asked: SlipsAsked, now: datetime, zone: ZoneInfo) -> list[Any]:
    where = conditions(session, judge(session, now, zone), asked.sieve)
    if asked.consignment:
        mine = select(Consignment.id).where(Consignment.code == asked.consignment)
        consignment_id = session.execute(mine).scalar()
        if consignment_id is None:
            code = asked.consignment
            raise ValueError(say("There is no consignment called {code}. Look it up on the intake page.", code=code))
        where.append(SHEET.c.consignment_id == consignment_id)
    # What was announced and not yet taken in needs its slip most of all.
    return where if asked.sieve.stage == Stage.FILED else [*where, or_(IN_QUEUE, SHEET.c.stage.is_(None))]


def _by_number(typed: str, patterns: Sequence[Pattern]) -> tuple[str, ...]:
    """The numbers in a text, one a line or parted by commas, as they are kept."""
    texts = [text for text in (each.strip() for each in re.split(r"[\n\r,;]+", typed)) if text]
    if not 0 < len(texts) <= MOST_NUMBERS:
        raise ValueError(say("Type 1 to {most:,} numbers, one a line.", most=MOST_NUMBERS))
    return tuple(_number(text, patterns) for text in texts)


def _number(text: str, patterns: Sequence[Pattern]) -> str:
    reading = read(text, patterns)
    if not isinstance(reading, Exact) or reading.kind != Kind.SHEET:
        raise ValueError(
            say("“{text}” is not a sheet's number here. Type it as it stands on the label.", text=text[:40])
        )
    return reading.text


def _all_there(wanted: Sequence[str], found: set[str], patterns: Sequence[Pattern]) -> None:
    missing = next((number for number in wanted if number not in found), None)
    if missing is not None:
        number = shown(missing, patterns)
        raise ValueError(
            say("No sheet with the number {number} is here. Look whether it was read right.", number=number)
        )


def _slip(row: Any, cautions: tuple[str, ...], patterns: Sequence[Pattern], is_practice: bool) -> Slip:
    collected = collected_words(row.collector, row.record_number)
    code = f"{row.consignment_code} · " if row.consignment and not is_practice else ""
    consignment = f"{code}{row.consignment or ''}"
    part = say("Sheet {part} of {parts}", part=row.part, parts=row.parts) if (row.parts or 1) > 1 else ""
    return Slip(
        row.number, shown(row.number, patterns), row.plant or "", collected, consignment, cautions, is_practice, part
    )


def _labels(each: CabinetView, suspected: SuspectedPlaces) -> tuple[ShelfLabel, ...]:
    of_shelves = [(shelf.code, shelf.name, shelf.shelf_id in suspected.shelves) for shelf in each.shelves]
    return tuple(
        ShelfLabel(code, shown(code, ()), each.name, shelf, each.stage_words, each.is_clean,
                   " ".join(filter(None, (say(SIGN) if holds else "", each.note))))
        for code, shelf, holds in [(each.code, "", each.cabinet_id in suspected.cabinets), *of_shelves]
    )  # fmt: skip
