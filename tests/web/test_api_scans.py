"""Scans by script: the contract of POST /api/scans, field by field, and every way in which it refuses."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from app.db.engine import transaction
from app.domain.stages import Step
from app.services import room as furnishing
from tests.room import Room
from tests.web.api_client import Scripts, codes, problem


@pytest.fixture
def scripts(room: Room, tmp_path: Path) -> Scripts:
    return Scripts(room, tmp_path)


def test_a_scanner_mounts_a_sheet_and_is_told_what_to_do_next(scripts: Scripts) -> None:
    number, table = scripts.room.sheet_ready(), scripts.key(at="table-1")
    assert scripts.scan(table, number, step="take-up").status_code == 200
    response = scripts.scan(
        table, f" {number[:3]} {number[3:-1]}-{number[-1]} ", step="mount", facts={"adhesive": "paste", "bulk": "bulky"}
    )
    body = response.get_json()
    assert response.mimetype == "application/json" and body["answer"] == "done" and body["words"] == "Mounted."
    assert body["next"] == "Now put it in stack P1, top layer."
    assert body["sheet"]["number"] == number and body["sheet"]["stage"] == "mounted"
    assert body["sheet"]["since"] == "2026-11-25T09:00:00+00:00"
    entry = scripts.room.log(number)[-1]
    assert (
        entry["id"] == body["entry"]
        and entry["token_id"] is not None
        and entry["station_id"] == scripts.room.station["table-1"]
    )
    assert scripts.room.row(number)["adhesive_id"] == 2 and scripts.room.row(number)["bulk"] == "bulky"


def test_a_sheet_that_is_too_early_says_when_and_how_long_still(scripts: Scripts) -> None:
    room, press = scripts.room, scripts.key(at="press")
    room.weights("off", "P3")
    number = room.sheet_in("P3")
    room.weights("on", "P3")
    room.wait(hours=20, minutes=50)
    response = scripts.scan(press, number, step="take-out")
    assert codes(response) == ["too-early", "weights-on"]
    body = response.get_json(force=True)
    assert body["answer"] == "not-yet" and body["title"] == "Not yet."
    assert body["refusals"][0]["remaining_minutes"] == 190
    assert body["refusals"][0]["ready_at"] == "2026-11-26T09:00:00+00:00"
    assert "Leave it in P3." in body["next"]


def test_the_same_id_again_gets_the_same_bytes_and_writes_nothing(scripts: Scripts) -> None:
    number, table = scripts.room.sheet_ready(), scripts.key(at="table-1")
    for step in ("take-up", "put-under-weight"):
        body = {"scan_id": f"once-{step}", "code": number, "step": step, "held": 3}
        first = scripts.post("/scans", table, body)
        scripts.room.wait(hours=1)
        scripts.room.signs_in("piet", "table-1")
        again = scripts.post("/scans", table, {**body, "held": 2})
        assert again.data == first.data and again.status_code == first.status_code
    assert scripts.room.steps(number).count("take-up") == 1


def test_a_scan_that_named_somebody_is_answered_the_same_after_they_left(scripts: Scripts) -> None:
    number, table = scripts.room.sheet_ready(), scripts.key(at="table-1")
    body = {"scan_id": "before-tea", "code": number, "step": "take-up", "workers": ["W02"]}
    first = scripts.post("/scans", table, body)
    assert first.status_code == 200
    scripts.room.signs_in("piet", "table-1")
    again = scripts.post("/scans", table, body)
    assert (again.status_code, again.data) == (200, first.data)
    assert codes(scripts.post("/scans", table, {**body, "scan_id": "after-tea"})) == ["not-signed-in"]


def test_one_id_for_two_scans_is_a_conflict(scripts: Scripts) -> None:
    one, two, table = scripts.room.sheet_ready(), scripts.room.sheet_ready(), scripts.key(at="table-1")
    scripts.post("/scans", table, {"scan_id": "twice", "code": one})
    body = problem(scripts.post("/scans", table, {"scan_id": "twice", "code": two}), 409)
    assert body["refusals"][0]["code"] == "scan-id-reused"
    other = scripts.key(at="table-2")
    problem(scripts.post("/scans", other, {"scan_id": "twice", "code": one}), 409)
    assert "take-up" not in scripts.room.steps(two)


def test_a_station_s_key_is_its_own_station_and_names_only_who_is_signed_in_there(scripts: Scripts) -> None:
    number, table = scripts.room.sheet_ready(), scripts.key(at="table-1")
    assert codes(scripts.scan(table, number, step="take-up", workers=["W03"])) == ["not-signed-in"]
    assert codes(scripts.scan(table, number, step="take-up", workers=["W99"])) == ["unknown-worker"]
    assert codes(scripts.scan(table, number, step="take-up", station="table-2")) == ["unknown-station"]
    assert codes(scripts.scan(table, number, step="take-up", facts={"beside": "W03"})) == ["not-signed-in"]
    assert scripts.room.stage(number) == "ready-for-mounting" and len(scripts.room.log(number)) == 2
    answer = scripts.scan(table, number, step="take-up", workers=["w02"], station="Mounting table 1")
    assert answer.status_code == 200, answer.get_json(force=True)


def test_a_manager_s_key_names_any_station_and_anybody(scripts: Scripts) -> None:
    number, manager = scripts.room.sheet_ready(), scripts.key()
    assert codes(scripts.scan(manager, number, step="take-up", station="table-9")) == ["unknown-station"]
    response = scripts.scan(manager, number, step="take-up", station="table-2", workers=["W03", "W02"])
    assert response.status_code == 200
    entry = scripts.room.log(number)[-1]
    assert entry["station_id"] == scripts.room.station["table-2"]
    assert scripts.room.row(number)["table_id"] == scripts.room.station["table-2"]


def test_what_the_people_of_a_station_have_in_hand_is_not_touched_by_a_manager_s_script(scripts: Scripts) -> None:
    room, manager = scripts.room, scripts.key()
    mine, theirs = room.sheet_ready(), room.sheet_ready()
    room.scans(mine, "table-1", step=Step.TAKE_UP)
    before = room.station_row("table-1")
    assert scripts.scan(manager, theirs, step="take-up", station="table-1").status_code == 200
    after = room.station_row("table-1")
    assert after == before


def test_nobody_named_by_a_manager_s_key_is_the_manager(scripts: Scripts) -> None:
    number, manager = scripts.room.sheet_ready(), scripts.key()
    scripts.scan(manager, number, step="put-hold", facts={"hold": "name-query"}, reason="two names on the label")
    page = scripts.get(f"/sheets/{number}", manager).get_json()
    assert page["holds"] == ["name-query"] and page["log"][-1]["workers"] == ["Hedda Brackwater"]


def test_letting_a_sheet_out_early_is_the_manager_s_with_a_reason(scripts: Scripts) -> None:
    room = scripts.room
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.signs_in("hedda", "press")
    early = {"step": "take-out", "early": True, "reason": "wanted for a loan"}
    assert codes(scripts.scan(scripts.key(at="press"), number, **early)) == ["manager-only"]
    manager = scripts.key()
    assert codes(scripts.scan(manager, number, step="take-out", early=True)) == ["reason-needed"]
    assert codes(scripts.scan(manager, number, workers=["W02"], **early)) == ["manager-only"]
    assert scripts.scan(manager, number, **early).status_code == 200
    entry = room.log(number)[-1]
    assert entry["reason"] == "wanted for a loan" and entry["early_by_s"] == 24 * 3600


def test_what_is_glued_already_is_written_as_it_is(scripts: Scripts) -> None:
    number, table = scripts.room.sheet_ready(), scripts.key(at="table-1")
    refused = scripts.scan(table, number, step="mount")
    assert codes(refused) == ["wrong-stage"]
    offered = refused.get_json(force=True)["already_done"]
    assert offered["send"] == {"code": number, "step": "mount", "already_done": True}
    done = scripts.scan(table, **offered["send"])
    assert done.status_code == 200 and scripts.room.log(number)[-1]["after_the_fact"]
    assert "against-a-rule" in scripts.room.row(number)["holds"]


def test_a_question_is_no_success_and_its_choices_can_be_sent_as_they_are(scripts: Scripts) -> None:
    room, intake = scripts.room, scripts.key(at="intake")
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    asked = scripts.scan(intake, number, step="arrive-dry")
    body = asked.get_json(force=True)
    assert asked.status_code == 422 and body["answer"] == "which-one" and room.stage(number) == "intake"
    label_to_come = next(choice for choice in body["choices"] if "to come" in choice["words"])
    assert label_to_come["send"]["facts"] == {"dryness": True, "label": False}
    assert scripts.scan(intake, **label_to_come["send"]).status_code == 200
    assert room.stage(number) == "ready-for-mounting" and room.row(number)["holds"] == "label-to-come"


def test_hazards_travel_with_the_sheet_and_are_said_once(scripts: Scripts) -> None:
    intake, number = scripts.key(at="intake"), scripts.room.new_number()
    body = scripts.scan(
        intake, number, step="take-in", facts={"hazards": ["irritant", "spines", "irritant"]}
    ).get_json()
    assert len(body["sheet"]["cautions"]) == 2 and "gloves" in body["sheet"]["cautions"][0]
    scripts.scan(intake, number, step="lay-to-dry", facts={"hazards": ["irritant"]})
    assert scripts.get(f"/sheets/{number}", intake).get_json()["hazards"] == ["irritant", "spines"]


def test_a_learner_s_sheet_is_the_learner_s_and_the_teacher_stood_beside(scripts: Scripts) -> None:
    room, number = scripts.room, scripts.room.sheet_ready()
    room.signs_in("piet", "table-1", with_others="together")
    response = scripts.scan(scripts.key(at="table-1"), number, step="take-up", workers=["W02"], facts={"beside": "W03"})
    assert response.status_code == 200, response.get_json(force=True)
    assert hands(room, response.get_json()["entry"]) == {("did", "olwen"), ("beside", "piet")}


def test_the_layer_that_a_script_names_is_kept_beside_the_one_that_the_log_gives(scripts: Scripts) -> None:
    room = scripts.room
    room.weights("off", "P2")
    number = room.sheet_mounted()
    scripts.scan(scripts.key(at="press"), number, step="put-under-weight", stack="P2", facts={"layer": 7})
    assert room.log(number)[-1]["facts"]["layer_said"] == 7 and room.row(number)["layer"] == 1


def test_an_adhesive_that_the_room_does_not_have_is_refused_and_not_forgotten(scripts: Scripts) -> None:
    number, table = scripts.room.sheet_ready(), scripts.key(at="table-1")
    scripts.scan(table, number, step="take-up")
    assert codes(scripts.scan(table, number, step="mount", facts={"adhesive": "glue"})) == ["unknown-adhesive"]
    assert scripts.room.stage(number) == "ready-for-mounting"


def test_one_scan_of_a_bundle_s_card_moves_all_but_the_exceptions(scripts: Scripts) -> None:
    room, intake = scripts.room, scripts.key(at="intake")
    with transaction(room.database) as session:
        furnishing.add_bundle(session, "Tray 7")
    card = room.code("bundle", "Tray 7")
    scripts.scan(intake, card)
    numbers = [room.new_number() for _ in range(3)]
    for number in numbers:
        scripts.scan(intake, number, step="take-in")
        room.wait(seconds=1)
    left = f"{numbers[1][:3]} {numbers[1][3:]}"
    response = scripts.scan(intake, card, step="lay-to-dry", facts={"all": True, "all_but": [left]})
    body = response.get_json()
    assert response.status_code == 200 and body["moved"] == [numbers[0], numbers[2]]
    assert body["left"] == [{"number": numbers[1], "why": "left out"}]
    assert codes(scripts.scan(intake, card, step="lay-to-dry", facts={"all": True, "all_but": ["x"]})) == [
        "misread-number"
    ]


def test_the_manager_gives_a_sheet_another_number(scripts: Scripts) -> None:
    room, number = scripts.room, scripts.room.sheet_ready()
    new = room.new_number()
    fields = {"step": "renumber", "facts": {"new_number": new}, "reason": "two sheets had this number"}
    assert codes(scripts.scan(scripts.key(at="table-1"), number, **fields)) == ["manager-only"]
    assert scripts.scan(scripts.key(), number, **fields).status_code == 200
    page = scripts.get(f"/sheets/{number}", scripts.key("read")).get_json()
    assert page["number"] == new


def test_a_misread_number_names_the_sheets_that_it_could_have_been(scripts: Scripts) -> None:
    number, table = scripts.room.sheet_ready(), scripts.key(at="table-1")
    wrong = number[:-1] + ("7" if number[-1] != "7" else "8")
    response = scripts.scan(table, wrong)
    assert codes(response) == ["misread-number"] and response.get_json(force=True)["answer"] == "which-one"
    assert number in response.get_json(force=True)["refusals"][0]["could_be"]
    assert codes(scripts.scan(table, "TQX 999999")) == ["misread-number"]
    assert codes(scripts.scan(table, scripts.room.new_number())) == ["unknown-number"]


def test_a_late_scan_of_a_station_is_believed_back_to_its_last_clear_contact_and_not_a_second_further(
    scripts: Scripts,
) -> None:
    room, table = scripts.room, scripts.key(at="table-1")
    one, two, three = (room.sheet_ready() for _ in range(3))
    scripts.scan(table, one, step="take-up", held=0)
    clear = room.now
    room.wait(minutes=10)

    def late(number: str, moment_s: int) -> object:
        told = (clear + timedelta(seconds=moment_s)).astimezone(room.zone).isoformat()
        return scripts.scan(table, number, step="take-up", held=2, happened_at=told)

    assert codes(late(two, -1)) == ["too-old"]  # type: ignore[arg-type]
    assert late(two, 0).status_code == 200  # type: ignore[attr-defined]
    assert late(three, 1).status_code == 200  # type: ignore[attr-defined]
    assert codes(
        scripts.scan(
            table, room.sheet_ready(), step="take-up", happened_at=(room.now + timedelta(seconds=1)).isoformat()
        )
    )


def hands(room: Room, entry: int) -> set[tuple[str, str]]:
    from sqlalchemy import select

    from app.db.engine import reading
    from app.db.models import EntryWorker

    names = {worker_id: name for name, worker_id in room.worker.items()}
    with reading(room.database) as session:
        rows = session.execute(
            select(EntryWorker.role, EntryWorker.worker_id).where(EntryWorker.entry_id == entry)
        ).all()
    return {(row.role, names[row.worker_id]) for row in rows}
