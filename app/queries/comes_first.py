"""What comes first in the work: the sheets that somebody wants, and the room's own order of consignments."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, case, func, select
from sqlalchemy.orm import Session

from app.db.models import Consignment, Sheet, table_of
from app.domain.calendar import local_day
from app.domain.stages import Stage
from app.queries.house import patterns_now
from app.queries.kinds import IN_QUEUE
from app.queries.lines import SheetRow, line_rows, sheet_rows
from app.queries.waiting import judge
from app.queries.wanted import Wish, wishes_of

SHEET = table_of(Sheet)
CONSIGNMENT = table_of(Consignment)
MOST_WANTED = 200
# The queue has an index by stage; by consignment only what waits is gone through.
_WAITING = (
    select(SHEET.c.consignment_id, SHEET.c.stage, func.count().label("sheets"))
    .where(IN_QUEUE, SHEET.c.stage.in_([stage.value for stage in Stage]), SHEET.c.consignment_id.is_not(None))
    .group_by(SHEET.c.consignment_id, SHEET.c.stage)
)
_IN_ALL = (
    select(SHEET.c.consignment_id, func.count().label("sheets"),
           func.sum(case((SHEET.c.stage == Stage.FILED, 1), else_=0)).label("filed"))
    .where(SHEET.c.consignment_id.in_(bindparam("consignments", expanding=True)), SHEET.c.closed_as.is_(None))
    .group_by(SHEET.c.consignment_id)
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class WantedLine:
    """One sheet that somebody wants: where it stands, what for, by when, and whether that day has passed."""

    sheet: SheetRow
    wish: Wish
    is_late: bool


@dataclass(frozen=True, slots=True)
class ConsignmentLine:
    """One consignment: its `place` in the room's order (0 for none), and how its sheets stand, those withdrawn left out.

    `ready` wait for mounting, `before` are not yet so far, `further` are mounted and not yet filed.
    """

    code: str
    name: str
    place: int
    sheets: int
    before: int
    ready: int
    further: int
    filed: int

    @property
    def share_filed(self) -> float:
        """The part of its sheets that is filed, from 0 to 1."""
        return self.filed / self.sheets if self.sheets else 0.0


def wanted_sheets(session: Session, now: datetime, zone: ZoneInfo, *, by_names: bool = True,
                  worker_id: int | None = None) -> tuple[WantedLine, ...]:  # fmt: skip
    """The sheets in the queue that somebody wants: by the day they are needed, the earliest first, then those without a
    day, by when they were asked for. At most 200. Without `by_names` only `worker_id` is named.
    """
    asked = select(SHEET.c.id).where(SHEET.c.wanted_at.is_not(None), IN_QUEUE).order_by(SHEET.c.wanted_at, SHEET.c.id)
    ids = list(session.execute(asked.limit(MOST_WANTED)).scalars())
    wishes, today = wishes_of(session, ids), local_day(now, zone)
    rows = sheet_rows(session, line_rows(session, ids), patterns_now(session), judge(session, now, zone))
    told = {
        each: wish if by_names or wish.by_id == worker_id else replace(wish, by="") for each, wish in wishes.items()
    }
    lines = [
        WantedLine(row, told[row.sheet_id], told[row.sheet_id].is_late(today)) for row in rows if row.sheet_id in told
    ]
    return tuple(sorted(lines, key=lambda line: (line.wish.needed_on or date.max, line.wish.asked_at)))


def consignments_in_order(session: Session) -> tuple[ConsignmentLine, ...]:
    """The open consignments that have a place, or of which something waits: by their place, then the others by code.

    What it costs follows the queue, and the size of these consignments.
    """
    waiting: dict[int, dict[str, int]] = {}
    for row in session.execute(_WAITING):
        waiting.setdefault(row.consignment_id, {})[row.stage] = row.sheets
    rows = [row for row in session.execute(select(CONSIGNMENT).where(CONSIGNMENT.c.closed_at.is_(None)))
            if row.place_in_order or row.id in waiting]  # fmt: skip
    found = session.execute(_IN_ALL, {"consignments": [row.id for row in rows]}) if rows else ()
    in_all = {each.consignment_id: (each.sheets, each.filed) for each in found}
    ordered = sorted(
        rows, key=lambda row: (not row.place_in_order, row.place_in_order, row.id if row.place_in_order else row.code)
    )
    # Places are told as ranks: a consignment that was closed may have left a gap.
    places = [rank if row.place_in_order else 0 for rank, row in enumerate(ordered, 1)]
    return tuple(_line(row.code, row.name, place, in_all.get(row.id, (0, 0)), waiting.get(row.id, {}))
                 for row, place in zip(ordered, places, strict=True))  # fmt: skip


def _line(code: str, name: str, place: int, in_all: tuple[int, int], waiting: dict[str, int]) -> ConsignmentLine:
    def at(stages: Iterable[Stage]) -> int:
        return sum(waiting.get(stage, 0) for stage in stages)

    return ConsignmentLine(code, name, place, in_all[0], at((Stage.INTAKE, Stage.DRYING)), at((Stage.READY,)),
                           at((Stage.MOUNTED, Stage.UNDER_PRESS, Stage.DRY)), in_all[1])  # fmt: skip
