"""What a reading costs follows the queue, or the page that is asked for; never the collection."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from sqlalchemy import text
from sqlalchemy.orm import Session

from app.db.engine import reading
from app.domain.stages import Step
from app.queries.board import board, board_version
from app.queries.comes_first import consignments_in_order, wanted_sheets
from app.queries.fetching import fetch_next
from app.queries.house import house_now, patterns_now
from app.queries.listing import list_sheets
from app.queries.press import press_room
from app.queries.search import find
from app.queries.sheets import sheet_page
from app.queries.stations import station_view
from tests.queries.looking import label, own_limit
from tests.queries.plans import full_scans, plans_of, statements_of
from tests.room import Room

LARGE = ("sheet", "queued", "entry", "entry_worker", "scan", "layer", "hold", "inspection", "refusal")
Read = Callable[[Room, Session], object]


@pytest.fixture
def busy(room: Room) -> Room:
    """A room in which every line of the board has something to say."""
    for _ in range(5):
        room.sheet_ready()
    number = room.sheet_ready()
    label(
        room, number, plant="Geranium sylvaticum", collector="A. Brackwater", record_number="118", consignment="Survey"
    )
    room.scans(room.sheet_ready(label=False), "table-1", step=Step.MOUNT, already_done=True)
    room.scans(room.sheet_ready(), "table-1")
    room.weights("off", "P1")
    early, _ = room.sheet_in("P1"), room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=3)
    room.scans(early, "press", step=Step.TAKE_OUT, already_done=True)
    own_limit(room, "M1", 2)
    room.wait(days=120)
    return room


READINGS: dict[str, Read] = {
    "the board": lambda room, session: board(session, room.now, room.zone),
    "the board's version": lambda room, session: board_version(session),
    "the press room": lambda room, session: press_room(session, room.now, room.zone),
    "a sheet's page": lambda room, session: sheet_page(session, "TQX000001N", room.now, room.zone),
    "a list of a stage": lambda room, session: list_sheets(session, room.now, room.zone, stage="ready-for-mounting"),
    "a list of what is stalled": lambda room, session: list_sheets(session, room.now, room.zone, stalled=True),
    "a list of a filing cabinet": lambda room, session: list_sheets(
        session, room.now, room.zone, stage="filed", cabinet="F1"
    ),
    "a station's screen": lambda room, session: station_view(session, room.station["table-1"], room.now, room.zone),
    "what to fetch next": lambda room, session: fetch_next(
        session, room.station["table-1"], room.now, room.zone, house_now(session)
    ),
    "the wanted sheets": lambda room, session: wanted_sheets(session, room.now, room.zone),
    "the order of consignments": lambda room, session: consignments_in_order(session),
    "a search by number": lambda room, session: find(session, "TQX000001N", patterns_now(session)),
    "a search by part of a number": lambda room, session: find(session, "0000", patterns_now(session)),
    "a search by plant": lambda room, session: find(session, "ger syl", patterns_now(session)),
    "a search by collector and number": lambda room, session: find(session, "Brackwater 118", patterns_now(session)),
    "a search by field number": lambda room, session: find(session, "118", patterns_now(session)),
    "a search by consignment": lambda room, session: find(session, "survey", patterns_now(session)),
    "a search with a letter wrong": lambda room, session: find(session, "geranuim sylvat", patterns_now(session)),
    "a search by cabinet": lambda room, session: find(session, "M1", patterns_now(session)),
    "a search by shelf": lambda room, session: find(session, "M1, shelf 1", patterns_now(session)),
    "a search by stack": lambda room, session: find(session, "P1", patterns_now(session)),
    "a search by last hands": lambda room, session: find(session, "Tarrant", patterns_now(session), by_hands=True),
    "a search that finds nothing": lambda room, session: find(session, "zzz", patterns_now(session)),
}


@pytest.mark.parametrize("read", READINGS.values(), ids=READINGS.keys())
def test_no_reading_goes_through_the_collection_from_end_to_end(busy: Room, read: Read) -> None:
    with reading(busy.database) as session:
        read(busy, session)
    lines = plans_of(busy.database, lambda session: read(busy, session))
    assert lines and full_scans(lines, *LARGE) == []


def test_the_check_itself_sees_a_full_scan(busy: Room) -> None:
    def unindexed(session: Session) -> object:
        return session.execute(text("SELECT count(*) FROM sheet NOT INDEXED WHERE in_queue")).all()

    def by_kind(session: Session) -> object:
        return session.execute(text("SELECT count(happened_at) FROM entry WHERE subject_kind = 'sheet'")).all()

    assert full_scans(plans_of(busy.database, unindexed), *LARGE) == ["SCAN sheet"]
    assert len(full_scans(plans_of(busy.database, by_kind), *LARGE)) == 1


def test_the_queue_is_counted_by_its_own_index(busy: Room) -> None:
    lines = plans_of(busy.database, lambda session: board(session, busy.now, busy.zone))
    counted = [line for line in lines if "ix_sheet_queue" in line]
    assert len(counted) >= 9


def test_the_board_asks_no_more_for_many_sheets_than_for_few(busy: Room) -> None:
    before = _asked(busy)
    for _ in range(12):
        busy.sheet_ready()
    assert _asked(busy) == before


def _asked(room: Room) -> int:
    with statements_of(room.database) as sent, reading(room.database) as session:
        board(session, room.now, room.zone)
    return len(sent)
