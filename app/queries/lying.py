"""Where sheets that are alike in something lie: counted by shelf and bundle, or one by one where they are few."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from app.db.models import Bundle, Cabinet, Sheet, Shelf, table_of
from app.domain.language import mark, say
from app.domain.stages import STAGES, Stage
from app.queries.kinds import IN_QUEUE

SHEET = table_of(Sheet)
_PLACE = (SHEET.c.stage, SHEET.c.cabinet_id, SHEET.c.shelf_id, SHEET.c.bundle_id)

# A stage as it is said behind the place.
WITHIN: dict[Stage, str] = {
    Stage.INTAKE: mark("intake"), Stage.DRYING: mark("drying"), Stage.READY: mark("ready for mounting"),
    Stage.MOUNTED: mark("mounted"), Stage.UNDER_PRESS: mark("under press"), Stage.DRY: mark("dry"),
    Stage.FILED: mark("filed"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Heap:
    """Sheets of one stage in one place: how many, and since when the oldest of them is so. Empty names for no place."""

    stage: Stage
    cabinet: str
    shelf: str
    bundle: str
    ids: tuple[int | None, int | None, int | None]
    count: int
    since: datetime

    @property
    def said(self) -> str:
        """The place as a person says it: "Bundle Tray 7", "M1, shelf 2, ready for mounting", "Dry"."""
        if self.bundle and not self.cabinet:
            return say("Bundle {name}", name=self.bundle)
        stage = say(WITHIN[self.stage] if self.cabinet else STAGES[self.stage].words)
        parts = [self.cabinet, say("shelf {name}", name=self.shelf) if self.shelf else "", stage]
        return ", ".join(filter(None, parts))

    @property
    def key(self) -> str:
        """The place for the program: it stays the same while sheets come and go."""
        return " ".join((self.stage.value, *("–" if each is None else str(each) for each in self.ids)))


def heaps(session: Session, *where: ColumnElement[bool], since: ColumnElement[Any] = SHEET.c.came_at) -> list[Heap]:
    """Count the sheets in the queue for which this holds by the places where they lie, the longest there first."""
    columns = (*_PLACE, func.count().label("sheets"), func.min(since).label("since"))
    # Counted first and named after: the names of a few places, not of every sheet.
    found = select(*columns).where(IN_QUEUE, *where).group_by(*_PLACE).subquery("found")
    named = (
        select(found, Cabinet.name.label("cabinet"), Shelf.name.label("shelf"), Bundle.name.label("bundle"))
        .outerjoin(Cabinet, Cabinet.id == found.c.cabinet_id)
        .outerjoin(Shelf, Shelf.id == found.c.shelf_id)
        .outerjoin(Bundle, Bundle.id == found.c.bundle_id)
        .order_by(found.c.since, found.c.cabinet_id, found.c.shelf_id, found.c.bundle_id)
    )
    return [
        Heap(Stage(row.stage), row.cabinet or "", row.shelf or "", row.bundle or "",
             (row.cabinet_id, row.shelf_id, row.bundle_id), row.sheets, row.since)
        for row in session.execute(named)
    ]  # fmt: skip


def sheets_of(session: Session, heap: Heap, *where: ColumnElement[bool],
              since: ColumnElement[Any] = SHEET.c.came_at) -> Sequence[Any]:  # fmt: skip
    """The number of each sheet of a heap, and since when it is so; the longest first."""
    here = [column.is_not_distinct_from(value) for column, value in zip(_PLACE, (heap.stage, *heap.ids), strict=True)]
    found = select(SHEET.c.number, since.label("since")).where(IN_QUEUE, SHEET.c.stage == heap.stage, *here, *where)
    return session.execute(found.order_by(since, SHEET.c.id)).all()
