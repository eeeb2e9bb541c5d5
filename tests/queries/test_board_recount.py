"""The board's figures, counted again sheet by sheet in another way, over some weeks of work by chance."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import select

from app.db.engine import reading
from app.db.models import Sheet, table_of
from app.domain.stages import Stage, Step
from tests.queries.looking import board_of, brought_dry, filed, page_of
from tests.room import Room

SHEET = table_of(Sheet)


def test_the_board_agrees_with_a_count_of_every_sheet_by_itself(room: Room) -> None:
    _weeks_of_work(room, random.Random(118))
    for now in (room.now, room.now + timedelta(days=4), room.now + timedelta(days=100)):
        counted = _counted_one_by_one(room, now)
        for stage in board_of(room, now).stages[:-1]:
            mine = counted.get(stage.slug, Counter())
            assert (stage.count, stage.held, stage.stalled) == (mine["sheets"], mine["held"], mine["stalled"]), (
                stage.slug,
                now,
            )
            if stage.ages is not None:
                ages = stage.ages
                assert ages.fresh + ages.fair + ages.old + ages.stalled == stage.may_go_on


def _counted_one_by_one(room: Room, now: datetime) -> dict[str, Counter[str]]:
    """Each sheet looked at by itself, and its wait counted in open days one calendar day after the other."""
    with reading(room.database) as session:
        rows = (
            session.execute(select(SHEET).where(SHEET.c.stage != Stage.FILED, SHEET.c.closed_as.is_(None)))
            .mappings()
            .all()
        )
    counted: dict[str, Counter[str]] = {}
    for row in rows:
        mine = counted.setdefault(row["stage"], Counter())
        held = _is_held(row)
        mine.update(sheets=1, held=int(held), stalled=int(not held and _has_waited_too_long(room, row, now)))
    return counted


def _is_held(row: Any) -> bool:
    stopping = {
        "ready-for-mounting": {"label-to-come", "label-query", "number-query", "quarantine"},
        "dry": {"quarantine"} if row["outcome"] is None else set(),
    }
    return bool(set(row["holds"].split()) & stopping.get(row["stage"], set()))


def _has_waited_too_long(room: Room, row: Any, now: datetime) -> bool:
    if row["stage"] == "mounted":
        return bool(now - row["came_at"] > timedelta(hours=1))
    if row["stage"] == "drying":
        return bool(now - row["papers_at"] > timedelta(days=1))
    if row["stage"] == "under-press":
        clock = page_of(room, row["number"], now).clock
        return (
            clock is not None and clock.is_ready and clock.ready_at is not None and _open_days(clock.ready_at, now) > 2
        )
    if row["stage"] == "intake":
        return bool(now - row["came_at"] > timedelta(days=1)) if row["fresh"] else _open_days(row["came_at"], now) > 10
    return _open_days(row["came_at"], now) > {"ready-for-mounting": 60, "dry": 5}[row["stage"]]


def _open_days(since: datetime, now: datetime) -> float:
    """Monday to Friday in winter, when London keeps UTC: counted day by day."""
    days, at = 0.0, since
    while at < now:
        midnight = (at + timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)
        until = min(midnight, now)
        days += (until - at) / timedelta(days=1) if at.weekday() < 5 else 0.0
        at = until
    return days


def _weeks_of_work(room: Room, chance: random.Random) -> None:
    """Sheets brought to wherever chance leaves them, over some days."""
    for _ in range(40):
        room.wait(hours=chance.choice([1, 3, 9, 20]))
        chance.choice(DEEDS)(room)


def _fresh(room: Room) -> None:
    room.scans(room.new_number(), "intake", step=Step.TAKE_IN, facts={"fresh": True})


def _laid(room: Room) -> None:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.scans(number, "drying", step=Step.LAY_TO_DRY)


def _held(room: Room) -> None:
    room.sheet_ready(label=False)


def _pressed(room: Room) -> None:
    room.weights("off", "P1")
    room.wait(minutes=3)
    room.sheet_in("P1")
    room.wait(minutes=3)
    room.weights("on", "P1")


def _withdrawn(room: Room) -> None:
    room.scans(room.sheet_ready(), who="hedda", manages=True, step=Step.WITHDRAW, reason="sent in exchange")


DEEDS: list[Callable[[Room], object]] = [
    _fresh, _laid, Room.sheet_ready, _held, Room.sheet_mounted, _pressed, brought_dry, filed, _withdrawn,
]  # fmt: skip
