"""The morning list: what the board counts, by place; the last minute of the day, closed days, and no person's name."""

from __future__ import annotations

from dataclasses import astuple
from datetime import UTC, date, datetime, timedelta

import pytest

from app.db.engine import Database
from app.domain.stages import Step
from app.queries.morning import MOST
from app.queries.room_day import DayPart
from tests.queries.looking import label, stack_of, stage_of
from tests.room import Room
from tests.services.days import done
from tests.services.evenings import closed_on, dry_in, load, morning_of

SECOND = timedelta(seconds=1)


def part(room: Room, head: str) -> DayPart | None:
    return next((each for each in morning_of(room).parts if each.head == head), None)


def names(room: Room, head: str) -> list[tuple[str, str]]:
    found = part(room, head)
    return [(line.name, line.before + line.after) for line in found.lines] if found else []


def test_an_empty_room_has_an_empty_list(room: Room) -> None:
    view = morning_of(room)
    assert (view.date, view.closed, view.parts) == ("Wednesday 25 Nov", "", ())


@pytest.mark.parametrize(("apart", "listed"), [(-SECOND, True), (0 * SECOND, False), (SECOND, False)])
def test_a_sheet_ready_as_the_day_ends_is_of_tomorrow(database: Database, apart: timedelta, listed: bool) -> None:
    # Weights on since midnight before, give or take a second; PVA asks for 24 hours.
    room = Room(database, datetime(2026, 11, 25, 0, 0, tzinfo=UTC) + apart)
    room.sheet_in("P1")
    done(room.weights("on", "P1"))
    room.wait(hours=9)
    assert bool(part(room, "May come out of the press")) is listed
    assert stack_of(room, "P1").last_ready_at == datetime(2026, 11, 26, 0, 0, tzinfo=UTC) + apart


# On Sunday 25 October 2026 the clocks go back at 02:00 (Directive 2000/84/EC): the local day ends at 00:00 UTC, 25 hours long.
@pytest.mark.parametrize(("apart", "listed"), [(-SECOND, True), (0 * SECOND, False)])
def test_the_day_on_which_the_clocks_go_back_has_an_hour_more(
    database: Database, apart: timedelta, listed: bool
) -> None:
    room = Room(database, datetime(2026, 10, 25, 0, 0, tzinfo=UTC) + apart)
    room.sheet_in("P1")
    done(room.weights("on", "P1"))
    room.wait(hours=9)
    assert bool(part(room, "May come out of the press")) is listed


def test_a_stack_is_said_with_how_many_and_the_last_time(room: Room) -> None:
    room.sheet_in("P1", adhesive="straps")
    room.sheet_in("P1", adhesive="straps", bulk="bulky")
    room.sheet_in("P1")
    done(room.weights("on", "P1"))
    room.wait(hours=3)
    assert names(room, "May come out of the press") == [("P1", "1 now")], "the others are of tomorrow"
    room.wait(hours=16)
    found = part(room, "May come out of the press")
    assert found is not None and found.lines[0].before == "1 now, 2 more by " and found.lines[0].href_id == "P1"
    assert found.lines[0].at == room.now + timedelta(hours=7), "the bulky one: 2 hours and 24 more"


def test_while_the_weights_are_off_nothing_is_promised(room: Room) -> None:
    room.sheet_in("P1", adhesive="straps")
    done(room.weights("on", "P1"))
    room.wait(hours=1)
    done(room.weights("off", "P1"))
    assert names(room, "May come out of the press") == []


def test_the_plants_that_may_be_felt_are_those_that_the_board_counts(room: Room) -> None:
    dry_in(room, "Press 7", 3)
    dry_in(room, "Heater", 2, "heated")
    seen = set()
    for _ in range(10):
        found = part(room, "May be felt today")
        count = sum(int(line.before.split()[0]) for line in found.lines) if found else 0
        told = [line.words for line in stage_of(room, "drying").lines if "may be checked today" in line.words]
        assert told == ([f"{count} may be checked today"] if count else [])
        seen.add(count)
        room.wait(days=1)
    assert seen == {0, 2, 5}


def test_papers_changed_are_no_longer_due(room: Room) -> None:
    dry_in(room, "Press 7", 3)
    room.wait(days=1, minutes=1)
    assert names(room, "Papers to change today") == [("Press 7", "3 sheets, due since ")]
    card = room.code("bundle", "Press 7")
    done(room.scans(card, "drying", step=Step.PAPERS_CHANGED, facts={"all": True}))
    assert names(room, "Papers to change today") == []


def test_closed_days_are_said_since_the_last_open_one(room: Room) -> None:
    closed_on(room, date(2026, 11, 26), date(2026, 11, 27))
    room.wait(days=5)
    assert morning_of(room).closed == "The room was closed since Wednesday 25 Nov."


def test_a_load_is_said_when_it_may_come_out_and_when_it_may_be_opened(room: Room) -> None:
    load(room, "Bag 1", put_in_at=room.now, cold_at=room.now + timedelta(hours=1))
    load(room, "Bag 2", put_in_at=room.now - timedelta(days=9), out_at=room.now)
    assert part(room, "In the freezer") is None
    room.wait(days=1)
    assert names(room, "In the freezer") == [("Bag 2", "may be opened since ")]
    room.wait(days=6)
    assert names(room, "In the freezer") == [("Bag 2", "may be opened since "), ("Bag 1", "due out ")]


def test_what_is_wanted_says_where_it_is_but_not_for_whom(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, plant="Carex limosa", wanted_at=room.now)
    found = part(room, "Wanted")
    assert found is not None
    assert (found.lines[0].plant, found.lines[0].where) == ("Carex limosa", "ready for mounting, M1, shelf 1")


def test_the_list_names_no_person(room: Room) -> None:
    label(room, room.sheet_mounted(), wanted_at=room.now)
    label(room, room.sheet_ready(), collector="Brackwater", wanted_at=room.now)
    room.sheet_in("P1")
    room.wait(days=1)
    text = repr([astuple(each) for each in morning_of(room).parts])
    assert "P1" in text and not any(
        name in text for name in ("Hedda", "Brackwater", "Olwen", "Rosamund", "Piet", "Lindqvist")
    )


def test_a_long_list_is_cut_and_says_by_how_much(room: Room) -> None:
    for _ in range(MOST + 3):
        room.sheet_mounted()
    room.wait(days=1)
    found = part(room, "Left overnight")
    assert found is not None and (len(found.lines), found.more) == (MOST, 3)
