"""A station's screen: who works there, the last scans, and the run to fetch next."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import update

from app.db.engine import Database, reading, transaction
from app.db.models import Consignment, Station
from app.domain.house import House
from app.domain.stages import Step
from app.queries.fetching import FetchLine, fetch_next
from app.queries.stations import StationView, station_view
from app.services.room import add_hazard
from tests.queries.looking import label, wanted
from tests.room import Room
from tests.services.supplied import PVA, card_of, kept, lot


def _view(room: Room, slug: str) -> StationView:
    with reading(room.database) as session:
        found = station_view(session, room.station[slug], room.now, room.zone)
    assert found is not None
    return found


def _fetch(room: Room, house: House | None = None, table: str = "table-1") -> tuple[FetchLine, ...]:
    with reading(room.database) as session:
        return fetch_next(session, room.station[table], room.now, room.zone, house or House())


def _run(room: Room, house: House | None = None, table: str = "table-1") -> list[str]:
    """The run of a table that has none yet today."""
    room.database.kept.pop("runs", None)
    return [line.number for line in _fetch(room, house, table)]


def test_a_station_says_what_is_done_there_and_by_whom(room: Room) -> None:
    view = _view(room, "table-1")
    assert (view.name, view.steps_words) == ("Mounting table 1", "take up, mount, put back, make another sheet")
    assert [(worker.name, worker.number) for worker in view.workers] == [("Olwen Tarrant", "W02")]
    assert view.adhesive == "PVA, acid-free"
    assert [reminder.title for reminder in view.reminders] == ["Before you glue"]
    assert "Label bottom right." in view.reminders[0].lines


def test_each_kind_of_work_has_its_own_reminders(room: Room) -> None:
    titles = {slug: [each.title for each in _view(room, slug).reminders] for slug in room.station}
    assert titles["press"] == ["At the press"] and titles["drying"] == ["Is it dry?"] and titles["filing"] == ["Filing"]


def test_whoever_teaches_stands_behind_the_learner(room: Room) -> None:
    room.signs_in("rosamund", "table-1")
    room.signs_in("piet", "table-1", with_others="beside")
    workers = _view(room, "table-1").workers
    assert [worker.teaches for worker in workers] == sorted(worker.teaches for worker in workers)
    assert any(worker.beside for worker in workers)


def test_the_last_scans_stand_newest_first(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, plant="Geranium sylvaticum")
    room.scans(number, "table-1")
    room.wait(minutes=14)
    held = room.sheet_ready(label=False)
    room.scans(held, "table-1")
    last = _view(room, "table-1").last
    assert [(scan.number, scan.kind, scan.words) for scan in last] == [
        (held, "stop", "Hold: label to come"), (number, "done", "taken up"),
    ]  # fmt: skip
    assert last[1].plant == "Geranium sylvaticum" and last[1].shown == "TQX 000001·N"


def test_only_of_what_was_done_the_last_scans_name_the_entry(room: Room) -> None:
    number = room.sheet_ready()
    entry = room.scans(number, "table-1").entry
    room.scans("TQX 999999 9", "table-1")
    room.scans(room.code("badge", "olwen"), "table-1")
    assert [scan.entry for scan in _view(room, "table-1").last] == [None, None, entry]
    assert entry == room.log(number)[-1]["id"]


def test_names_and_capitals_stay_as_they_are_in_the_last_scans(room: Room) -> None:
    pva = kept(room, "adhesive", "PVA", adhesive_id=PVA, holds=1000)
    room.scans(card_of(room, lot(room, pva, "B 117")), "table-1")
    room.scans(room.code("badge", "olwen"), "table-1")
    assert [scan.words for scan in _view(room, "table-1").last] == ["hello, Olwen", "PVA, acid-free, lot B 117"]


def test_scans_of_yesterday_are_not_shown(room: Room) -> None:
    room.scans(room.sheet_ready(), "table-1")
    room.now = datetime.fromisoformat("2026-11-25T23:59:59+00:00")
    assert len(_view(room, "table-1").last) == 1
    room.wait(seconds=1)
    assert _view(room, "table-1").last == ()


def test_the_room_today_counts_sheets_not_hands(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, step=Step.TAKE_UP, who=("olwen", "piet"))
    room.scans(number, step=Step.MOUNT, already_done=True, who=("olwen", "piet"))
    today = {count.step: count.count for count in _view(room, "table-1").today}
    assert today == {"take-in": 1, "mount": 1}
    room.wait(days=1)
    assert _view(room, "table-1").today == ()


def test_the_longest_waiting_is_fetched_first_and_the_run_stays_on_one_shelf(room: Room) -> None:
    first, second = room.sheet_ready(), room.sheet_ready()
    room.wait(minutes=1)
    other = room.new_number()
    room.scans(other, "intake", step=Step.TAKE_IN)
    room.scans(other, "intake", step=Step.ARRIVE_DRY, facts={"dryness": True}, cabinet="M1", shelf="2")
    room.wait(minutes=1)
    third = room.sheet_ready()
    run = _fetch(room)
    assert [line.number for line in run] == [first, second, third]
    assert {line.place for line in run} == {"M1, shelf 1"}
    assert [line.same_place for line in run] == [False, True, True]


def test_two_that_lie_nowhere_known_are_not_said_to_lie_together(room: Room) -> None:
    for _ in range(2):
        number = room.new_number()
        room.scans(number, "intake", step=Step.TAKE_IN)
        room.scans(number, "intake", step=Step.ARRIVE_DRY, facts={"dryness": True, "label": True})
    run = _fetch(room)
    assert [(line.place, line.same_place) for line in run] == [("", False), ("", False)]


def test_a_run_is_as_long_as_the_house_says(room: Room) -> None:
    for _ in range(8):
        room.sheet_ready()
    assert len(_run(room)) == 6 and len(_run(room, House(run_sheets=3))) == 3


def test_a_run_is_kept_for_its_table_until_it_is_worked_off(room: Room) -> None:
    first = [room.sheet_ready() for _ in range(6)]
    later = room.sheet_ready()
    assert [line.number for line in _fetch(room)] == first
    wanted(room, later)
    room.scans(first[0], "table-1")
    assert [line.number for line in _fetch(room)] == first[1:]
    for number in first[1:]:
        room.wait(minutes=1)
        room.scans(number, "table-1")
    assert [line.number for line in _fetch(room)] == [later]


def test_a_run_ends_with_the_day(room: Room) -> None:
    first = [room.sheet_ready() for _ in range(6)]
    asked_for = room.sheet_ready()
    assert [line.number for line in _fetch(room)] == first
    wanted(room, asked_for)
    room.wait(days=1)
    assert _fetch(room)[0].number == asked_for


@pytest.mark.parametrize(
    ("zone", "evening"), [("Pacific/Auckland", "2026-11-25T10:30"), ("Pacific/Honolulu", "2026-11-26T09:30")]
)
def test_the_day_of_a_run_is_the_one_on_the_rooms_wall(database: Database, zone: str, evening: str) -> None:
    room = Room(database, datetime.fromisoformat(f"{evening}+00:00") - timedelta(hours=12), ZoneInfo(zone))
    first = [room.sheet_ready() for _ in range(6)]
    asked_for = room.sheet_ready()
    assert [line.number for line in _fetch(room)] == first
    wanted(room, asked_for)
    # Midnight in Greenwich comes in between in both places; half an hour before their own the day is the same.
    room.wait(hours=12)
    assert [line.number for line in _fetch(room)] == first
    room.wait(hours=1)
    assert _fetch(room)[0].number == asked_for


def test_two_tables_are_not_sent_for_the_same_sheets(room: Room) -> None:
    numbers = [room.sheet_ready() for _ in range(8)]
    assert [line.number for line in _fetch(room)] == numbers[:6]
    assert [line.number for line in _fetch(room, table="table-2")] == numbers[6:]


def test_the_last_sheets_are_offered_to_both_tables(room: Room) -> None:
    number = room.sheet_ready()
    assert [line.number for line in _fetch(room)] == [number] == [line.number for line in _fetch(room, table="table-2")]


def test_what_may_not_be_taken_up_is_not_fetched(room: Room) -> None:
    room.sheet_ready(label=False)
    on_a_table, suspected, free = room.sheet_ready(), room.sheet_ready(), room.sheet_ready()
    room.scans(on_a_table, "table-2")
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, sheet_id=room.row(suspected)["id"])
    assert _run(room) == [free]


def test_a_hold_that_does_not_stop_mounting_does_not_keep_a_sheet_back(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "name-query"}, reason="which mint?")
    assert _run(room) == [number]


def test_label_and_treatment_are_asked_for_where_the_house_asks(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, has_label=False)
    assert _run(room) == [] and _run(room, House(label_before_glue=False)) == [number]
    asks = House(label_before_glue=False, treat_before_mounting=True)
    assert _run(room, asks) == []
    label(room, number, treated_until=room.now)
    assert _run(room, asks) == []
    label(room, number, treated_until=room.now + timedelta(seconds=1))
    assert _run(room, asks) == [number]


def test_what_is_wanted_comes_first_then_the_rooms_order_of_consignments(room: Room) -> None:
    old, survey, gift, asked_for = (room.sheet_ready() for _ in range(4))
    label(room, survey, consignment="Fell meadow survey")
    label(room, gift, consignment="Gift of 1931")
    with transaction(room.database) as session:
        for name, place in (("Fell meadow survey", 2), ("Gift of 1931", 1)):
            session.execute(update(Consignment).where(Consignment.name == name).values(place_in_order=place))
    wanted(room, asked_for, "visit on Friday")
    assert _run(room) == [asked_for, gift, survey, old]
    wish = _fetch(room)[0].wish
    assert wish is not None and (wish.by, wish.why) == ("Hedda Brackwater", "visit on Friday")


def test_cautions_are_shown_before_the_folder_is_opened(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, consignment="Gift of 1931")
    with transaction(room.database) as session:
        add_hazard(session, "spines", room.now, sheet_id=1)
        add_hazard(session, "pins", room.now, consignment_id=1)
    assert _fetch(room)[0].cautions == ("Spines: thick gloves.", "Sharp pins in the folder.")


def test_nothing_is_fetched_where_nothing_is_taken_up(room: Room) -> None:
    room.sheet_ready()
    assert _fetch(room, table="press") == ()
    assert len(_fetch(room, table="table-1")) == 1


def test_a_closed_station_has_no_screen(room: Room) -> None:
    with transaction(room.database) as session:
        session.execute(update(Station).where(Station.slug == "press").values(closed_at=room.now))
    with reading(room.database) as session:
        assert station_view(session, room.station["press"], room.now, room.zone) is None
        assert station_view(session, 4711, room.now, room.zone) is None
