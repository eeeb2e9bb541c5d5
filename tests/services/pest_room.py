"""A room in which pests are seen: what the tests of sightings and neighbours do in it, and a count that is not the program's."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import select, update

from app.db.engine import Database, reading, transaction
from app.db.models import Cabinet, PestSeen, Sheet, table_of
from app.db.neighbours import neighbours
from app.domain.answer import Answer
from app.domain.numbers import COMMANDS
from app.services.desk import ScanRequest
from app.services.pest_ends import close_sighting, quarantine_neighbours
from app.services.room import add_bundle
from app.services.scanning import once
from tests.databases import as_in_a_file
from tests.room import Room

PEST = COMMANDS["pest"]


def sightings(room: Room) -> list[Any]:
    with reading(room.database) as session:
        return list(session.execute(select(table_of(PestSeen)).order_by(table_of(PestSeen).c.id)))


def sighting(room: Room) -> Any:
    """The latest one."""
    return sightings(room)[-1]


def clean(room: Room, *cabinets: str) -> None:
    """These cabinets are clean from now on."""
    with transaction(room.database) as session:
        session.execute(update(Cabinet).where(Cabinet.name.in_(cabinets)).values(is_clean=True))


def is_clean(room: Room, cabinet: str) -> tuple[bool, bool]:
    """Whether a cabinet is clean, and whether it is kept when it lost that."""
    with reading(room.database) as session:
        row = session.execute(select(Cabinet.is_clean, Cabinet.unclean_at).where(Cabinet.name == cabinet)).one()
    return row.is_clean, row.unclean_at is not None


def bundle(room: Room, name: str) -> str:
    """A bundle; its code."""
    with transaction(room.database) as session:
        add_bundle(session, name)
    return room.code("bundle", name)


def found(room: Room, since: datetime | None = None, pest: Any = None) -> dict[str, list[str]]:
    """The neighbours of the latest sighting by number, each with the kinds of place that it shared."""
    with reading(room.database) as session:
        numbers = {each.id: each.number for each in session.execute(select(Sheet.id, Sheet.number))}
        seen = pest or sighting(room)
        met = neighbours(session, seen, since or seen.seen_at - timedelta(days=365))
        return {numbers[each.sheet_id]: [how.site.kind for how in each.shared] for each in met}


def request(room: Room, reason: str, who: str = "hedda") -> ScanRequest:
    return ScanRequest(room.next_id(), "", worker_ids=(room.worker[who],), reason=reason, manages=who == "hedda")


def all_in_quarantine(room: Room, since: datetime, reason: str = "drugstore beetles", all_but: Mapping[str, str] | None = None,
                      who: str = "hedda") -> Answer:  # fmt: skip
    pest_id = sighting(room).id
    with transaction(room.database) as session:
        act = lambda desk: quarantine_neighbours(desk, pest_id, since, all_but or {})  # noqa: E731
        return once(session, request(room, reason, who), room.occasion, act, f"neighbours {pest_id}")


def closes(room: Room, reason: str, who: str = "hedda") -> Answer:
    pest_id = sighting(room).id
    with transaction(room.database) as session:
        return once(
            session, request(room, reason, who), room.occasion, lambda desk: close_sighting(desk, pest_id), "close"
        )


def counted(database: Database, pest: Any, since: datetime) -> set[int]:
    """The neighbours of one sheet, counted from every entry of the whole log, minute by pair: slow, and not the program's way.

    For each sheet a list of where it was between each entry and the next; two sheets met where two such pieces have the
    same shelf, stack or bundle (or the same cabinet and no shelf), and more than a moment in common.
    """
    names = ("subject_id", "happened_at", "id", "to_cabinet_id", "to_shelf_id", "to_bundle_id", "to_stack_id")
    every = as_in_a_file(database, "entry", *names, "subject_kind", "step", "corrects")
    corrected = {row[-1] for row in every}
    of_sheets = (row for row in every if row[7] == "sheet" and row[8] != "correct" and row[2] not in corrected)
    rows = sorted(of_sheets, key=lambda row: row[:3])
    pieces = []
    for at, row in enumerate(rows):
        next_ = rows[at + 1] if at + 1 < len(rows) and rows[at + 1][0] == row[0] else None
        end = next_[1] if next_ else "9999"
        places = {("c", row[3]) if row[4] is None else ("s", row[4]), ("b", row[5]), ("k", row[6])}
        pieces.append((row[0], row[1], end, {place for place in places if place[1] is not None}))
    low, high = (f"{moment:%Y-%m-%d %H:%M:%S.%f}" for moment in (since, pest.seen_at))
    mine = [(max(a, low), min(b, high), where) for sheet, a, b, where in pieces if sheet == pest.sheet_id]
    return {sheet for sheet, a, b, where in pieces for c, d, there in mine
            if sheet != pest.sheet_id and where & there and max(a, c) < min(b, d)}  # fmt: skip
