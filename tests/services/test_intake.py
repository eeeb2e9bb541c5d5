"""A parcel taken in by its list: what it writes, what it leaves alone, and that it is whole or not at all."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Sequence
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.engine import RowMapping

from app.db.engine import Database, reading, transaction
from app.db.models import Collector, Consignment, PlantName, Sheet, table_of
from app.domain.errors import Refused
from app.domain.stages import Step
from app.services import people
from app.services import room as setup
from app.services.audit import audit
from app.services.desk import Desk, Occasion, ScanRequest
from app.services.intake import plan_import
from app.services.opening import open_desk
from app.services.registering import renumber
from app.services.taking_rows import take_in_rows
from tests.room import LONDON, WEDNESDAY, Room
from tests.services.parcels import EXAMPLE, HEAD, consign, content, counts, listed, number, plan, rows, run


def differences(room: Room) -> list[object]:
    with reading(room.database) as session:
        return list(audit(session, room.zone))


def refused(room: Room, data: bytes, **more: object) -> Refused:
    with pytest.raises(Refused) as raised:
        run(room, data, **more)  # type: ignore[arg-type]
    return raised.value


# -- what it does ---------------------------------------------------------------------------------------------------
def test_the_example_parcel_is_planned_then_taken_in_and_the_log_agrees(room: Room) -> None:
    consign(room)
    before = counts(room.database)
    planned = plan(room, EXAMPLE)
    assert (planned.new, planned.unchanged, planned.bad) == (30, 0, ())
    assert planned.said == "30 new, 0 already here." and planned.name == "Parcel GIFT-1" and not planned.fresh
    assert planned.kept == ("habitat", "basisOfRecord") and planned.used[0] == "catalogNumber"
    assert counts(room.database) == before
    assert run(room, EXAMPLE).said == "30 new, 0 already here."
    after = counts(room.database)
    # What the search keeps of each new name is the search's own.
    assert {name: after[name] - before[name] for name in after if after[name] != before[name] and name != "near_name"} == {
        "sheet": 30, "entry": 30, "entry_worker": 30, "plant_name": 30, "collector": 3, "tally_day": 1,
    }  # fmt: skip
    assert differences(room) == []


def test_a_sheet_of_the_example_knows_all_that_its_row_says(room: Room) -> None:
    consign(room)
    run(room, EXAMPLE)
    row, (entry,) = room.row("TQX009023F"), room.log("TQX009023F")
    assert row["notes"] == 'Label in the field book says "C. alpina?",\nchanged on the spot by A. Séguin.'
    assert row["kept"] == {"habitat": "shaded bank", "basisOfRecord": "PreservedSpecimen"}
    assert (row["stage"], row["fresh"], row["in_queue"], row["version"]) == ("intake", False, True, 1)
    assert row["came_at"] == row["last_at"] == row["added_at"] == entry["happened_at"] == room.now
    with reading(room.database) as session:
        plant = session.get(PlantName, row["plant_name_id"])
        collector = session.get(Collector, row["collector_id"])
        assert plant is not None and collector is not None
        assert (plant.name, plant.authorship, plant.family) == ("Circaea ×intermedia", "Ehrh.", "Onagraceae")
        assert (plant.search_key, collector.name) == ("circaea intermedia", "Maren Holloway")
    assert (entry["step"], entry["scan_id"], entry["to_stage"]) == ("take-in", None, "intake")
    assert entry["facts"]["line"] == 25 and entry["facts"]["file"] == plan(room, EXAMPLE).file


@pytest.mark.parametrize(
    ("kind", "fresh"), [("gift", False), ("exchange", False), ("bequest", False), ("fieldwork", True)]
)
def test_what_comes_from_the_field_is_fresh_and_what_is_given_is_dry(room: Room, kind: str, fresh: bool) -> None:
    consign(room, kind=kind)
    assert plan(room, listed(rows(1))).fresh is fresh
    run(room, listed(rows(1)))
    assert room.row(number(0))["fresh"] is fresh


def test_twice_changes_nothing(room: Room) -> None:
    consign(room)
    run(room, listed(rows(700)))
    before = content(room.database, *counts(room.database))
    room.wait(days=1)
    assert plan(room, listed(rows(700))).said == "0 new, 700 already here."
    assert run(room, listed(rows(700))).said == "0 new, 700 already here."
    assert content(room.database, *counts(room.database)) == before


def test_a_list_that_grew_brings_only_what_is_new_however_it_is_ordered_and_saved(room: Room) -> None:
    consign(room)
    run(room, listed(rows(20)))
    order = [3, 0, *[place for place in range(len(HEAD)) if place not in (0, 3)]]
    longer = [[row[place] for place in order] for row in reversed(rows(25))]
    grown = listed(longer, tuple(f"dwc:{HEAD[place]}" for place in order)).replace(b"\r\n", b"\n")
    assert run(room, grown).said == "5 new, 20 already here."
    assert differences(room) == []


def test_what_the_room_changed_since_does_not_make_it_another_sheet(room: Room) -> None:
    consign(room)
    run(room, listed(rows(3)))
    with transaction(room.database) as session:
        session.execute(table_of(Sheet).update().values(notes="seen", plant_name_id=None))
        request = ScanRequest("", "", worker_ids=(room.worker["hedda"],), manages=True, reason="torn slip")
        desk, _ = open_desk(session, request, room.occasion)
        row = session.execute(select(table_of(Sheet)).where(Sheet.number == number(1))).mappings().one()
        renumber(desk, row, number(900))
    assert run(room, listed(rows(3))).said == "0 new, 3 already here."


def test_plants_and_collectors_already_written_are_found_and_not_made_again(room: Room) -> None:
    consign(room)
    run(room, listed(rows(80)))
    run(room, listed(rows(80, first=80)))
    after = counts(room.database)
    assert (after["plant_name"], after["collector"], after["sheet"]) == (70, 9, 160)


def test_one_plant_with_two_authors_or_families_is_two_names_and_none_is_no_name(room: Room) -> None:
    consign(room)
    some = rows(4)
    some[1][2], some[2][3] = "Huds.", ""
    for row in some[:3]:
        row[1] = "Carex nigra"
    some[3][1] = some[3][4] = ""
    run(room, listed(some))
    ids = [room.row(number(place))["plant_name_id"] for place in range(4)]
    assert len(set(ids)) == 4 and ids[3] is None and room.row(number(3))["collector_id"] is None


@pytest.mark.parametrize("who", [(), ("hedda",), ("hedda", "olwen")])
def test_it_is_credited_to_those_who_did_it_in_equal_shares(room: Room, who: tuple[str, ...]) -> None:
    consign(room)
    run(room, listed(rows(3)), who=who)
    tallies = content(room.database, "tally_day")["tally_day"]
    assert [(row["sheets"], row["credit_60"]) for row in tallies] == [(3, 180 // len(who)) for _ in who]
    assert counts(room.database)["entry_worker"] == 3 * len(who)
    assert differences(room) == []


def test_an_imported_sheet_goes_on_by_scans(room: Room) -> None:
    consign(room)
    run(room, EXAMPLE)
    room.wait(minutes=1)
    dry = {"dryness": True, "label": True}
    answer = room.scans("tqx 009000-t", "intake", step=Step.ARRIVE_DRY, facts=dry, cabinet="M1", shelf="1")
    assert answer.kind == "done", answer
    assert room.stage("TQX009000T") == "ready-for-mounting" and differences(room) == []


# -- whole or not at all --------------------------------------------------------------------------------------------
def test_killed_in_the_middle_it_leaves_nothing(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    consign(room)
    before = counts(room.database)
    written: list[int] = []

    def stop_at_the_third(desk: Desk, consignment: RowMapping, chunk: Sequence[Any], *more: Any) -> None:
        take_in_rows(desk, consignment, chunk, *more)
        written.append(len(chunk))
        if len(written) == 3:
            raise KeyboardInterrupt

    with monkeypatch.context() as killed, pytest.raises(KeyboardInterrupt):
        killed.setattr("app.services.intake.take_in_rows", stop_at_the_third)
        run(room, listed(rows(2100)))
    assert written == [500, 500, 500]
    assert counts(room.database) == before
    assert run(room, listed(rows(2100))).new == 2100


def test_one_bad_row_among_many_stops_all_and_is_the_one_that_is_named(room: Room) -> None:
    consign(room)
    before = counts(room.database)
    some = rows(1200)
    some[900][0] = number(900)[:-1] + "?"
    planned = plan(room, listed(some))
    assert [row.line for row in planned.bad] == [902] and planned.new == 0
    (refusal,) = refused(room, listed(some)).refusals
    assert refusal.code == "bad-rows" and refusal.words.startswith("Nothing is imported. Line 902, catalogNumber: ")
    assert counts(room.database) == before


def test_a_consignment_that_is_not_there_or_is_closed_is_refused(room: Room) -> None:
    consign(room, "OLD")
    with transaction(room.database) as session:
        session.execute(table_of(Consignment).update().values(closed_at=room.now))
    for code in ("OLD", "NOT-THERE", "", "a\0b"):
        (refusal,) = refused(room, EXAMPLE, code=code).refusals
        assert refusal.code == "unknown-consignment"
        with pytest.raises(Refused):
            plan(room, EXAMPLE, code)
    assert counts(room.database)["sheet"] == 0


def test_a_room_without_patterns_says_so(database: Database) -> None:
    with transaction(database) as session:
        setup.add_consignment(session, "GIFT-1", "A gift")
        with pytest.raises(Refused, match="no-pattern"):
            plan_import(session, EXAMPLE, "GIFT-1", Occasion(WEDNESDAY, LONDON))


def test_a_worker_who_has_left_takes_nothing_in(room: Room) -> None:
    consign(room)
    with transaction(room.database) as session:
        people.retire_worker(session, room.worker["olwen"], room.now, by=room.worker["hedda"])
    assert refused(room, EXAMPLE, who=("olwen",)).refusals[0].code == "retired-worker"
    assert counts(room.database)["sheet"] == 0


# -- speed ----------------------------------------------------------------------------------------------------------
def test_twenty_thousand_rows_are_taken_in_within_a_minute_and_the_log_agrees(room: Room) -> None:
    """The bound is loose, since machines differ: about 3 s on two cores at rest."""
    consign(room)
    data = listed(rows(20_000))
    begun = time.perf_counter()
    assert run(room, data).new == 20_000
    assert time.perf_counter() - begun < 60
    assert counts(room.database)["entry"] == 20_000
    assert differences(room) == []


def test_looking_through_a_longer_list_takes_memory_for_its_numbers_and_not_for_its_rows(room: Room) -> None:
    consign(room)
    few, many = (listed([[*row[:8], "x" * 2_000, ""] for row in rows(each)]) for each in (2_000, 6_000))
    plan(room, few)
    grown = peak_of(room, many) - peak_of(room, few)
    assert grown < (len(many) - len(few)) * 0.2


def peak_of(room: Room, data: bytes) -> int:
    """The most memory that was taken at once while a list was looked through, in bytes."""
    tracemalloc.start()
    try:
        plan(room, data)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
