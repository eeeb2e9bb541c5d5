"""The demo: an invented museum's preparation room, filled with fourteen weeks of lived-through days."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from app.db.engine import Database, transaction
from app.services.people import set_password
from seed_demo.days import working_day
from seed_demo.hands import Hands
from seed_demo.life import DAYS, Life, days_until
from seed_demo.people import MANAGER
from seed_demo.room import STATIONS, Furniture, furnish
from seed_demo.sheets import Pile, Press, Shelves


@dataclass(frozen=True, slots=True)
class Place:
    """One station of the room: its row, its short name and the name on its screen."""

    station_id: int
    slug: str
    name: str


@dataclass(frozen=True, slots=True)
class Demo:
    """What whoever starts the demo is told: the manager's name and password, and the stations."""

    manager_name: str
    password: str
    places: tuple[Place, ...]


def fill(database: Database, zone: ZoneInfo, now: datetime, progress: Callable[[int, int], None] | None = None, *,
         small: bool = False) -> Demo:  # fmt: skip
    """Fill an empty, migrated room with everything that happened in it up to `now`; all or nothing, in one transaction.

    `progress` hears how many days have passed and of how many. `small` is a room of about sixty sheets, for tests.
    """
    dates = days_until(now, zone)
    with transaction(database) as session:
        before = datetime.combine(dates[1 - DAYS] - timedelta(days=30), datetime.min.time(), zone)
        room = furnish(session, before, zone)
        hands = Hands(session, zone, room, before)
        life = Life(hands, _empty_shelves(room), zone, dates, small)
        _live(life, now, progress)
        return _told(session, room, now)


def _live(life: Life, now: datetime, progress: Callable[[int, int], None] | None) -> None:
    life.doubted = _day_of_doubt(life)
    for passed, day in enumerate(life.dates, start=1):
        working_day(life, day)
        life.hands.live_until(now)
        if progress is not None:
            progress(passed, len(life.dates))


def _day_of_doubt(life: Life) -> int:
    """The day two weeks back on which weights are told late: the day before must be the day before by the calendar too."""
    return next(day for day in range(-12, -18, -1) if (life.dates[day] - life.dates[day - 1]).days == 1)


def _empty_shelves(room: Furniture) -> Shelves:
    piles = {name: Pile(cards) for name, cards in room.stacks.items()}
    return Shelves(piles, {name: Press(name) for name in room.bundles if name.startswith("Plant press")})


def _told(session: Any, room: Furniture, now: datetime) -> Demo:
    password, manager = secrets.token_urlsafe(9), room.workers[MANAGER]
    set_password(session, manager.worker_id, password, now, by=manager.worker_id)
    places = tuple(Place(room.stations[slug], slug, name) for slug, (name, _) in STATIONS.items())
    return Demo(manager.name, password, places)
