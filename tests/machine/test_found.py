"""What the random people found wrong with the program, each as the shortest story of it."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from app.db.engine import transaction
from app.domain.errors import Refused
from app.domain.stages import Step
from app.services.people import add_worker, retire_worker
from tests.room import Room
from tests.services.days import codes
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
