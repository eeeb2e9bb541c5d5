"""What mounting used up: packets, straps, thread and adhesives, by the sheets that took them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Adhesive, Entry, Station, table_of
from app.db.standing import STANDS
from app.domain.calendar import day_bounds, local_day
from app.domain.stages import Step
from app.domain.used import TAKES, USES

ENTRY = table_of(Entry)
_GLUED = (
    select(
        ENTRY.c.facts[("used", "packet")].as_string().label("packet"),
        ENTRY.c.facts[("used", "straps")].as_string().label("straps"),
        ENTRY.c.facts[("sets", "adhesive_id")].as_integer().label("adhesive"), func.count().label("sheets"),
    )
    .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.step.in_((Step.MOUNT.value, Step.RE_GLUE.value)), STANDS)
    .group_by("packet", "straps", "adhesive")
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Used:
    """How many sheets took something: `kind` is packet, straps or adhesive, `what` which of them (of an adhesive its code)."""

    kind: str
    what: str
    words: str
    sheets: int


def used_between(
    session: Session, since: datetime, until: datetime, *, station_id: int | None = None
) -> tuple[Used, ...]:
    """What was used from `since` on and before `until`, at one station or in the whole room, by kind.

    Of standing entries only: what was taken back used nothing. An adhesive counts as it was named when the sheet was glued.
    """
    asked = _GLUED.where(ENTRY.c.happened_at >= since, ENTRY.c.happened_at < until)
    if station_id is not None:
        asked = asked.where(ENTRY.c.station_id == station_id)
    rows = session.execute(asked).all()
    return (*_taken(rows), *_adhesives(session, rows))


def used_on_day(session: Session, now: datetime, zone: ZoneInfo, *, station_id: int | None = None) -> tuple[Used, ...]:
    """What was used on the room's day that holds this moment."""
    since, until = day_bounds(local_day(now, zone), zone)
    return used_between(session, since, until, station_id=station_id)


def _taken(rows: Any) -> list[Used]:
    counted: Counter[tuple[str, str]] = Counter()
    for row in rows:
        for kind, takes in TAKES.items():
            for what in takes.get(getattr(row, kind) or "", ()):
                counted[kind, what] += row.sheets
    order = [(kind, what) for kind, takes in TAKES.items() for what in takes]
    return [Used(kind, what, USES[kind][what], counted[kind, what]) for kind, what in order if counted[kind, what]]


def _adhesives(session: Session, rows: Any) -> list[Used]:
    counted: Counter[int] = Counter()
    for row in rows:
        if row.adhesive is not None:
            counted[row.adhesive] += row.sheets
    known = select(Adhesive.id, Adhesive.code, Adhesive.name).where(Adhesive.id.in_(counted)).order_by(Adhesive.id)
    return [Used("adhesive", row.code, row.name, counted[row.id]) for row in session.execute(known)]


def table_takes(session: Session, station_id: int) -> dict[str, str]:
    """What a table takes for a sheet unless something else is said: packet, straps; what nobody has set is left out."""
    found = session.execute(select(Station.uses).where(Station.id == station_id)).scalar() or {}
    return {name: str(value) for name, value in found.items() if value in USES.get(name, {})}
