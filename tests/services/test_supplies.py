"""Supplies: set up, counted, come in and taken; put right by new lines, and the same whatever the order of entering."""

from __future__ import annotations

from datetime import timedelta
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select, text
from sqlalchemy.exc import DatabaseError

from app.db.engine import reading, transaction
from app.db.models import Change, SupplyEntry, table_of
from app.queries.named_texts import named_texts
from app.services.forgetting_names import replace_name
from app.services.people import retire_worker
from app.services.supplies import add_supply, change_supply, close_supply, put_right
from tests.databases import Rooms
from tests.room import Room
from tests.services.days import new_room
from tests.services.supplied import PASTE, PVA, came, counted, kept, line, on_hand, taken, told

SUPPLY_ENTRY = table_of(SupplyEntry)


def rows(room: Room) -> list[Any]:
    with reading(room.database) as session:
        return list(session.execute(select(SUPPLY_ENTRY).order_by(SUPPLY_ENTRY.c.id)).mappings())


def corrected(room: Room, entry_id: int, amount: object, why: str = "miscounted", **more: Any) -> int:
    with transaction(room.database) as session:
        return put_right(session, entry_id, None if amount is None else Fraction(str(amount)), told(room, **more), why)


def test_on_hand_is_the_last_count_with_what_came_and_went_since(room: Room) -> None:
    sheets = kept(room)
    assert line(room, sheets).now is None and not line(room, sheets).is_below
    came(room, sheets, 500)
    assert line(room, sheets).now is None, "nobody has counted what lay there before"
    room.wait(minutes=1)
    counted(room, sheets, 540)
    room.wait(minutes=1)
    came(room, sheets, 100)
    taken(room, sheets, 12, "wet")
    assert on_hand(room, sheets) == 628
    room.sheet_mounted()
    assert on_hand(room, sheets) == 627


def test_a_line_is_put_right_by_a_line_that_takes_its_place(room: Room) -> None:
    sheets = kept(room)
    first = counted(room, sheets, 100)
    room.wait(hours=1)
    second = came(room, sheets, 50, supplier="Paperhouse")
    corrected(room, first, 90)
    assert on_hand(room, sheets) == 140
    third = corrected(room, second, 60)
    assert on_hand(room, sheets) == 150 and rows(room)[-1]["supplier"] == "Paperhouse"
    corrected(room, third, None, "it went to another room")
    assert on_hand(room, sheets) == 90
    assert [(row["kind"], row["thousandths"], row["corrects"]) for row in rows(room)] == [
        ("count", 100_000, None), ("came", 50_000, None), ("count", 90_000, first), ("came", 60_000, second), ("void", 0, third)]  # fmt: skip
    # The moment stays that of the line that was wrong.
    assert (
        rows(room)[2]["happened_at"] == rows(room)[0]["happened_at"]
        and rows(room)[3]["happened_at"] == rows(room)[1]["happened_at"]
    )


def test_what_no_longer_stands_cannot_be_put_right_again(room: Room) -> None:
    sheets = kept(room)
    first = counted(room, sheets, 100)
    void = corrected(room, first, None)
    for gone in (first, void, 999):
        with pytest.raises(ValueError, match="no longer stands"):
            corrected(room, gone, 5)
    assert line(room, sheets).now is None


@pytest.mark.parametrize(
    ("statement", "table"),
    [("UPDATE supply_entry SET thousandths = 1", "supply_entry"), ("DELETE FROM supply_entry", "supply_entry"),
     pytest.param("INSERT OR REPLACE INTO supply_entry SELECT * FROM supply_entry", "supply_entry",
                  marks=pytest.mark.sqlite_only("REPLACE is a statement of SQLite only"))],
)  # fmt: skip
def test_no_line_is_ever_changed(room: Room, statement: str, table: str) -> None:
    counted(room, kept(room), 100)
    with (
        pytest.raises(DatabaseError, match=f"the log is never changed: {table}"),
        room.database.engine.begin() as connection,
    ):
        connection.execute(text(statement))


def test_a_line_says_why_and_lies_in_no_future(room: Room) -> None:
    sheets = kept(room)
    first = counted(room, sheets, 100)
    for wrong in (lambda: corrected(room, first, 90, " "), lambda: taken(room, sheets, 3, " ")):
        with pytest.raises(ValueError, match="history"):
            wrong()
    for late in (lambda: counted(room, sheets, 3, room.now + timedelta(seconds=1)),
                 lambda: corrected(room, first, 3, at=room.now + timedelta(seconds=1))):  # fmt: skip
        with pytest.raises(ValueError, match="not come yet"):
            late()
    for nothing in (lambda: came(room, sheets, 0), lambda: taken(room, sheets, 0)):
        with pytest.raises(ValueError, match="Say how many"):
            nothing()
    with pytest.raises(ValueError, match="at that very moment already"):
        counted(room, sheets, 90)
    assert len(rows(room)) == 1


def test_what_is_put_right_may_be_a_moment(room: Room) -> None:
    sheets = kept(room)
    first = counted(room, sheets, 100)
    room.wait(hours=2)
    came(room, sheets, 10, room.now - timedelta(hours=1))
    assert on_hand(room, sheets) == 110
    corrected(room, first, 100, "it was after the delivery", at=room.now)
    assert on_hand(room, sheets) == 100


