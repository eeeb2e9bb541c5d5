"""The closing page says what its card says, read in another way, and where each thing was last seen."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st

from app.db.engine import reading
from app.domain.stages import Step
from app.domain.words import said
from app.queries.board import board_version
from app.queries.closing import closing_view
from app.queries.morning import morning_view
from tests.databases import Rooms
from tests.queries.looking import label
from tests.queries.plans import full_scans, plans_of
from tests.room import Room
from tests.services.days import done, new_room
from tests.services.evenings import (
    as_on_a_card,
    closing_of,
    closing_said,
    dry_in,
    enrolled,
    everybody_leaves,
    load,
    morning_of,
    morning_said,
    on_table,
)

ROOMS = max(settings().max_examples // 4, 20)
STACKS, TABLES = ("P1", "P2", "P3"), ("table-1", "table-2")


def laid(room: Room, where: int) -> None:
    done(room.weights("off", STACKS[where % 3]))
    room.sheet_in(STACKS[where % 3], adhesive=("pva", "straps", "paste")[where % 3])


def put_in(room: Room, where: int) -> None:
    moments = ("put_in_at", "cold_at", "out_at")[: where % 3 + 1]
    load(room, f"Bag {room.next_id()}", **dict.fromkeys(moments, room.now))


def everybody_changes(room: Room, _: int) -> None:
    everybody_leaves(room)
    room.sign_in_all()


def wanted(room: Room, where: int) -> None:
    number = room.sheet_ready(label=bool(where % 2))
    label(room, number, consignment=f"{where % 4:03} gift", wanted_at=room.now)


LEFT: dict[str, Callable[[Room, int], object]] = {
    "glued": lambda room, where: room.sheet_mounted(TABLES[where % 2]),
    "laid": laid,
    "weights": lambda room, where: done(room.weights("on", STACKS[where % 3])),
    "taken up": lambda room, where: on_table(room, TABLES[where % 2]),
    "dries": lambda room, where: dry_in(
        room, f"Tray {room.next_id()}", where % 3 + 1, ("unheated", "heated")[where % 2]
    ),
    "kept": lambda room, where: room.scans(room.new_number(), TABLES[where % 2], held=where % 3),
    "browser": lambda room, where: enrolled(room, ("intake", "press", "filing")[where % 3]),
    "load": put_in,
    "wanted": wanted,
    "leaves": everybody_changes,
}
HAPPENS = st.tuples(st.sampled_from(sorted(LEFT)), st.integers(0, 30))


@given(st.lists(HAPPENS, min_size=3, max_size=14))
@settings(max_examples=ROOMS)
def test_the_cards_and_the_pages_say_the_same_of_any_room(rooms: Rooms, history: list[tuple[str, int]]) -> None:
    with TemporaryDirectory() as folder:
        room = new_room(rooms, Path(folder))
        for what, where in history:
            LEFT[what](room, where)
            room.wait(hours=where)
        tell = lambda at: said(at, room.zone, room.now)  # noqa: E731
        card, page = closing_said(room), closing_of(room)
        told = [as_on_a_card(part, tell) for part in (*page.to_do, *page.to_know)]
        assert sorted([*told, page.opens]) == sorted(
            set(card.lines) - {"Nothing is left out of weights or on a table."}
        )
        assert page.safe is (card.word == "All is safe.")
        morning, listed = morning_said(room), morning_of(room)
        told = [as_on_a_card(part, tell) for part in listed.parts]
        assert (
            tuple([*filter(None, [listed.closed]), *told] or ["Nothing waits from before."]) == morning.lines
            or not told
        )
        assert len(morning.lines) <= 8
        room.database.engine.dispose()


def test_an_empty_room_is_safe(room: Room) -> None:
    everybody_leaves(room)
    view = closing_of(room)
    assert view.safe and view.to_do == view.to_know == ()
    assert view.opens == "The room opens again tomorrow, Thursday 26 Nov."


def test_a_glued_sheet_is_said_with_where_it_was_last_scanned(room: Room) -> None:
    number = room.sheet_mounted()
    label(room, number, plant="Drosera anglica")
    room.wait(minutes=40)
    room.scans(number, "inspection")
    line = closing_of(room).to_do[0].lines[0]
    assert (line.plant, line.href_kind, line.href_id) == ("Drosera anglica", "sheet", number)
    assert line.where == "last seen at Inspection, 09:40"


def test_one_glued_anew_lies_at_no_place_and_is_still_seen_where_it_was_glued(room: Room) -> None:
    number = room.sheet_in("P1")
    done(room.weights("on", "P1"))
    room.wait(hours=25)
    done(room.weights("off", "P1"))
    done(room.takes_out(number))
    room.wait(minutes=5)
    done(room.scans(number, "inspection", step=Step.RE_GLUE, facts={"adhesive": "straps"}))
    line = closing_of(room).to_do[0].lines[0]
    assert line.href_id == number and line.where == "last seen at Inspection, 10:05"


def test_a_table_names_the_sheets_that_lie_on_it(room: Room) -> None:
    on_table(room)
    on_table(room)
    on_table(room, "table-2")
    part = closing_of(room).to_do[0]
    assert [(line.name, line.before, line.where) for line in part.lines] == [
        ("Mounting table 1", "2 sheets", "TQX 000001·N, TQX 000002·L"), ("Mounting table 2", "1 sheet", "TQX 000003·J"),
    ]  # fmt: skip


def test_what_is_good_to_know_does_not_make_a_room_unsafe(room: Room) -> None:
    load(room, "Bag 1", put_in_at=room.now - timedelta(days=8))
    view = closing_of(room)
    assert view.safe and [part.head for part in view.to_know] == ["In the freezer", "Signed in"]


def test_reading_goes_by_the_indexes_of_the_queue_and_writes_nothing(room: Room) -> None:
    room.sheet_mounted()
    label(room, room.sheet_ready(), wanted_at=room.now)
    room.sheet_in("P1")
    with reading(room.database) as session:
        before = board_version(session)
    for read in (closing_view, morning_view):
        lines = plans_of(room.database, lambda session, read=read: read(session, room.now, room.zone))  # type: ignore[misc]
        assert lines and full_scans(lines, "sheet", "layer", "entry", "weight_span", "sighting") == []
    with reading(room.database) as session:
        assert board_version(session) == before
