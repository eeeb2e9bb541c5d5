"""The last scans of a station today, and how each was answered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, bindparam, select
from sqlalchemy.orm import Session

from app.db.models import Scan
from app.db.prepared import prepared
from app.domain.calendar import day_bounds, local_day
from app.domain.language import say
from app.domain.stages import STEP_WORDS, Step

SHOWN = 12
_TODAY = (
    select(Scan.answer, Scan.received_at)
    .where(Scan.station_id == bindparam("station"), Scan.received_at >= bindparam("since"))
    .order_by(Scan.received_at.desc(), Scan.id.desc())
)
_LAST = prepared(_TODAY.limit(SHOWN))
_NEWEST = prepared(_TODAY.limit(1))


@dataclass(frozen=True, slots=True)
class LastScan:
    """One scan and how it was answered: `kind` is that of the answer, `words` what stands beside it.

    `entry` is the last entry that it wrote, where it was done.
    """

    at: datetime
    kind: str
    words: str
    number: str
    shown: str
    plant: str
    entry: int | None = None


def last_scans(session: Session, station_id: int, now: datetime, zone: ZoneInfo) -> tuple[LastScan, ...]:
    """Today's last scans at a station, the newest first."""
    return _read(session, _LAST, station_id, now, zone)


def newest_scan(session: Session, station_id: int, now: datetime, zone: ZoneInfo) -> tuple[LastScan, ...]:
    """The scan that was answered last at a station today, alone; a screen that has the others already puts it on top."""
    return _read(session, _NEWEST, station_id, now, zone)


def _read(
    session: Session, statement: Select[Any], station_id: int, now: datetime, zone: ZoneInfo
) -> tuple[LastScan, ...]:
    since = day_bounds(local_day(now, zone), zone)[0]
    return tuple(_scan(row) for row in session.execute(statement, {"station": station_id, "since": since}))


def _scan(row: Any) -> LastScan:
    answer = row.answer
    sheet = answer.get("sheet") or {}
    return LastScan(
        row.received_at, answer["kind"], _words(answer), sheet.get("number", ""), sheet.get("shown", ""), sheet.get("plant", ""),
        answer.get("entry") if answer["kind"] == "done" else None,
    )  # fmt: skip


def _words(answer: dict[str, Any]) -> str:
    if answer["kind"] == "done":
        step = answer.get("step")
        return (
            say(STEP_WORDS[Step(step)][1])
            if step and not answer.get("moved")
            else _begun_small(say(str(answer["word"])).rstrip("."))
        )
    first = answer["lines"][0] if answer.get("lines") else answer["word"]
    return say(str(first)).split(". ")[0].rstrip(".:?")


def _begun_small(words: str) -> str:
    """As within a line; names, and what is written in capitals (PVA), stay as they are."""
    return words if words[1:2].isupper() else words[:1].lower() + words[1:]
