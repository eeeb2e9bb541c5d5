"""Sheets are put in quarantine: an entry for each, by which an earlier treatment no longer counts; cabinets lose their clean."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.engine import RowMapping

from app.db.models import Cabinet, Sheet, table_of
from app.domain.consigned import why_closed
from app.domain.language import say
from app.domain.sheet import Standing
from app.domain.stages import Step
from app.services.custody import Writing, enter_many, standing_of
from app.services.desk import Desk
from app.services.treating import mark_clean

SHEET = table_of(Sheet)
CABINET = table_of(Cabinet)
HELD = "quarantine"
UNTREATED: Mapping[str, Any] = {"treated_until": None, "treated_left_s": None}
AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Quarantined:
    """What a deed did: the numbers put in quarantine, those that stayed as they were with the reason, and the cabinets
    that are no longer clean.
    """

    held: tuple[str, ...]
    left: tuple[Mapping[str, str], ...]
    cabinets: tuple[str, ...]


def quarantine(
    desk: Desk, rows: Sequence[RowMapping], reason: str, facts: Mapping[str, Any], treated_since: Container[int] = ()
) -> Quarantined:
    """Put these sheets (their locked rows) in quarantine with one reason; the cabinets where they lay are no longer clean.

    Of the sheets in `treated_since` (their ids) the treatment goes on counting, of no other. A sheet that was closed, or
    that is in quarantine already without a treatment that could count, stays as it is.
    """
    left = [{"number": row["number"], "why": why} for row in rows if (why := _why_not(row))]
    kept = {each["number"] for each in left}
    going = [row for row in rows if row["number"] not in kept]
    for at in range(0, len(going), AT_ONCE):
        enter_many(desk, [_writing(desk, row, reason, facts, treated_since) for row in going[at : at + AT_ONCE]])
    cabinets = {row["cabinet_id"] or row["kept_in_id"] for row in rows} - {None}
    return Quarantined(tuple(row["number"] for row in going), tuple(left), lose_their_clean(desk, cabinets, reason))


def writing_of(desk: Desk, row: RowMapping, standing: Standing, reason: str, facts: Mapping[str, Any]) -> Writing:
    """What putting one sheet in quarantine writes: where it stands stays, and no treatment of before counts."""
    moment = desk.happened_at if row["last_at"] is None else max(desk.happened_at, row["last_at"])
    sets = UNTREATED if row["treated_until"] is not None else {}
    return Writing(
        Step.QUARANTINE, standing.stage, standing.place, sets, (HELD,), facts=facts, reason=reason, happened_at=moment
    )


def lose_their_clean(desk: Desk, cabinet_ids: Iterable[int], why: str) -> tuple[str, ...]:
    """Write of each of these cabinets that was clean that it is so no longer; their names, in the order in which one walks.

    Only once the entries of the sheets are written: what is treated and still in there wears off from now on.
    """
    found = select(CABINET).where(CABINET.c.id.in_(set(cabinet_ids)), CABINET.c.is_clean)
    rows = desk.session.execute(found.order_by(CABINET.c.walk, CABINET.c.name).with_for_update()).mappings().all()
    for row in rows:
        mark_clean(desk, row, False, why, desk.now)
    return tuple(row["name"] for row in rows)


def rows_of(desk: Desk, sheet_ids: Iterable[int]) -> list[RowMapping]:
    """The rows of these sheets, locked, some hundreds at a time, in the order of their ids."""
    ids, found = sorted(set(sheet_ids)), list[RowMapping]()
    for at in range(0, len(ids), AT_ONCE):
        mine = select(SHEET).where(SHEET.c.id.in_(ids[at : at + AT_ONCE])).order_by(SHEET.c.id).with_for_update()
        found += desk.session.execute(mine).mappings()
    return found


def _writing(
    desk: Desk, row: RowMapping, reason: str, facts: Mapping[str, Any], treated_since: Container[int]
) -> tuple[int, Standing, Writing]:
    standing = standing_of(row)
    writing = writing_of(desk, row, standing, reason, facts)
    return row["id"], standing, replace(writing, sets={}) if row["id"] in treated_since else writing


def _why_not(row: RowMapping) -> str:
    if row["closed_as"] is not None:
        return say("closed: {closed_as}.", closed_as=why_closed(row["closed_as"]))
    if row["stage"] is None:
        return say("not taken in by the log.")
    if HELD in row["holds"].split() and row["treated_until"] is None:
        return say("in quarantine already.")
    return ""
