"""The drying room as its page shows it: the bundles with what is due, what lies loose, and the dryers with what was read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from app.db.models import Bundle, Cabinet, FreezerLoad, PlantName, Sheet, table_of
from app.domain.drying import HEATED, METHOD_WORDS, papers_due, usual_days, usual_from
from app.domain.house import House
from app.domain.language import mark, say
from app.domain.natural_order import natural_order
from app.domain.numbers import shown
from app.domain.stages import Stage
from app.queries.dryers import DryerView, dryers
from app.queries.house import house_now, patterns_now
from app.queries.kinds import MOMENT

SHEET, BUNDLE, CABINET = table_of(Sheet), table_of(Bundle), table_of(Cabinet)
LOAD = table_of(FreezerLoad)
IN_QUEUE = text("sheet.in_queue")
DAMP = (Stage.INTAKE, Stage.DRYING)


@dataclass(frozen=True, slots=True)
class DryingLine:
    """Plants that dry together, in a bundle or loose, in one way: how many, and when what is due.

    `method` is heated or unheated; `many` counts what dries, `at_intake` what lies in the bundle and is not yet laid to dry,
    `may_be_felt` those that are usually dry by now. `papers_due` is the earliest. Times are None where nothing dries.
    """

    code: str
    shown: str
    name: str
    kind: str
    method: str
    dryer: str
    many: int
    at_intake: int
    may_be_felt: int
    pressed_at: datetime | None
    pressed_to: datetime | None
    papers_at: datetime | None
    papers_due: datetime | None
    usual_at: datetime | None
    usual_days: int
    is_due: bool

    @property
    def method_words(self) -> str:
        """How it dries, in words."""
        return METHOD_WORDS[self.method]


@dataclass(frozen=True, slots=True)
class DryingSheet:
    """One sheet in a bundle."""

    number: str
    shown: str
    plant: str
    stage: str
    usual_at: datetime | None
    may_be_felt: bool


@dataclass(frozen=True, slots=True)
class DryingRoom:
    """Everything that dries: the bundles in use, what is due first, and the dryers; `empty` are bundles with nothing in them."""

    lines: tuple[DryingLine, ...]
    empty: tuple[DryingLine, ...]
    dryers: tuple[DryerView, ...]

    @property
    def many(self) -> int:
        """How many sheets dry."""
        return sum(line.many for line in self.lines)

    @property
    def due(self) -> int:
        """How many of them lie in papers that are due."""
        return sum(line.many for line in self.lines if line.is_due)

    @property
    def may_be_felt(self) -> int:
        """How many of them are usually dry by now."""
        return sum(line.may_be_felt for line in self.lines)


@dataclass(frozen=True, slots=True)
class BundlePage:
    """One bundle with its sheets, and the other bundles that they may be tied into (code and name)."""

    line: DryingLine
    sheets: tuple[DryingSheet, ...]
    others: tuple[tuple[str, str], ...]
    pressed_said: datetime | None


def drying_room(session: Session, now: datetime) -> DryingRoom:
    """The drying room at this moment: what is due first stands first."""
    house, rows = house_now(session), _rows(session)
    known = {row.id: row for row in _bundles(session)}
    lines = [_line(group, known.get(bundle_id), house, now) for bundle_id, group in _grouped(rows).items()]
    lying = {row.bundle_id for row in rows}
    empty = [_line((), row, house, now) for row in known.values() if row.id not in lying]
    ordered = sorted(
        lines, key=lambda line: (line.papers_due is None, line.papers_due or now, natural_order(line.name))
    )
    return DryingRoom(
        tuple(ordered), tuple(sorted(empty, key=lambda line: natural_order(line.name))), dryers(session, now, house)
    )


def bundle_page(session: Session, code: str, now: datetime) -> BundlePage | None:
    """One bundle in use that dries or is empty, by its card's code; None where there is none."""
    row = next((each for each in _bundles(session) if each.code == code), None)
    if row is None:
        return None
    house, rows, patterns = house_now(session), _rows(session, SHEET.c.bundle_id == row.id), patterns_now(session)
    beside = ((each.code, each.name) for each in _bundles(session) if each.id != row.id)
    others = sorted(beside, key=lambda each: natural_order(each[1]))
    sheets = tuple(_sheet(each, shown(each.number, patterns), house, now) for each in rows)
    return BundlePage(_line(rows, row, house, now), sheets, tuple(others), row.pressed_at)


