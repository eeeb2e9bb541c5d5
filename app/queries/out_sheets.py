"""Sheets on their way out of the room, as tables and archives: which are asked for, and their lines, a few hundred at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Consignment, FormerNumber, Sheet, table_of
from app.db.out_rows import AT_ONCE, told_sheets
from app.domain.archive_out import CORE, Shape, core_lines, eml_xml, extension_lines, meta_xml, shape_of
from app.domain.calendar import local_day
from app.domain.cells import BOM, kept_line
from app.domain.language import say
from app.domain.out_table import columns_of_table, table_line
from app.domain.out_told import WIDE, Told, kept_back
from app.queries.sieve import Sieve, conditions
from app.queries.waiting import judge

SHEET = table_of(Sheet)
# A number that was given up finds another sheet: its row is no sheet of its own.
_GIVEN_UP = select(FormerNumber.number).where(FormerNumber.number == SHEET.c.number).exists()
Heard = Callable[[int, int], None]
Files = Iterator[tuple[str, Iterable[str]]]


def unheard(_done: int, _of: int) -> None:
    """Nobody asks how far it is."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Which sheets are asked for: those of a consignment, those that a sieve lets through, or all.

    `withdrawn`: those too that have left for good. `exact_places`: plants marked sensitive with their places. `heard` is told
    how many sheets are through, and of how many.
    """

    consignment: str = ""
    sieve: Sieve = field(default_factory=Sieve)
    withdrawn: bool = False
    exact_places: bool = False
    heard: Heard = unheard


@dataclass(frozen=True, slots=True)
class Outgoing:
    """The sheets that are asked for, with how many they are and the columns that came with them."""

    session: Session
    asked: Asked
    where: tuple[Any, ...]
    zone: ZoneInfo
    many: int
    kept: tuple[str, ...]

    def sheets(self, *, tells: bool = False) -> Iterator[tuple[str, Told]]:
        """Each sheet with its key, in the order in which they came to be known here."""
        done = 0
        for ids in _pages(self.session, self.where):
            for _, key, told in told_sheets(self.session, ids, self.zone):
                yield key, told if self.asked.exact_places else kept_back(told)
            done += len(ids)
            if tells:
                self.asked.heard(done, self.many)


def outgoing(session: Session, asked: Asked, now: datetime, zone: ZoneInfo) -> Outgoing:
    """The sheets that are asked for. ValueError, in a sentence, for a consignment, cabinet or filter that is not there."""
    where = _where(session, asked, now, zone)
    many = session.execute(select(func.count()).select_from(SHEET).where(*where)).scalar_one()
    return Outgoing(session, asked, where, zone, many, _kept_names(session, where, asked))


def table_out(found: Outgoing, *, bom: bool = True) -> Iterator[str]:
    """The lines of a CSV file: the headings, then each sheet. A byte order mark tells spreadsheets that it is UTF-8."""
    columns = columns_of_table(found.kept)
    yield (BOM if bom else "") + kept_line(columns)
    for _, told in found.sheets(tells=True):
        yield table_line(columns, told)


def archive_out(found: Outgoing, title: str, now: datetime) -> Files:
    """The files of a Darwin Core archive, by their names, each as the texts of which it is made."""
    shape = shape_of(found.kept)
    about = f"{found.many} sheets of {title} on {local_day(now, found.zone).isoformat()}."
    yield from described(shape, title, about, now, found.zone)
    yield CORE, core_lines(shape, found.sheets(tells=True))
    yield from more_files(shape, found.sheets)


def described(shape: Shape, title: str, about: str, now: datetime, zone: ZoneInfo) -> Files:
    """The files that say what an archive holds."""
    yield "meta.xml", [meta_xml(shape)]
    yield "eml.xml", [eml_xml(title, about, title, local_day(now, zone))]


def more_files(shape: Shape, sheets: Callable[[], Iterator[tuple[str, Told]]]) -> Files:
    """The files of an archive's extensions; `sheets` are gone through once for each."""
    for kind, file in zip(shape.extensions, shape.files[1:], strict=True):
        yield file, extension_lines(shape, kind, sheets())


def names_kept(sheets: Iterable[Told]) -> tuple[str, ...]:
    """The columns that came with these sheets, in the order in which they are met."""
    found: dict[str, None] = {}
    for told in sheets:
        found.update(dict.fromkeys(told.kept))
    return tuple(found)


def _where(session: Session, asked: Asked, now: datetime, zone: ZoneInfo) -> tuple[Any, ...]:
    where = [*conditions(session, judge(session, now, zone), asked.sieve), ~_GIVEN_UP]
    # What stands nowhere is only on a list.
    where.append(SHEET.c.stage.is_not(None))
    if not asked.withdrawn:
        where.append(SHEET.c.closed_as.is_(None))
    if asked.consignment:
        mine = select(Consignment.id).where(Consignment.code == asked.consignment.replace("\0", ""))
        consignment_id = session.execute(mine).scalar()
        if consignment_id is None:
            raise ValueError(say("There is no consignment called {code}. Look its code up.", code=asked.consignment))
        where.append(SHEET.c.consignment_id == consignment_id)
    return tuple(where)


def _pages(session: Session, where: Sequence[Any]) -> Iterator[list[int]]:
    after = 0
    found = select(SHEET.c.id).where(*where).order_by(SHEET.c.id).limit(AT_ONCE)
    while ids := list(session.execute(found.where(SHEET.c.id > after)).scalars()):
        yield ids
        after = ids[-1]


def _kept_names(session: Session, where: Sequence[Any], asked: Asked) -> tuple[str, ...]:
    names: dict[str, None] = {}
    columns = select(SHEET.c.kept, SHEET.c.is_sensitive)
    for ids in _pages(session, where):
        rows = session.execute(columns.where(SHEET.c.id.in_(ids), SHEET.c.kept.is_not(None)).order_by(SHEET.c.id))
        for kept, is_sensitive in rows:
            is_whole = asked.exact_places or not is_sensitive
            names.update((name, None) for name in kept or () if is_whole or name in WIDE)
    return tuple(names)


def cabinet_names(session: Session) -> tuple[str, ...]:
    """The cabinets that sheets may be asked for by, in walking order."""
    found = select(Cabinet.name).where(Cabinet.closed_at.is_(None)).order_by(Cabinet.walk, Cabinet.name)
    return tuple(session.execute(found).scalars())
