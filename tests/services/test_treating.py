"""Treatments wear off in the open and not in a clean cabinet; undo, late entries and the audit of loads and freezers."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select, update

from app.db.engine import reading, transaction
from app.db.models import Cabinet, FreezerLoad, table_of
from app.domain.answer import Answer
from app.domain.stages import Stage, Step
from app.domain.treatment import STANDS_STILL
from app.services import room as rooms
from app.services.desk import ScanRequest
from app.services.scanning import once
from app.services.treating import set_clean
from tests.queries.looking import brought_dry
from tests.room import Room
from tests.services.freezer import Freezers

CABINET = table_of(Cabinet)


@pytest.fixture
def freezers(room: Room) -> Freezers:
    with transaction(room.database) as session:
        rooms.set_house_rule(session, "treat_before_filing", 1, "everything goes through the freezer", room.now)
        rooms.set_house_rule(session, "treat_before_mounting", 1, "incoming, too", room.now)
        rooms.add_cabinet(session, "Clean", Stage.READY, room.now, shelves=2, is_clean=True)
    return Freezers(room)


def cabinet(room: Room, name: str = "Clean") -> Any:
    with reading(room.database) as session:
        return session.execute(select(CABINET).where(CABINET.c.name == name)).mappings().one()


def says_clean(
    room: Room, clean: bool, name: str = "Clean", why: str = "looked through it", who: str = "hedda"
) -> Answer:
    request = ScanRequest(room.next_id(), "", worker_ids=(room.worker[who],), manages=who == "hedda", reason=why)
    with transaction(room.database) as session:
        cabinet_id = cabinet(room, name)["id"]
        return once(session, request, room.occasion, lambda desk: set_clean(desk, cabinet_id, clean), f"clean {clean}")


def until(room: Room, number: str) -> Any:
    return room.row(number)["treated_until"]


def to_clean(room: Room, number: str, at: str = "intake") -> Answer:
    return room.scans(number, at, step=Step.SHELVE, cabinet="Clean", shelf="1")


def test_an_open_day_in_the_open_and_it_is_asked_for_the_freezer_again(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    freezers.treated(number)
    # Opened on a Friday at nine: what is left of it, and Monday until nine.
    assert room.now.isoweekday() == 5 and until(room, number) == room.now + timedelta(days=3)
    assert room.scans(number, "table-1", step=Step.TAKE_UP).kind == "done"
    room.scans(number, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1")
    room.wait(days=3)
    refused = room.scans(number, "table-1", step=Step.TAKE_UP)
    assert {each["code"] for each in refused.refusals} == {"not-treated"}


def test_a_clean_cabinet_keeps_the_treatment_and_an_undo_brings_it_back(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    freezers.treated(number)
    room.wait(hours=6)
    open_until = until(room, number)
    put = to_clean(room, number)
    row = room.row(number)
    assert put.kind == "done" and row["treated_until"] == STANDS_STILL and row["treated_left_s"] == 18 * 3600
    room.undoes(put.entry or 0, at="intake")
    assert until(room, number) == open_until and room.row(number)["treated_left_s"] is None
    to_clean(room, number)
    room.wait(days=40)
    room.scans(number, "table-1", step=Step.TAKE_UP)
    assert room.row(number)["treated_left_s"] is None and until(room, number) > room.now
    assert freezers.differences() == []


def test_an_untreated_sheet_is_stopped_at_a_clean_cabinet_which_then_needs_a_person(
    room: Room, freezers: Freezers
) -> None:
    number = room.sheet_ready()
    stopped = to_clean(room, number)
    assert stopped.kind == "stop" and {each["code"] for each in stopped.refusals} == {"not-clean"}
    found = cabinet(room)
    assert found["is_clean"] and found["unclean_at"] == room.now
    says_clean(room, True, why="it was never put in")
    assert cabinet(room)["unclean_at"] is None


def test_what_was_written_into_a_clean_cabinet_untreated_takes_its_name_away(room: Room, freezers: Freezers) -> None:
    treated, other = room.sheet_ready(), brought_dry(room)
    freezers.treated(treated)
    to_clean(room, treated)
    with transaction(room.database) as session:
        session.execute(update(CABINET).where(CABINET.c.name == "Clean").values(stage=None))
    room.scans(room.code("shelf", "Clean/1"), "inspection")
    assert room.scans(other, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}).kind == "done"
    found = cabinet(room)
    assert not found["is_clean"] and found["unclean_at"] == room.now
    assert until(room, treated) < STANDS_STILL and room.steps(treated)[-1] == "treatment"
    assert freezers.differences() == []
    room.wait(hours=1)
    says_clean(room, True)
    assert until(room, treated) == STANDS_STILL and freezers.differences() == []


def test_only_the_manager_says_that_a_cabinet_is_clean_and_why(room: Room, freezers: Freezers) -> None:
    assert {each["code"] for each in says_clean(room, False, who="olwen").refusals} == {"manager-only"}
    assert {each["code"] for each in says_clean(room, False, why=" ").refusals} == {"reason-needed"}
    assert cabinet(room)["is_clean"]


def test_opening_is_undone_with_the_treatment_of_every_sheet(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    code = freezers.frozen(number)
    room.wait(days=8)
    freezers.comes_out(code)
    room.wait(days=1)
    opened = freezers.opens(code)
    assert until(room, number) is not None
    assert room.undoes(opened.entry or 0, at="freezer").word == "Undone."
    assert until(room, number) is None and freezers.load(code)["opened_at"] is None
    assert freezers.differences() == []
    freezers.opens(code)
    assert until(room, number) is not None and freezers.differences() == []


def test_putting_in_is_undone_together_with_what_it_did_to_the_others(room: Room, freezers: Freezers) -> None:
    first, second = freezers.frozen(room.sheet_ready()), freezers.begins(room.sheet_ready())
    before = freezers.load(first)
    room.wait(days=2)
    put = freezers.goes_in(second)
    assert freezers.load(first)["cold_at"] > before["cold_at"]
    assert room.undoes(put.entry or 0, at="freezer").word == "Undone."
    assert freezers.load(first)["cold_at"] == before["cold_at"] and freezers.load(second)["put_in_at"] is None
    assert freezers.differences() == []


def test_a_load_in_the_freezer_is_not_undone_once_something_else_has_happened_to_it(
    room: Room, freezers: Freezers
) -> None:
    number = room.sheet_ready()
    code = freezers.begins(number)
    put = freezers.goes_in(code)
    room.wait(hours=9)
    room.scans(code, "freezer", facts={"reading_c": "-21"})
    refused = room.undoes(put.entry or 0, at="freezer", manages=True)
    assert {each["code"] for each in refused.refusals} == {"not-last"}


def _late(room: Room, freezers: Freezers, code: str, step: Step, ago: timedelta, **facts: Any) -> Answer:
    return room.scans(
        code, step=step, who="hedda", manages=True, happened_at=room.now - ago, facts=facts, reason="the logger's list"
    )


def test_a_power_cut_that_is_told_late_takes_the_treatment_away_and_taking_it_back_gives_it_again(
    room: Room, freezers: Freezers
) -> None:
    number = room.sheet_ready()
    code = freezers.treated(number)
    held = until(room, number)
    ends = room.now - timedelta(days=3)
    cut = _late(room, freezers, freezers.code(), Step.POWER_CUT, timedelta(days=4), ends=ends.isoformat())
    assert cut.kind == "done" and freezers.load(code)["treated"] is False
    assert until(room, number) is None and room.steps(number)[-1] == "treatment"
    assert freezers.differences() == []
    room.wait(minutes=5)
    assert room.undoes(cut.entry or 0, at="freezer", manages=True).word == "Undone."
    assert freezers.load(code)["treated"] is True and until(room, number) == held
    assert freezers.differences() == []


def test_a_late_reading_may_show_that_it_was_a_treatment_after_all(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    code = freezers.frozen(number)
    room.wait(days=7, hours=12)
    room.scans(code, "freezer", already_done=True)
    room.wait(days=1)
    freezers.opens(code)
    assert until(room, number) is None
    _late(room, freezers, code, Step.LOAD_COLD, timedelta(days=8, hours=6), reading_c="-22")
    assert freezers.load(code)["treated"] is True and until(room, number) is not None
    assert freezers.differences() == []


def test_an_entry_of_a_load_is_told_late_only_in_its_order(room: Room, freezers: Freezers) -> None:
    code = freezers.frozen(room.sheet_ready())
    room.wait(days=9)
    early = _late(room, freezers, code, Step.LOAD_OUT, timedelta(days=10))
    assert {each["code"] for each in early.refusals} == {"out-of-order"}
    assert _late(room, freezers, code, Step.LOAD_OUT, timedelta(hours=20)).kind == "done"
    assert freezers.load(code)["out_at"] == room.now - timedelta(hours=20)
    room.wait(hours=4)
    assert "counts as treated" in freezers.opens(code).lines[0]
    assert freezers.differences() == []


def test_taking_back_the_opening_alone_takes_the_treatment_away(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    code = freezers.frozen(number)
    room.wait(days=8)
    freezers.comes_out(code)
    room.wait(days=1)
    opened = freezers.opens(code)
    room.wait(minutes=1)
    assert room.takes_back(opened.entry or 0, "another bag").word == "Undone."
    assert until(room, number) is None and freezers.differences() == []


def test_the_audit_names_a_load_whose_row_says_otherwise(room: Room, freezers: Freezers) -> None:
    code = freezers.frozen(room.sheet_ready())
    with transaction(room.database) as session:
        session.execute(update(FreezerLoad).where(FreezerLoad.code == code).values(cold_at=room.now, treated=True))
    found = freezers.differences()
    assert len(found) == 2 and all("Load 1" in each for each in found)


def test_a_further_sheet_of_a_treated_plant_is_treated_as_long(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    freezers.treated(number)
    room.scans(number, "table-1", step=Step.TAKE_UP)
    room.scans(number, "table-1", step=Step.ANOTHER_SHEET)
    new = room.log(number)[-1]["facts"]["new_number"]
    assert until(room, new) == until(room, number)
    assert freezers.differences() == []
