"""Lines for sheets that have waited too long: singly where they are few in a place, else the place and their number."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select

from app.db.models import Cabinet, Sheet, table_of
from app.domain.stages import STAGES, Stage
from app.queries.need import Asked, Need, of_sheet
from app.queries.stalled import IN_QUEUE, Waiting, stalled_where

SHEET = table_of(Sheet)
SINGLY = 3
# What is glued, and what lies in the press, has lines of its own.
TOLD_ELSEWHERE = frozenset({Stage.MOUNTED, Stage.UNDER_PRESS})


@dataclass(frozen=True, slots=True)
class Place:
    """Where sheets of one stage have waited too long: how many, and since when the oldest of them is there."""

    stage: Stage
    cabinet_id: int | None
    cabinet: str
    count: int
    since: datetime


def overdue(asked: Asked) -> list[Need]:
    """What has waited too long on shelves and in the dryer, the longest first."""
    found = [need for place in _places(asked) for need in _of_place(asked, place)]
    return sorted(found, key=lambda need: str(need.since))


def _places(asked: Asked) -> list[Place]:
    late = [each for each in asked.waiting if each.stalled and each.kind.stage not in TOLD_ELSEWHERE]
    names = _names(asked) if late else {}
    found: dict[tuple[Stage, int | None], list[Waiting]] = {}
    for each in late:
        found.setdefault((each.kind.stage, each.cabinet_id), []).append(each)
    return [
        Place(stage, cabinet_id, names.get(cabinet_id, ""), sum(each.stalled for each in mine),
              min(each.stalled_since for each in mine if each.stalled_since is not None))
        for (stage, cabinet_id), mine in found.items()
    ]  # fmt: skip


def _names(asked: Asked) -> dict[int | None, str]:
    return {row.id: row.name for row in asked.session.execute(select(Cabinet.id, Cabinet.name))}


def _of_place(asked: Asked, place: Place) -> list[Need]:
    one, many = WORDS[place.stage]
    if place.count <= SINGLY:
        return [of_sheet(asked, "stalled", number, one, since, "where is it", place.stage.value)
                for number, since in _singly(asked, place)]  # fmt: skip
    subject = f"{place.cabinet}, {STAGES[place.stage].words.lower()}" if place.cabinet else STAGES[place.stage].words
    kind, where = ("cabinet", place.cabinet) if place.cabinet else ("stage", place.stage.value)
    words = f"{place.count:,} sheets {many}"
    return [Need("stalled", subject, words, place.since, "see the list", kind, where, place.stage.value)]


def _singly(asked: Asked, place: Place) -> list[tuple[str, datetime]]:
    here = SHEET.c.cabinet_id.is_not_distinct_from(place.cabinet_id)
    where = (IN_QUEUE, SHEET.c.stage == place.stage, here, stalled_where(asked.session, asked.judged, place.stage))
    found = select(SHEET.c.number, SHEET.c.came_at).where(*where).order_by(SHEET.c.came_at, SHEET.c.id)
    return [(number, since) for number, since in asked.session.execute(found)]


WORDS: dict[Stage, tuple[str, str]] = {
    Stage.INTAKE: ("waits at intake too long", "wait at intake too long"),
    Stage.DRYING: ("its papers have not been changed", "whose papers have not been changed"),
    Stage.READY: ("waits for mounting too long", "wait for mounting too long"),
    Stage.DRY: ("is dry, and waits too long", "are dry, and wait too long"),
}
