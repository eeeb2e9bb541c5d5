"""Old poisons and pests: what was found in the backlog is looked at and cleared, somebody is named, and a beetle is seen."""

from __future__ import annotations

from app.domain.numbers import COMMANDS
from app.queries.hazards import suspects
from app.services.hazards import clear_many
from app.services.suspected import name_for
from seed_demo.hands import Work
from seed_demo.life import Life
from seed_demo.people import MANAGER

CLEARED = "Pressed twenty years ago, never treated: it is in the collecting books that came with them"


def clears_the_backlog(life: Life) -> None:
    """The manager has read the books that lay with the find: nothing of it was ever treated."""
    session, by = life.hands.session, life.hands.room.workers[MANAGER].worker_id
    found = suspects(session, by_names=False, most=1000).lines
    clear_many(
        session, [each.hazard_id for each in found if each.why == "found in the backlog"], CLEARED, life.moment, by
    )


def somebody_is_named(life: Life) -> Work:
    """The manager names herself and the second table for the bequest's old sheets."""
    session, by = life.hands.session, life.hands.room.workers[MANAGER].worker_id
    name_for(session, life.moment, by, worker_id=by)
    name_for(session, life.moment, by, station_id=life.hands.room.stations["table-2"])
    yield from ()


def beetle_is_seen(life: Life) -> Work:
    """A beetle runs over a filed sheet: the card, then the sheet. It waits for the manager to look at what lay beside it."""
    sheet = next((each for each in reversed(life.shelves.filed) if each.is_free), None)
    if sheet is None:
        return
    life.hands.signs_in(life.crew.round, "filing")
    yield 30
    life.hands.scans(COMMANDS["pest"], "filing", answers="which-one stop")
    yield 6
    life.hands.scans(sheet.number, "filing", answers="stop", facts={"pest_on": "yes"})
    sheet.story = "beetle"
