"""The room's order of consignments: moved one at a time, without gaps, on the state that is found."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select, update

from app.db.engine import Database, reading, transaction
from app.db.models import Change, Consignment, table_of
from app.domain.stages import Step
from app.queries.comes_first import consignments_in_order, wanted_sheets
from app.queries.fetching import fetch_next
from app.queries.house import house_now
from app.services.order import MOVES, set_order
from app.services.room import add_consignment
from tests.queries.looking import brought_dry, label, wanted
from tests.room import Room

CONSIGNMENT = table_of(Consignment)


@pytest.fixture
def parcels(room: Room) -> Room:
    """A room with four consignments, none with a place."""
    with transaction(room.database) as session:
        for code in "ABCD":
            add_consignment(session, code, f"Parcel {code}")
    return room


def moves(room: Room, code: str, move: str) -> bool:
    with transaction(room.database) as session:
        return set_order(session, code, move, room.now, by=room.worker["hedda"])


def order(database: Database) -> str:
    with reading(database) as session:
        rows = session.execute(
            select(CONSIGNMENT.c.code, CONSIGNMENT.c.place_in_order).where(CONSIGNMENT.c.place_in_order > 0)
        )
        found = sorted((place, code) for code, place in rows)
    assert [place for place, _ in found] == list(range(1, len(found) + 1)), found
    return "".join(code for _, code in found)


def test_consignments_are_given_places_moved_and_taken_out_and_gaps_close(parcels: Room) -> None:
    for code in "ABCD":
        assert moves(parcels, code, "last")
    told = []
    for code, move in (("C", "up"), ("D", "first"), ("A", "down"), ("D", "none"), ("B", "last")):
        moves(parcels, code, move)
        told.append(order(parcels.database))
    assert told == ["ACBD", "DACB", "DCAB", "CAB", "CAB"]


def test_at_an_end_nothing_is_moved_and_nothing_is_written(parcels: Room) -> None:
    moves(parcels, "A", "last")
    moves(parcels, "B", "last")
    with reading(parcels.database) as session:
        before = len(session.execute(select(Change.id)).all())
    for code, move in (("A", "up"), ("A", "first"), ("B", "down"), ("C", "none"), ("C", "up"), ("C", "down")):
        assert moves(parcels, code, move) is False
    with reading(parcels.database) as session:
        assert len(session.execute(select(Change.id)).all()) == before
    assert order(parcels.database) == "AB"


def test_each_move_is_written_down_with_who_and_from_where_to_where(parcels: Room) -> None:
    for code in "AB":
        moves(parcels, code, "last")
    moves(parcels, "B", "first")
    moves(parcels, "B", "none")
    with reading(parcels.database) as session:
        found = select(Change).where(Change.subject == "consignment").order_by(Change.id)
        rows = [(row.old, row.new, row.changed_by) for row in session.execute(found).scalars()]
    who = parcels.worker["hedda"]
    assert rows == [("no place", "1", who), ("no place", "2", who), ("2", "1", who), ("1", "no place", who)]


def test_two_managers_at_once_each_move_what_they_find(parcels: Room) -> None:
    """Both saw A B C; the second moves C up after the first has put it first: it stays first."""
    for code in "ABC":
        moves(parcels, code, "last")
    moves(parcels, "C", "first")
    assert moves(parcels, "C", "up") is False
    moves(parcels, "B", "up")
    assert order(parcels.database) == "CBA"


@pytest.mark.parametrize(("code", "move"), [("X", "up"), ("A", "sideways"), ("A", ""), ("'; --", "first")])
def test_what_cannot_be_meant_is_said_in_a_sentence(parcels: Room, code: str, move: str) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        moves(parcels, code, move)


def test_a_closed_consignment_has_no_place_any_more(parcels: Room) -> None:
    for code in "ABC":
        moves(parcels, code, "last")
    with transaction(parcels.database) as session:
        session.execute(update(CONSIGNMENT).where(CONSIGNMENT.c.code == "A").values(closed_at=parcels.now))
    with pytest.raises(ValueError, match="no open consignment"):
        moves(parcels, "A", "up")
    moves(parcels, "C", "up")
    with reading(parcels.database) as session:
        assert [(line.code, line.place) for line in consignments_in_order(session)] == [("C", 1), ("B", 2)]


@given(st.lists(st.tuples(st.sampled_from(range(5)), st.sampled_from(sorted(MOVES))), max_size=30))
def test_whatever_is_moved_nothing_is_lost_or_there_twice(asked: list[tuple[int, str]]) -> None:
    """Held against a list of names that is moved by hand: taken out, and put in again where it belongs."""
    moved, names = list[int](), list[int]()
    for each, move in asked:
        moved = MOVES[move](moved, each)
        at = names.index(each) if each in names else None
        if move == "none" or (at is None and move in ("up", "down")):
            names = [name for name in names if name != each]
        else:
            names = [name for name in names if name != each]
            there = {"first": 0, "last": len(names), "up": max((at or 0) - 1, 0), "down": (at or 0) + 1}[move]
            names.insert(there, each)
        assert moved == names and len(set(moved)) == len(moved)


def test_the_tables_are_sent_for_what_is_wanted_then_for_the_order_then_for_the_oldest(parcels: Room) -> None:
    numbers = {}
    for code in "ABC":
        numbers[code] = parcels.sheet_ready()
        with transaction(parcels.database) as session:
            consignment = select(CONSIGNMENT.c.id).where(CONSIGNMENT.c.code == code)
            consignment_id = session.execute(consignment).scalar_one()
        label(parcels, numbers[code], consignment_id=consignment_id)
        parcels.wait(minutes=10)
    assert _fetched(parcels) == [numbers[code] for code in "ABC"]
    moves(parcels, "C", "last")
    assert _fetched(parcels) == [numbers[code] for code in "CAB"]
    wanted(parcels, numbers["B"])
    assert _fetched(parcels) == [numbers[code] for code in "BCA"]


def test_the_order_shows_how_far_each_consignment_is(parcels: Room) -> None:
    made = [
        parcels.sheet_ready(),
        parcels.sheet_mounted(),
        brought_dry(parcels),
        brought_dry(parcels),
        parcels.sheet_ready(),
    ]
    with transaction(parcels.database) as session:
        consignment_id = session.execute(select(CONSIGNMENT.c.id).where(CONSIGNMENT.c.code == "B")).scalar_one()
    for number in made:
        label(parcels, number, consignment_id=consignment_id)
    parcels.scans(made[2], "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    assert parcels.scans(made[2], "filing", step=Step.FILE, cabinet="F1", shelf="1").kind == "done"
    parcels.scans(made[4], who="hedda", manages=True, step=Step.WITHDRAW, reason="sent in exchange")
    moves(parcels, "D", "first")
    with reading(parcels.database) as session:
        found = consignments_in_order(session)
    assert [(line.code, line.place) for line in found] == [("D", 1), ("B", 0)]
    assert (found[1].sheets, found[1].before, found[1].ready, found[1].further, found[1].filed) == (4, 0, 1, 2, 1)
    assert found[1].share_filed == 0.25 and found[0].share_filed == 0.0


def test_wanted_sheets_are_told_by_the_day_they_are_needed(room: Room) -> None:
    numbers = [room.sheet_ready() for _ in range(4)]
    days = [None, 9, 3, None]
    for number, day in zip(numbers, days, strict=True):
        wanted(room, number, needed_on=(room.now + timedelta(days=day)).date() if day else None)
        room.wait(minutes=1)
    gone = room.sheet_ready()
    wanted(room, gone)
    room.scans(gone, who="hedda", manages=True, step=Step.WITHDRAW, reason="sent in exchange")
    with reading(room.database) as session:
        today = wanted_sheets(session, room.now, room.zone, by_names=False)
        on_the_day = wanted_sheets(session, room.now + timedelta(days=3), room.zone)
        later = wanted_sheets(session, room.now + timedelta(days=4), room.zone)
    assert [line.sheet.number for line in today] == [numbers[at] for at in (2, 1, 0, 3)]
    assert not any(line.is_late for line in (*today, *on_the_day)) and [line.is_late for line in later] == [
        True,
        False,
        False,
        False,
    ]
    assert {line.wish.by for line in today} == {""} and {line.wish.by for line in later} == {"Hedda Brackwater"}


def _fetched(room: Room) -> list[str]:
    room.database.kept.pop("runs", None)
    with reading(room.database) as session:
        found = fetch_next(session, room.station["table-1"], room.now, room.zone, house_now(session))
        return [line.number for line in found]
