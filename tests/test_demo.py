"""The demo room: agrees with its own log, looks alive whenever it is started, and is the same room every time."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.db.engine import Database, reading
from app.domain.calendar import Calendar, local_day
from app.domain.hazards import CAUTIONS
from app.domain.house import House
from app.domain.press import BULKS
from app.domain.stations import KINDS
from app.queries.board import board
from app.queries.comes_first import consignments_in_order, wanted_sheets
from app.queries.fetching import fetch_next
from app.queries.filed import filed_counts
from app.queries.freezers import load_views
from app.queries.house import house_now
from app.queries.listing import list_sheets
from app.queries.press import press_room
from app.queries.sheets import sheet_page
from app.queries.stations import station_view
from app.services.audit import audit, dated_ahead, in_question
from app.services.people import log_in
from seed_demo import Demo, fill
from seed_demo.life import LAST_LEFT, days_until
from seed_demo.names import SPECIES, in_season
from seed_demo.room import STATIONS
from tests.databases import Rooms, as_in_a_file

LONDON = ZoneInfo("Europe/London")
HOUR = timedelta(hours=1)
# Sundays and nights, the hour that comes twice, New Year's Day, 29 February, the minutes around opening and around the
# hour by which the last day counts as under way, a Monday before anything new lies under weight, the shortest night.
MOMENTS: dict[str, tuple[datetime, ZoneInfo]] = {
    "a Wednesday afternoon": (datetime(2026, 11, 25, 14, 7, tzinfo=UTC), LONDON),
    "Sunday at three in the morning": (datetime(2026, 11, 29, 3, 0, tzinfo=UTC), LONDON),
    "half past one, the first time": (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), LONDON),
    "half past one, the second time": (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), LONDON),
    "New Year's Day": (datetime(2027, 1, 1, 0, 5, tzinfo=UTC), LONDON),
    "29 February": (datetime(2028, 2, 29, 10, 30, tzinfo=UTC), LONDON),
    "a Monday at opening": (datetime(2026, 11, 23, 9, 0, tzinfo=UTC), LONDON),
    "a Monday just after three": (datetime(2026, 11, 23, 15, 8, tzinfo=UTC), LONDON),
    "a second before mid-morning": (datetime(2026, 11, 26, 11, 9, 59, tzinfo=UTC), LONDON),
    "mid-morning": (datetime(2026, 11, 26, 11, 10, tzinfo=UTC), LONDON),
    "the spring night, half a world away": (datetime(2027, 4, 3, 16, 30, tzinfo=UTC), ZoneInfo("Pacific/Auckland")),
}


@pytest.fixture
def empty(rooms: Rooms, tmp_path: Path) -> Callable[[], Database]:
    """Makes as many empty rooms as a test asks for."""
    opened: list[Database] = []

    def one_more() -> Database:
        opened.append(rooms.open(tmp_path / f"room-{len(opened)}.sqlite3"))
        return opened[-1]

    return one_more


def station_id(demo: Demo, slug: str) -> int:
    return next(place.station_id for place in demo.places if place.slug == slug)


def last_open_moment(now: datetime, zone: ZoneInfo) -> datetime:
    """Now, if the room has opened today; else the end of the last day on which it was open."""
    calendar, today = Calendar(zone, House().open_weekdays), local_day(now, zone)
    if calendar.is_open(today) and now >= datetime.combine(today, time(9), zone).astimezone(UTC):
        return now
    day = today - timedelta(days=1)
    while not calendar.is_open(day):
        day -= timedelta(days=1)
    return datetime.combine(day, time(23, 59), zone).astimezone(UTC)


def what_is_missing(database: Database, demo: Demo, now: datetime, zone: ZoneInfo) -> list[str]:
    """Everything that a room which looks alive would show, and this one does not."""
    with reading(database) as session:
        shown = board(session, now, zone)
        stalled = list_sheets(session, now, zone, stalled=True, limit=200).rows
        layers = [layer for stack in press_room(session, now, zone) for layer in stack.layers]
        tables = [station_view(session, station_id(demo, slug), now, zone) for slug in ("table-1", "table-2")]
        today = station_view(session, station_id(demo, "table-1"), last_open_moment(now, zone), zone)
        waiting = list_sheets(session, now, zone, stage="ready-for-mounting", limit=200).rows
        wanted, order = wanted_sheets(session, now, zone), consignments_in_order(session)
        fetch = fetch_next(session, station_id(demo, "table-1"), now, zone, house_now(session))
        bare = [stack.bare_since for stack in press_room(session, now, zone) if stack.bare_since and stack.off_too_long]
        loads, filed = load_views(session, now), filed_counts(session, now, zone)
    assert today is not None
    needs = {need.kind for need in shown.needs}
    stages = {view.slug: view for view in shown.stages}
    claims = {
        "a sheet that may come out now": any(layer.state == "ready" for layer in layers),
        "a sheet with hours to go": any(layer.ready_at and layer.ready_at - now >= HOUR for layer in layers),
        "a stack without weights": any(now - since > HOUR for since in bare),
        "somebody signed in at a table": any(view and view.workers for view in tables),
        "a run to fetch": len(fetch) >= 2,
        "a wanted sheet first in it": bool(fetch) and fetch[0].wish is not None,
        "a sheet that is out with somebody": any("out" in row.holds for row in waiting),
        "a wanted sheet that is late": any(line.is_late for line in wanted),
        "a wanted sheet with a day to come": any(line.wish.needed_on and not line.is_late for line in wanted),
        "an order of consignments": [line.place for line in order if line.place] == [1, 2, 3],
        "counts of the day": sum(count.count for count in today.today) > 0,
        "a take-out in question": "called-in-question" in needs,
        "a sheet that was not found": "not-found" in needs,
        "a stack whose count differs": "count-differs" in needs,
        "a glued sheet left at the table": "mounted-too-long" in needs,
        "a load in the freezer": any(view.state == "in" for view in loads),
        "a sheet forgotten under press": "ready-forgotten" in needs,
        **{f"something at {slug}": view.count > 0 for slug, view in stages.items() if slug != "filed"},
        "something filed": filed.in_all > 0,
        **{f"something stalled at {stage}": any(row.stage == stage for row in stalled) for stage in stages if stage != "filed"},
        **{f"something stalled that waits {wait}": any(row.waits_for == wait for row in stalled)
           for wait in ("to inspect", "to mend", "to file")},
    }  # fmt: skip
    return [claim for claim, holds in claims.items() if not holds]


@pytest.mark.parametrize("name", MOMENTS)
def test_a_small_room_looks_alive_and_agrees_with_its_log_whenever_it_is_started(
    name: str, empty: Callable[[], Database]
) -> None:
    now, zone = MOMENTS[name]
    database = empty()
    demo = fill(database, zone, now, small=True)
    assert what_is_missing(database, demo, now, zone) == []
    with reading(database) as session:
        assert list(audit(session, zone)) == []
        assert dated_ahead(session, now) == []
        assert in_question(session)


def test_the_whole_room_has_several_hundred_sheets_in_all_stages_over_fourteen_weeks(
    empty: Callable[[], Database],
) -> None:
    now, zone = MOMENTS["a Wednesday afternoon"]
    database, heard = empty(), list[tuple[int, int]]()
    demo = fill(database, zone, now, lambda done, of: heard.append((done, of)))
    assert heard == [(done, 70) for done in range(1, 71)]
    assert what_is_missing(database, demo, now, zone) == []
    with reading(database) as session:
        assert list(audit(session, zone)) == []
        shown = board(session, now, zone)
        counts = {view.slug: view.count for view in shown.stages} | {"filed": filed_counts(session, now, zone).in_all}
        assert 400 <= sum(counts.values()) <= 500
        assert counts["ready-for-mounting"] > 50 and counts["under-press"] > 10 and counts["filed"] > 100
    rows = told(database)
    first = min(moment for moment, *_ in rows["entry"])
    assert timedelta(weeks=13) < now - datetime.fromisoformat(first).replace(tzinfo=UTC) < timedelta(weeks=15)


def told(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    """What stands in the tables of a room, without what is drawn by lot: badges and the password."""
    columns = {
        "entry": "happened_at, recorded_at, subject_kind, subject_id, step, to_stage, station_id, reason, is_late, after_the_fact, "
                 "early_by_s, facts",
        "sheet": "number, stage, came_at, consignment_id, locality, record_number, event_date, holds, outcome, bulk",
        "hazard": "kind, sheet_id, consignment_id",
        "worker": "number, name, rights, added_at, retired_at",
        "scan": "scan_id, answer, received_at",
        "doubt": "entry_id, by_entry_id, short_s",
        "stack": "name, weights_on, turned_at, counted, counted_of",
    }  # fmt: skip
    return {table: as_in_a_file(database, table, *names.split(", ")) for table, names in columns.items()}


def test_the_same_moment_makes_the_same_room_but_for_badges_and_password(empty: Callable[[], Database]) -> None:
    now, zone = MOMENTS["29 February"]
    first, second = empty(), empty()
    one, other = fill(first, zone, now, small=True), fill(second, zone, now, small=True)
    assert told(first) == told(second)
    assert one.password != other.password and one.manager_name == other.manager_name


def test_everything_that_does_not_go_by_the_book_happens_in_the_room(empty: Callable[[], Database]) -> None:
    now, zone = MOMENTS["a Wednesday afternoon"]
    database = empty()
    fill(database, zone, now, small=True)
    rows = told(database)
    steps = [entry[4] for entry in rows["entry"]]
    for step in ("correct", "found-out", "re-glue", "another-sheet", "goes-unmounted", "bring-back", "back-to-table", "withdraw",
                 "put-hold", "papers-changed", "count", "divide", "tell-apart"):  # fmt: skip
        assert step in steps, step
    early = [entry for entry in rows["entry"] if entry[10]]
    assert early and all(entry[7] for entry in early), "an early release without a reason"
    assert [entry for entry in rows["entry"] if entry[8] and entry[4] == "inspect"], "no late entry"
    assert [entry for entry in rows["entry"] if entry[9] and entry[4] == "mount"], "no gluing told after the fact"
    assert {"historic", "mould"} <= {hazard[0] for hazard in rows["hazard"]}
    put = {hold for entry in rows["entry"] for hold in json.loads(entry[11]).get("holds", ())}
    assert {"label-to-come", "name-query", "not-found", "to-be-repaired", "out"} <= put
    assert sum(1 for worker in rows["worker"] if worker[4]) == 1, "nobody has left"


def test_the_manager_logs_in_with_the_password_that_was_shown(empty: Callable[[], Database]) -> None:
    now, zone = MOMENTS["a Monday at opening"]
    database = empty()
    demo = fill(database, zone, now, small=True)
    with reading(database) as session:
        assert log_in(session, demo.manager_name, demo.password) is not None
        assert {place.slug: place.name for place in demo.places} == {slug: name for slug, (name, _) in STATIONS.items()}


def test_a_sheet_of_two_parts_names_its_other_part(empty: Callable[[], Database]) -> None:
    now, zone = MOMENTS["a Wednesday afternoon"]
    database = empty()
    fill(database, zone, now, small=True)
    number = next(number for number, part in as_in_a_file(database, "sheet", "number", "part") if part == 2)
    with reading(database) as session:
        page = sheet_page(session, number, now, zone)
    assert page is not None and page.part_words == "2 of 2" and len(page.others) == 1


@pytest.mark.parametrize("hour", [LAST_LEFT.hour - 3, LAST_LEFT.hour + 1])
def test_the_last_day_is_today_only_once_it_is_well_under_way(hour: int) -> None:
    days = days_until(datetime(2026, 11, 25, hour, 0, tzinfo=UTC), LONDON)
    assert days[max(days)].isoformat() == "2026-11-25" and max(days) == (1 if hour < LAST_LEFT.hour else 0)
    assert all(day.weekday() < 5 for day in days.values()) and min(days) == -69


def test_the_stations_do_the_steps_that_stations_of_their_kind_do() -> None:
    kinds = {"table-1": "mounting", "table-2": "mounting"}
    for slug, (_, steps) in STATIONS.items():
        assert steps == KINDS[kinds.get(slug, slug)][1], slug


# Form of a name by the International Code of Nomenclature (Shenzhen Code 2018): articles 20 and 23 (a capital for the
# genus, a lower-case epithet of at least two letters), 18 (a family ends in -aceae); the names themselves are from memory.
def test_plant_names_have_the_form_that_the_code_asks_for() -> None:
    for species in SPECIES:
        assert re.fullmatch(r"[A-Z][a-z]+ [a-z]{2,}(-[a-z]+)?", species.name), species
        assert species.family.endswith("aceae") and species.family[0].isupper(), species
        assert re.fullmatch(r"(\([A-Z][^()]*\) )?[A-Z][^()]*", species.authorship), species
        assert species.bulk in BULKS and (not species.caution or species.caution in CAUTIONS)
    assert len({species.name for species in SPECIES}) == len(SPECIES) >= 80


@pytest.mark.parametrize("month", range(1, 13))
def test_something_can_be_collected_in_every_month(month: int) -> None:
    found = in_season(month)
    assert len(found) >= 12 and all(species.first <= month <= species.last for species in found)