@pytest.mark.parametrize(
    ("told_of", "match"),
    [({"kind": "glitter"}, "Choose what it is"), ({"unit": "barrel"}, "Choose what it is"), ({"name": " "}, "needs a name"),
     ({"name": "mounting SHEETS "}, "is taken"), ({"kind": "mounting-sheet", "name": "Other sheets"}, "cannot tell it from Mounting sheets"),
     ({"kind": "adhesive", "name": "Glue"}, "which of the room's adhesives"), ({"kind": "adhesive", "adhesive_id": 99}, "which of the room's"),
     ({"kind": "adhesive", "adhesive_id": PVA}, "cannot tell it from PVA"), ({"pack": 0}, "at least one"),
     ({"order_below": -1}, "at least one"), ({"lead_weeks": -1}, "at least one")],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_in_a_sentence(room: Room, told_of: dict[str, Any], match: str) -> None:
    kept(room, name="Mounting sheets")
    kept(room, "adhesive", "PVA", adhesive_id=PVA, holds=1000)
    asked = {"kind": "other", "name": "New", **told_of}
    with pytest.raises(ValueError, match=match), transaction(room.database) as session:
        add_supply(session, asked.pop("kind"), asked.pop("name"), told(room), **asked)


def test_each_adhesive_and_anything_else_may_be_kept_beside_another(room: Room) -> None:
    for name, adhesive in (("PVA", PVA), ("Paste", PASTE)):
        kept(room, "adhesive", name, adhesive_id=adhesive, holds=500)
    kept(room, "other", "Blotters")
    kept(room, "other", "Pencils")
    with transaction(room.database) as session:
        close_supply(session, 1, told(room), "another maker")
    assert kept(room, "adhesive", "PVA of another maker", adhesive_id=PVA) == 5
    with pytest.raises(ValueError, match="no such supply in use"):
        counted(room, 1, 3)


def test_how_it_is_bought_is_changed_with_its_history(room: Room) -> None:
    sheets = kept(room, pack=100, order_below=50, lead_weeks=3, supplier="Paperhouse")
    with transaction(room.database) as session:
        assert change_supply(session, sheets, told(room), order_below=80, pack=100, supplier=None) == (
            "order_below",
            "supplier",
        )
        assert change_supply(session, sheets, told(room), order_below=80) == ()
        with pytest.raises(ValueError, match="Say why"):
            close_supply(session, sheets, told(room), " ")
    found = line(room, sheets)
    assert (found.order_below, found.pack, found.supplier) == (80, 100, "")
    with reading(room.database) as session:
        mine = select(Change.what, Change.old, Change.new).where(Change.subject == "supply").order_by(Change.id)
        assert [tuple(row) for row in session.execute(mine)] == [
            ("added", None, "mounting-sheet"), ("order_below", "50", "80"), ("supplier", "Paperhouse", None)]  # fmt: skip


_DEEDS = st.lists(
    st.tuples(st.sampled_from(("count", "came", "taken")), st.integers(0, 20), st.integers(1, 40)),
    min_size=1, max_size=7, unique_by=lambda each: each[1],
)  # fmt: skip


@settings(max_examples=12)
@given(deeds=_DEEDS, dice=st.randoms(use_true_random=False))
def test_on_hand_is_the_same_in_whatever_order_it_is_entered(
    rooms: Rooms, tmp_path_factory: pytest.TempPathFactory, deeds: list[tuple[str, int, int]], dice: Any
) -> None:
    room = new_room(rooms, tmp_path_factory.mktemp("room"))
    began = room.now
    for _ in range(4):
        room.wait(minutes=5)
        room.sheet_mounted()
    room.wait(minutes=5)
    write = {
        "count": counted,
        "came": came,
        "taken": lambda room, supply, amount, at: taken(room, supply, amount, "wet", at),
    }
    found = []
    shuffled = list(deeds)
    dice.shuffle(shuffled)
    for order in (deeds, shuffled):
        supply = kept(room, name=f"Sheets {len(found)}")
        for kind, minute, amount in order:
            write[kind](room, supply, amount, began + timedelta(minutes=minute))  # type: ignore[operator]
        found.append(line(room, supply).now)
        with transaction(room.database) as session:
            close_supply(session, supply, told(room), "the next order")
    room.database.engine.dispose()
    assert found[0] == found[1]


def test_a_name_is_taken_out_of_why_something_was_written(room: Room) -> None:
    sheets = kept(room)
    counted(room, sheets, 100)
    taken(room, sheets, 5, "Piet Lindqvist spilt tea")
    with transaction(room.database) as session:
        retire_worker(session, room.worker["piet"], room.now, by=room.worker["hedda"])
        texts = [each for each in named_texts(session, room.worker["piet"]) if each.where == "supply_entry.why"]
        assert [each.text for each in texts] == ["Piet Lindqvist spilt tea"]
        replace_name(session, room.worker["piet"], room.now, room.worker["hedda"], texts)
    assert rows(room)[-1]["why"] == "W03 spilt tea"
