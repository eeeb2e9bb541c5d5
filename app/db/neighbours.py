"""Which sheets shared a place with others, read off the log: for those who look, and for the deed that holds them all.

Asked of what lies in those places now, and of the entries since then by which something left them: what a large room filed
years ago and never moved costs nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Entry, FreezerLoad, LoadBundle, Sheet, Shelf, table_of
from app.db.standing import STANDS
from app.domain.neighbours import Bag, Shared, Site, Stay, by_site, clipped, shared, stays_of
from app.domain.sheet import Place
from app.domain.stages import Step

ENTRY = table_of(Entry)
SHEET = table_of(Sheet)
LOAD = table_of(FreezerLoad)
EARLIER = ENTRY.alias("earlier")
AT_ONCE = 400
_STANDING = (ENTRY.c.subject_kind == "sheet", ENTRY.c.step != Step.CORRECT, STANDS)
_PLACES = (
    select(ENTRY.c.subject_id, ENTRY.c.happened_at, ENTRY.c.to_cabinet_id, ENTRY.c.to_shelf_id, ENTRY.c.to_bundle_id,
           ENTRY.c.to_table_id, ENTRY.c.to_stack_id)
    .where(*_STANDING)
    .order_by(ENTRY.c.subject_id, ENTRY.c.happened_at, ENTRY.c.id)
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A sheet, and where and when it was together with what was seen; empty for one on which the pest itself was."""

    sheet_id: int
    shared: tuple[Shared, ...]


def neighbours(session: Session, pest: Any, since: datetime) -> list[Neighbour]:
    """Every sheet that was in one place with what a pest was seen on, after `since`; `pest` is the row of the sighting.

    Of a sheet, its places until it was seen count; of a cabinet or a consignment, those until now.
    """
    bags = _bags(session, since)
    subjects = set() if is_of_cabinet(pest) else seen_on(session, pest)
    mine = _where_it_was(session, pest, subjects, bags, since)
    found = [Neighbour(each, ()) for each in sorted(subjects)]
    if mine:
        begins = min(stay.begins for stays in mine.values() for stay in stays)
        ids = _may_have_met(session, mine, bags, begins) - subjects
        met = ((sheet_id, shared(mine, stays)) for sheet_id, stays in _stays(session, sorted(ids), bags))
        found += [Neighbour(each, tuple(how)) for each, how in met if how]
    return found


def is_of_cabinet(pest: Any) -> bool:
    """Whether it was seen in a cabinet rather than on what lay in it."""
    return pest.cabinet_id is not None and pest.sheet_id is None and pest.consignment_id is None


def seen_on(session: Session, pest: Any) -> set[int]:
    """The sheets on which the pest itself was seen: one, those of a bundle or stack, or all of a consignment."""
    if pest.sheet_id is not None:
        return {pest.sheet_id}
    if pest.consignment_id is not None:
        came = select(SHEET.c.id).where(SHEET.c.consignment_id == pest.consignment_id, SHEET.c.stage.is_not(None))
        return set(session.execute(came).scalars())
    from_then = (ENTRY.c.happened_at >= pest.seen_at, ENTRY.c.step == Step.QUARANTINE)
    found = session.execute(select(ENTRY.c.subject_id, ENTRY.c.facts).where(*from_then, *_STANDING))
    return {row.subject_id for row in found if row.facts.get("found_with") == pest.id}


def _where_it_was(
    session: Session, pest: Any, subjects: set[int], bags: Sequence[Bag], since: datetime
) -> dict[Site, list[Stay]]:
    if is_of_cabinet(pest):
        site = Site("inside", pest.cabinet_id)
        return {site: [Stay(site, since, None)]}
    until = pest.seen_at if pest.consignment_id is None else None
    stays = (stay for _, found in _stays(session, sorted(subjects), bags) for stay in clipped(found, since, until))
    return by_site(stay for stay in stays if stay.site.kind != "inside")


def _may_have_met(session: Session, mine: Iterable[Site], bags: Sequence[Bag], begins: datetime) -> set[int]:
    """Every sheet that lies in one of these places now, or left one since."""
    at: dict[str, set[int]] = {kind: set() for kind in ("shelf", "loose", "inside", "stack", "bundle", "load")}
    for site in mine:
        at[site.kind].add(site.id)
    bundles = at["bundle"].union(*(bag.bundles for bag in bags if bag.load_id in at["load"]))
    ids = {
        each for where in _lie_there(at, bundles) for each in session.execute(select(SHEET.c.id).where(where)).scalars()
    }
    return ids | set(session.execute(_left(at, begins)).scalars()) | _left_bundles(session, bundles, begins)


