"""House rules are kept in memory between scans; what a transaction that failed had set is never kept."""

from __future__ import annotations

import pytest

from app.db.engine import open_database, reading, transaction
from app.db.rules import room_house
from app.services.room import set_house_rule
from tests.room import Room


def test_rules_of_a_transaction_that_failed_are_not_in_force_after_the_next_change(room: Room) -> None:
    with pytest.raises(RuntimeError), transaction(room.database) as session:
        set_house_rule(session, "press_pva_h", 5, "a slip", room.now)
        set_house_rule(session, "press_paste_h", 6, "another", room.now)
        assert room_house(session)[0].press_pva_h == 5
        raise RuntimeError("the disk is full")
    # Another program makes as many changes as were undone: the room is again at a version that was never reached.
    other = open_database(room.database.engine.url.render_as_string())
    with transaction(other) as session:
        set_house_rule(session, "press_straps_h", 3, "tried out", room.now)
        set_house_rule(session, "press_spot_h", 3, "tried out", room.now)
    other.engine.dispose()
    with reading(room.database) as session:
        house = room_house(session)[0]
    assert (house.press_pva_h, house.press_paste_h, house.press_straps_h) == (24, 48, 3)


def test_rules_that_were_set_are_in_force_at_once(room: Room) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, "press_pva_h", 5, "tried out", room.now)
    for opened in (reading, transaction):
        with opened(room.database) as session:
            assert room_house(session)[0].press_pva_h == 5
