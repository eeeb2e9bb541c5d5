"""What the random people found wrong with the program, each as the shortest story of it."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select, update

from app.db.engine import reading, transaction
from app.db.models import Sheet, Station
from app.domain.errors import Refused
from app.domain.stages import Step
from app.services.crediting import credit_to
from app.services.desk import ScanRequest, workers_named
from app.services.people import add_worker, retire_worker
from app.services.scanning import once
from tests.machine.doors import Doors
from tests.room import Room
from tests.services.days import card, codes, differences
from tests.services.freezer import Freezers
from tests.web.api_client import Scripts
from tests.web.api_client import codes as codes_of


@pytest.mark.parametrize("how", ["", "together", "beside"])
def test_whoever_only_reads_does_not_work_at_a_station(room: Room, how: str) -> None:
    """Design, section 11: a reader finds, sees where and when, and may ask for a sheet."""
    answer = room.scans(room.code("badge", "ines"), "table-1")
    assert answer.kind == "stop" and codes(answer) == ["unknown-worker"]
    with pytest.raises(Refused):
        room.signs_in("ines", "table-1", how)
    number = room.sheet_ready()
    assert room.scans(number, "table-1", step=Step.TAKE_UP).kind == "done"
    assert room.log(number)[-1]["step"] == "take-up"


def test_a_script_names_nobody_who_only_reads(room: Room, tmp_path: Path) -> None:
    scripts, number = Scripts(room, tmp_path), room.new_number()
    refused = scripts.scan(scripts.key(), number, station="intake", step="take-in", workers=["W05"])
    assert codes_of(refused) == ["unknown-worker"] and "Ines Caldwell" in refused.get_json(force=True)["detail"]
    assert scripts.scan(scripts.key(), number, station="intake", step="take-in", workers=["W04"]).status_code == 200


def test_a_wrong_worker_of_a_late_scan_is_named_and_not_its_time(room: Room, tmp_path: Path) -> None:
    scripts, number = Scripts(room, tmp_path), room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.wait(hours=3)
    when = (room.now.replace(minute=0)).isoformat()
    refused = scripts.scan(
        scripts.key(), number, station="intake", step="lay-to-dry", workers=["W99"], happened_at=when
    )
    assert codes_of(refused) == ["unknown-worker"]


def test_the_same_code_after_a_correction_is_no_double_read(room: Room, tmp_path: Path) -> None:
    """Design, section 4: the same code again within 20 seconds, and nothing else in between, is the scanner's double read."""
    scripts, number = Scripts(room, tmp_path), room.sheet_ready()
    key = scripts.key(at="table-1")
    entry = scripts.scan(key, number).get_json()["entry"]
    assert scripts.post(f"/entries/{entry}/correction", key, reason="wrong sheet").status_code == 200
    room.wait(seconds=5)
    again = scripts.scan(key, number).get_json()
    assert again["step"] == "take-up" and again["entry"] > entry
    assert room.steps(number)[-3:] == ["take-up", "correct", "take-up"]


@pytest.mark.parametrize("wrong", [{"workers": ["W06"]}, {"happened_at": "2026-11-25T23:00:00+00:00"}])
def test_a_refused_script_of_the_manager_was_not_at_the_station_that_it_names(
    room: Room, tmp_path: Path, wrong: dict[str, object]
) -> None:
    """Else the station's own kept scans were too old by it, and its double read told of what a script was refused for."""
    with transaction(room.database) as session:
        gone, _ = add_worker(session, "Tove Marsh", ["volunteer"], room.now)
        retire_worker(session, gone, room.now, by=room.worker["hedda"])
    scripts, made_at = Scripts(room, tmp_path), room.now
    press, number = scripts.key(at="press"), room.sheet_ready()
    first = scripts.scan(press, room.code("off", "P1"))
    room.wait(seconds=8)
    before = room.station_row("press")
    refused = scripts.scan(scripts.key(), number, station="press", step="take-up", **wrong)
    assert codes_of(refused)[0] in ("retired-worker", "too-old")
    assert dict(room.station_row("press")) == dict(before)
    assert scripts.scan(press, room.code("off", "P1"), held=1).get_json() == first.get_json()
    # What the station had kept since it was last heard of is still believed.
    kept = scripts.scan(press, room.code("on", "P1"), happened_at=(made_at + timedelta(seconds=1)).isoformat(), held=1)
    assert kept.status_code == 200, kept.text


