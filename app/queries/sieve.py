"""What a list of sheets is narrowed by: the conditions of its query, or a sentence where they make no sense."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Collector, PlantName, Sheet, Shelf, table_of
from app.domain.folding import folded
from app.domain.holds import HOLDS
from app.domain.language import say
from app.domain.stages import Stage
from app.queries.house import patterns_now
from app.queries.kinds import IN_QUEUE
from app.queries.left_behind import left_behind_where
from app.queries.names import each_word
from app.queries.orders import BY_NAME, ORDERS
from app.queries.search import matching
from app.queries.stalled import stalled_where
from app.queries.waiting import Judge

SHEET = table_of(Sheet)
MOST_FOUND = 500
ANY_HOLD = "any"


@dataclass(frozen=True, slots=True)
class Sieve:
    """What somebody asks a list of sheets for.

    `loose`: only what is in the cabinet and on no shelf of it. `held` is a kind of hold, or "any". `sort` is one of the
    ORDERS, or empty for the list's own: what waits, longest first; what is filed, or everything, by number.
    """

    stage: str = ""
    cabinet: str = ""
    shelf: str = ""
    loose: bool = False
    q: str = ""
    stalled: bool = False
    left_behind: bool = False
    held: str = ""
    wanted: bool = False
    sort: str = ""

    @property
    def waits(self) -> bool:
        """Whether only what is in the queue is asked for."""
        if self.stalled or self.left_behind or self.stage not in ("", Stage.FILED):
            return True
        asks = bool(self.held) or self.wanted or self.sort == "waited"
        return asks and not self.cabinet and self.stage != Stage.FILED

    @property
    def order(self) -> str:
        """The order of the list. Filed sheets wait for nothing: all of them together are listed by number."""
        if self.sort == "waited" and not self.waits and not self.cabinet:
            return "number"
        return self.sort or ("waited" if self.waits else "number")

    @property
    def is_of_all(self) -> bool:
        """Whether next to nothing is left out."""
        return not (self.waits or self.cabinet or self.q.strip() or self.wanted)


def conditions(session: Session, judged: Judge, sieve: Sieve) -> list[Any]:
    """The conditions of a list. ValueError, in a sentence, for what is not there or would be looked for too long."""
    _check_names(sieve)
    _check_bounds(sieve)
    where: list[Any] = [IN_QUEUE] if sieve.waits else []
    if sieve.stage:
        where += _of_stage(sieve.stage)
    if sieve.cabinet:
        where.append(in_place(session, sieve))
    if sieve.stalled:
        where.append(stalled_where(session, judged, _stage(sieve)))
    where += [SHEET.c.wanted_at.is_not(None)] if sieve.wanted else []
    where += [left_behind_where(session, judged, _stage(sieve))] if sieve.left_behind else []
    return where + _held(sieve.held) + _like(session, sieve)


def _stage(sieve: Sieve) -> Stage | None:
    return Stage(sieve.stage) if sieve.stage else None


def in_place(session: Session, sieve: Sieve) -> ColumnElement[bool]:
    """The condition of the cabinet or shelf that is asked for. ValueError, in a sentence, for one that is not there."""
    cabinet_id = session.execute(select(Cabinet.id).where(Cabinet.name == sieve.cabinet)).scalar()
    if cabinet_id is None:
        raise ValueError(
            say("There is no cabinet called {cabinet}. Look it up on the cabinets page.", cabinet=sieve.cabinet)
        )
    shelves = {
        row.name: row.id for row in session.execute(select(Shelf.name, Shelf.id).where(Shelf.cabinet_id == cabinet_id))
    }
    if sieve.shelf and sieve.shelf not in shelves:
        raise ValueError(
            say(
                "Cabinet {cabinet} has no shelf {shelf}. Look it up on the cabinets page.",
                cabinet=sieve.cabinet,
                shelf=sieve.shelf,
            )
        )
    if sieve.shelf:
        return and_(SHEET.c.shelf_id == shelves[sieve.shelf])
    loose = and_(SHEET.c.shelf_id.is_(None), SHEET.c.cabinet_id == cabinet_id)
    if sieve.loose:
        return loose
    if sieve.stage not in ("", Stage.FILED):
        # What waits has an index by stage and cabinet.
        return and_(SHEET.c.cabinet_id == cabinet_id)
    # By shelf, because the shelf has an index; a sheet in the cabinet and on no shelf of it is found among those on none.
    return or_(SHEET.c.shelf_id.in_(shelves.values()), loose)


def _check_names(sieve: Sieve) -> None:
    if sieve.sort and sieve.sort not in ORDERS:
        raise ValueError(
            say("A list is not sorted by {sort}. The orders are {orders}.", sort=sieve.sort, orders=", ".join(ORDERS))
        )
    if sieve.held not in ("", ANY_HOLD, *HOLDS):
        raise ValueError(
            say("There is no hold called {held}. The holds are {holds}.", held=sieve.held, holds=", ".join(HOLDS))
        )
    if (sieve.shelf or sieve.loose) and not sieve.cabinet:
        raise ValueError(say("A shelf is named together with its cabinet. Choose a cabinet."))


def _check_bounds(sieve: Sieve) -> None:
    """Nothing is sorted, or looked through, that could be the whole collection."""
    if sieve.cabinet or sieve.q.strip():
        return
    if sieve.sort in BY_NAME:
        raise ValueError(
            say("By plant or family one cabinet is listed at a time. Choose a cabinet, or search for a name.")
        )
    if sieve.held and sieve.stage == Stage.FILED:
        raise ValueError(say("Filed sheets with a hold are looked up one cabinet at a time. Choose a cabinet."))


def _of_stage(stage: str) -> list[Any]:
    if stage not in list(Stage):
        raise ValueError(
            say("There is no stage called {stage}. The stages are {stages}.", stage=stage, stages=", ".join(Stage))
        )
    if stage == Stage.FILED:
        return [SHEET.c.stage == stage, SHEET.c.closed_as.is_(None)]
    return [SHEET.c.stage == stage]


def _held(kind: str) -> list[ColumnElement[bool]]:
    if kind in ("", ANY_HOLD):
        return [SHEET.c.holds != ""] if kind else []
    return [(" " + SHEET.c.holds + " ").contains(f" {kind} ", autoescape=True)]


def _like(session: Session, sieve: Sieve) -> list[ColumnElement[bool]]:
    if not sieve.q.strip():
        return []
    found = SHEET.c.id.in_(matching(session, sieve.q, patterns_now(session), MOST_FOUND))
    # A common name fills the first five hundred with sheets of other cabinets: inside one, its own rows are asked.
    return [or_(found, *_inside(sieve.q.strip())) if sieve.cabinet else found]


def _inside(text: str) -> list[ColumnElement[bool]]:
    key, number = folded(text), "".join(text.split()).upper()
    asked = [SHEET.c.record_number == text]
    if any(map(str.isdigit, number)):
        asked.append(SHEET.c.number.contains(number, autoescape=True))
    if key and not key.isdigit():
        asked.append(SHEET.c.plant_name_id.in_(select(PlantName.id).where(*each_word(PlantName.search_key, key))))
        asked.append(SHEET.c.collector_id.in_(select(Collector.id).where(*each_word(Collector.search_key, key))))
    return asked
