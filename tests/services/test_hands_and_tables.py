"""Who scans, and where: nobody who is not there, no table that is not theirs, and what broke a rule is held."""

from __future__ import annotations

import pytest

from app.domain.stages import Step
from tests.room import Room
from tests.services.days import card, codes, differences, done


def test_nobody_signed_in_writes_nothing(room: Room) -> None:
    number = room.sheet_ready()
    done(room.scans(card("done"), "table-1"))
    for code in (number, room.new_number()):
        assert codes(room.scans(code, "table-1", step=Step.TAKE_UP))[0] in ("not-signed-in", "unknown-number")
    assert room.steps(number)[-1] == "arrive-dry"
    done(room.scans(card("done"), "press"))
    assert codes(room.scans(room.code("on", "P1"), "press")) == ["not-signed-in"]


def test_a_station_that_is_not_there_is_refused_and_so_is_a_worker_who_has_left(room: Room) -> None:
    number = room.sheet_ready()
    room.station["attic"] = 999
    assert codes(room.scans(number, "attic", step=Step.TAKE_UP)) == ["unknown-station"]
    room.worker["nobody"] = 999
    assert codes(room.scans(number, "table-1", step=Step.TAKE_UP, who="nobody")) == ["retired-worker"]


def test_a_worker_named_twice_is_one_worker(room: Room) -> None:
    number = room.sheet_ready()
    done(room.scans(number, "table-1", step=Step.TAKE_UP, who=("olwen", "olwen")))
    assert differences(room.database) == []


def test_a_sheet_scanned_at_the_wrong_table_stays_where_it_was_taken_up(room: Room) -> None:
    number = room.sheet_ready()
    done(room.scans(number, "table-1"))
    room.wait(minutes=1)
    refused = room.scans(number, "table-2")
    assert codes(refused) == ["on-another-table"] and "Mounting table 1" in refused.next
    assert room.row(number)["table_id"] == room.station["table-1"]


def test_one_already_glued_at_the_other_table_is_written_as_it_is_and_held(room: Room) -> None:
    number = room.sheet_ready()
    done(room.scans(number, "table-1"))
    room.wait(minutes=1)
    offered = room.scans(number, "table-2", step=Step.MOUNT)
    assert offered.already_done == "It is already glued"
    done(room.scans(number, "table-2", step=Step.MOUNT, already_done=True))
    entry = room.log(number)[-1]
    assert entry["after_the_fact"] and "on-another-table" in entry["facts"]["broke"]
    assert room.row(number)["holds"] == "against-a-rule" and room.row(number)["mounted_by"] == [room.worker["piet"]]
    lift = {"step": Step.LIFT_HOLD, "facts": {"hold": "against-a-rule"}}
    assert codes(room.scans(number, "table-2", **lift)) == ["manager-only"]
    done(room.scans(number, "table-2", **lift, who="hedda"))
    assert differences(room.database) == []


def test_a_hold_that_stops_filing_never_keeps_a_glued_sheet_from_the_weights(room: Room) -> None:
    number = room.sheet_ready()
    done(room.scans(number, "table-1", step=Step.MOUNT, already_done=True))
    assert room.row(number)["holds"] == "against-a-rule"
    room.weights("off", "P1")
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
    done(room.weights("on", "P1"))
    room.wait(hours=24)
    room.weights("off", "P1")
    done(room.takes_out(number))
    done(room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}))
    assert codes(room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="1")) == ["on-hold"]


@pytest.mark.parametrize("step", [Step.WEIGHTS_ON, Step.COUNT, Step.CORRECT])
def test_what_is_not_done_to_a_sheet_is_refused_in_words(room: Room, step: Step) -> None:
    assert codes(room.scans(room.sheet_ready(), "table-1", step=step)) == ["wrong-stage"]
    for deed in (Step.PUT_HOLD, Step.LIFT_HOLD):
        assert (
            codes(room.scans(room.sheet_ready(), "table-1", step=deed, facts={"hold": "no such"}, reason="x"))[0]
            == "on-hold"
        )