def test_a_withdrawn_sheet_is_asked_nothing_and_is_not_glued_after_the_fact(room: Room) -> None:
    number = room.sheet_ready()
    fresh = room.new_number()
    room.scans(fresh, "intake", step=Step.TAKE_IN)
    for each in (number, fresh):
        assert room.scans(each, who="hedda", step=Step.WITHDRAW, reason="sent in exchange").kind == "done"
    # Neither "feel it" of one that came dry, nor glue on what is no longer here by the log: the manager is asked.
    assert codes(room.scans(fresh, "intake", step=Step.ARRIVE_DRY)) == ["withdrawn"]
    assert codes(room.scans(number, "table-1", step=Step.MOUNT, already_done=True)) == ["withdrawn"]
    assert room.stage(number) == "ready-for-mounting" and room.steps(number)[-1] == "withdraw"


@pytest.mark.parametrize("told", ["late", "by a clock that was set back"])
def test_a_bag_that_was_opened_before_the_last_entry_of_a_sheet_in_it(room: Room, told: str) -> None:
    """Nothing is written of a sheet before its last entry, also where it is its bag of which something is told."""
    freezers, number = Freezers(room), room.sheet_ready()
    code = freezers.frozen(number)
    room.wait(days=8)
    assert freezers.comes_out(code).kind == "done"
    room.wait(days=2)
    held = room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "name-query"}, reason="which one is it?")
    assert held.kind == "done"
    if told == "late":
        opened = room.scans(
            code, who="hedda", manages=True, step=Step.LOAD_OPENED, happened_at=room.now - timedelta(hours=3)
        )
    else:
        room.wait(hours=-3)
        opened = freezers.opens(code)
    assert opened.kind == "done" and room.steps(number)[-2:] == ["put-hold", "unbag"]
    assert room.row(number)["treated_until"] is not None
    assert differences(room.database) == []


def test_the_manager_writes_up_no_work_of_somebody_who_only_reads(room: Room, tmp_path: Path) -> None:
    """Design, section 11; a script of the manager is refused so, too."""
    doors, number = Doors(room, tmp_path), room.sheet_ready()
    room.wait(hours=2)
    fields = {"step": "take-up", "station": str(room.station["table-1"]), "stack": "", "shelf": "", "reason": "it was on the list",
              "happened_at": (room.now - timedelta(hours=1)).astimezone(room.zone).strftime("%Y-%m-%dT%H:%M:%S")}  # fmt: skip
    refused = doors.send(doors.of_sheet("hedda", number, "late", worker=str(room.worker["ines"]), **fields))
    assert refused.status_code == 422 and "Ines Caldwell may look things up here" in refused.text
    assert room.steps(number)[-1] == "arrive-dry"
    written = doors.send(doors.of_sheet("hedda", number, "late", worker=str(room.worker["olwen"]), **fields))
    assert written.status_code == 302 and room.steps(number)[-1] == "take-up"


def test_another_sheet_is_made_by_somebody(room: Room) -> None:
    number = room.sheet_ready()
    assert room.scans(number, "table-1", step=Step.TAKE_UP).kind == "done"
    assert room.scans(card("done"), "table-1").kind == "done"
    assert codes(room.scans(number, "table-1", step=Step.ANOTHER_SHEET)) == ["not-signed-in"]
    assert room.steps(number)[-1] == "take-up" and _rows(room) == {(number, None)}


@pytest.mark.parametrize("step", [Step.ANOTHER_SHEET, Step.DIVIDE, Step.TELL_APART])
def test_what_is_told_too_late_of_one_sheet_leaves_no_other_behind(room: Room, step: Step) -> None:
    """Design, section 4: what rests on a judgement is told at once or not at all; else the specimen had a sheet that is nowhere."""
    number = room.sheet_ready()
    assert room.scans(number, "table-1", step=Step.TAKE_UP).kind == "done"
    room.wait(minutes=30)
    kept = {"facts": {"plant": "Bellis perennis"}, "happened_at": room.now - timedelta(minutes=20), "held": 1}
    assert codes(room.scans(number, "table-1", step=step, **kept)) == ["too-old"]
    assert _rows(room) == {(number, None)}