def _sheet(row: Any, number: str, house: House, now: datetime) -> DryingSheet:
    usual = usual_from(row.pressed_at, row.method, house) if row.pressed_at else None
    felt = usual is not None and usual <= now and row.stage == Stage.DRYING
    return DryingSheet(row.number, number, row.plant or "", row.stage, usual, felt)


def _rows(session: Session, *where: Any) -> Sequence[Any]:
    """What dries, and what lies at intake in a bundle; by number."""
    papers = func.coalesce(SHEET.c.papers_at, SHEET.c.came_at, type_=MOMENT)
    pressed = func.coalesce(SHEET.c.pressed_at, SHEET.c.came_at, type_=MOMENT)
    found = (
        select(SHEET.c.number, SHEET.c.stage, SHEET.c.bundle_id, SHEET.c.method, pressed.label("pressed_at"),
               papers.label("papers_at"), PlantName.name.label("plant"))
        .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
        .where(IN_QUEUE, (SHEET.c.stage == Stage.DRYING) | ((SHEET.c.stage == Stage.INTAKE) & SHEET.c.bundle_id.is_not(None)))
        .where(*where)
        .order_by(SHEET.c.number)
    )  # fmt: skip
    return session.execute(found).all()


def _bundles(session: Session) -> Sequence[Any]:
    """The bundles in use that are no bag of the freezer and hold nothing that is dry already."""
    bags = select(LOAD.c.bundle_id)
    dry = select(SHEET.c.bundle_id).where(IN_QUEUE, SHEET.c.bundle_id.is_not(None), SHEET.c.stage.not_in(DAMP))
    found = (
        select(BUNDLE, CABINET.c.name.label("dryer"))
        .outerjoin(CABINET, CABINET.c.id == BUNDLE.c.dryer_id)
        .where(BUNDLE.c.closed_at.is_(None), BUNDLE.c.id.not_in(bags), BUNDLE.c.id.not_in(dry))
    )
    return session.execute(found).all()


def _grouped(rows: Iterable[Any]) -> dict[Any, list[Any]]:
    """The rows by bundle; what lies loose, by how it dries."""
    found: dict[Any, list[Any]] = {}
    for row in rows:
        found.setdefault(row.bundle_id or _method(row.method), []).append(row)
    return found


def _line(rows: Sequence[Any], bundle: Any, house: House, now: datetime) -> DryingLine:
    drying = [row for row in rows if row.stage == Stage.DRYING]
    methods = {_method(row.method) for row in drying}
    method = methods.pop() if len(methods) == 1 else _method(bundle.method if bundle is not None else None)
    due = min((papers_due(row.papers_at, row.method, house) for row in drying), default=None)
    usual = [usual_from(row.pressed_at, row.method, house) for row in drying]
    code, name, kind, dryer = _named(bundle)
    return DryingLine(
        code, shown(code, ()) if code else "", name, kind, method, dryer, len(drying), len(rows) - len(drying),
        sum(each <= now for each in usual), min((row.pressed_at for row in drying), default=None),
        max((row.pressed_at for row in drying), default=None), min((row.papers_at for row in drying), default=None), due,
        min(usual, default=None), usual_days(method, house), due is not None and due <= now,
    )  # fmt: skip


def _named(bundle: Any) -> tuple[str, str, str, str]:
    """Code, name, kind and dryer of a bundle; of what lies in none, only a name."""
    return (
        (bundle.code, bundle.name, bundle.kind, bundle.dryer or "") if bundle is not None else ("", say(LOOSE), "", "")
    )


def _method(method: str | None) -> str:
    return HEATED if method == HEATED else "unheated"


LOOSE = mark("In no bundle")