def _lie_there(at: Mapping[str, set[int]], bundles: set[int]) -> Iterator[ColumnElement[bool]]:
    asked = (
        (at["shelf"], SHEET.c.shelf_id.in_(at["shelf"])),
        (at["loose"], and_(SHEET.c.shelf_id.is_(None), SHEET.c.cabinet_id.in_(at["loose"]))),
        (at["inside"], SHEET.c.shelf_id.in_(select(Shelf.id).where(Shelf.cabinet_id.in_(at["inside"])))),
        (at["inside"], and_(SHEET.c.shelf_id.is_(None), SHEET.c.cabinet_id.in_(at["inside"]))),
        (at["stack"], SHEET.c.stack_id.in_(at["stack"])),
        (bundles, SHEET.c.bundle_id.in_(bundles)),
    )
    yield from (where for ids, where in asked if ids)


def _left(at: Mapping[str, set[int]], begins: datetime) -> Select[Any]:
    """What left a shelf, cabinet or stack since: the entry that ended its stay says where it had been."""
    loose = and_(ENTRY.c.from_shelf_id.is_(None), ENTRY.c.from_cabinet_id.in_(at["loose"]))
    from_there = or_(
        ENTRY.c.from_shelf_id.in_(at["shelf"]), loose, ENTRY.c.from_stack_id.in_(at["stack"]),
        ENTRY.c.from_cabinet_id.in_(at["inside"]),
    )  # fmt: skip
    # Nothing but the moment is asked besides, so that the index on when entries happened is what is read.
    return select(ENTRY.c.subject_id).where(ENTRY.c.happened_at > begins, from_there).distinct()


def _left_bundles(session: Session, bundles: set[int], begins: datetime) -> set[int]:
    """What left a bundle since: no entry says from which, so what came from no cabinet and no stack is looked at."""
    if not bundles:
        return set()
    was_in_it = select(EARLIER.c.id).where(
        EARLIER.c.subject_kind == "sheet",
        EARLIER.c.subject_id == ENTRY.c.subject_id,
        EARLIER.c.to_bundle_id.in_(bundles),
    )
    from_no_shelf = (ENTRY.c.from_cabinet_id.is_(None), ENTRY.c.from_stack_id.is_(None))
    found = select(ENTRY.c.subject_id).where(ENTRY.c.happened_at > begins, *from_no_shelf, was_in_it.exists())
    return set(session.execute(found.distinct()).scalars())


def _stays(session: Session, ids: Sequence[int], bags: Sequence[Bag]) -> Iterator[tuple[int, list[Stay]]]:
    """The stays of each of these sheets, some hundreds at a time."""
    for at in range(0, len(ids), AT_ONCE):
        rows = session.execute(_PLACES.where(ENTRY.c.subject_id.in_(ids[at : at + AT_ONCE])))
        for sheet_id, entries in groupby(rows, lambda row: row.subject_id):
            yield sheet_id, stays_of([(row.happened_at, Place(*row[2:])) for row in entries], bags)


def _bags(session: Session, since: datetime) -> list[Bag]:
    """The freezer loads with tied bundles that were still closed after `since`: all in one lie in one bag."""
    tied: dict[int, set[int]] = {}
    for load_id, bundle_id in session.execute(select(LoadBundle.load_id, LoadBundle.bundle_id)):
        tied.setdefault(load_id, set()).add(bundle_id)
    closed_up = func.coalesce(LOAD.c.made_at, LOAD.c.put_in_at, type_=LOAD.c.made_at.type)
    still = or_(LOAD.c.opened_at.is_(None), LOAD.c.opened_at > since)
    loads = select(LOAD.c.id, LOAD.c.bundle_id, closed_up.label("made_at"), LOAD.c.opened_at).where(still)
    return [
        Bag(row.id, frozenset({*tied[row.id], *({row.bundle_id} - {None})}), row.made_at, row.opened_at)
        for row in session.execute(loads) if row.id in tied and row.made_at
    ]  # fmt: skip