def test_a_sheet_without_a_number_that_is_told_too_late_is_no_sheet(room: Room) -> None:
    assert room.scans(card("check"), "intake").kind == "which-one"
    room.wait(minutes=30)
    kept = {"facts": {"on_label": "-", "is": "new"}, "happened_at": room.now - timedelta(minutes=20), "held": 1}
    assert codes(room.scans(card("no-number"), "intake", **kept)) == ["too-old"]
    assert _rows(room) == set()


def test_two_sheets_are_said_to_be_one_specimen_before_the_last_entry_of_the_first(room: Room) -> None:
    first, second = room.sheet_ready(), room.sheet_ready()
    room.wait(hours=1)
    assert room.scans(first, "table-1", step=Step.TAKE_UP).kind == "done"
    room.wait(minutes=-30)
    assert room.scans(card("same-specimen"), "table-1").kind == "which-one"
    assert codes(room.scans(second, "table-1")) == ["clock-behind"]
    assert _rows(room) == {(first, None), (second, None)} and differences(room.database) == []


def test_what_was_somebody_else_s_is_one_specimen_still(room: Room, tmp_path: Path) -> None:
    """Not me changes who did it, and nothing of what was done: else a sheet was filed before the others of its specimen."""
    room.signs_in("piet", "table-1")
    room.wait(minutes=1)
    number = room.sheet_ready()
    for step in (Step.TAKE_UP, Step.ANOTHER_SHEET):
        assert room.scans(number, "table-1", step=step).kind == "done"
    before = _rows(room)
    asked = ScanRequest(room.next_id(), "", room.station["table-1"])
    with transaction(room.database) as session:
        once(
            session,
            asked,
            room.occasion,
            lambda desk: credit_to(desk, workers_named(session, (room.worker["olwen"],), desk.house)[0]),
            "x",
        )
    assert room.steps(number)[-1] == "another-sheet" and len(before) == 2
    assert _rows(room) == before and len({specimen for _, specimen in before} - {None}) == 1


def test_two_that_were_joined_by_mistake_may_each_be_joined_to_another(room: Room) -> None:
    first, second, third, fourth = (room.sheet_ready() for _ in range(4))
    for one, other in ((first, second), (third, fourth)):
        last = _joined(room, one, other)
        assert room.undoes(last, "table-1").kind == "done"
    assert {specimen for _, specimen in _rows(room)} == {None}
    _joined(room, first, third)
    assert len({specimen for _, specimen in _rows(room)} - {None}) == 1


def test_whoever_holds_a_missing_sheet_and_says_of_which_specimen_it_is_has_found_it(room: Room) -> None:
    """Design, section 7: not found stops nothing, and the next scan lifts it."""
    first, second = room.sheet_ready(), room.sheet_ready()
    missing = {"facts": {"hold": "not-found"}, "reason": "not on its shelf"}
    assert room.scans(second, who="hedda", step=Step.PUT_HOLD, **missing).kind == "done"
    _joined(room, first, second)
    assert room.row(second)["holds"] == ""


def _joined(room: Room, first: str, second: str) -> int:
    """Two sheets are said to be one specimen at the first table; the entry."""
    room.wait(minutes=1)
    assert room.scans(first, "table-1", step=Step.ANOTHER_SHEET).kind == "stop"
    with transaction(room.database) as session:
        session.execute(update(Station).where(Station.slug == "table-1").values(last_sheet_id=room.row(first)["id"]))
    assert room.scans(card("same-specimen"), "table-1").kind == "which-one"
    answer = room.scans(second, "table-1")
    assert answer.kind == "done" and answer.entry is not None
    return answer.entry


def _rows(room: Room) -> set[tuple[str, int | None]]:
    """Every sheet there is, and its specimen."""
    with reading(room.database) as session:
        return {(row.number, row.specimen_id) for row in session.execute(select(Sheet.number, Sheet.specimen_id))}
