"""A sheet's whole life by scans, from intake to filed."""

from __future__ import annotations

from tests.room import Room


def test_a_sheet_goes_from_intake_to_filed_by_scans(room: Room) -> None:
    number = room.new_number()
    assert room.scans(number, "intake").word == "Taken in."
    assert room.scans(number, "drying").word == "Laid to dry."
    room.wait(days=8)
    asked = room.scans(number, "drying", step=None)
    assert asked.kind == "which-one"
    passed = room.scans(number, "drying", step=None) if asked.choices[0].name == "step" else asked
    assert passed.choices
    from app.domain.stages import Step

    answer = room.scans(number, "drying", step=Step.PASS_AS_DRY, facts={"dryness": True, "label": True})
    assert answer.word == "Passed as dry.", answer
    assert room.scans(room.code("shelf", "M1/2"), "table-1").kind == "done"
    assert room.scans(number, "table-1").word == "Taken up."
    room.wait(minutes=15)
    mounted = room.scans(number, "table-1")
    assert mounted.word == "Mounted." and "stack P1" in mounted.next
    assert room.weights("off", "P1").kind == "done"
    laid = room.scans(number, "press")
    assert laid.word == "Put under weight." and "24 h" in laid.next, laid
    on = room.weights("on", "P1")
    assert on.word == "Weights on." and on.next == "1 sheet in P1. Right?"
    room.wait(hours=20, minutes=50)
    early = room.scans(number, "press")
    assert early.kind == "not-yet" and [each["code"] for each in early.refusals] == ["too-early", "weights-on"]
    assert early.refusals[0]["remaining_minutes"] == 190
    room.wait(hours=3, minutes=10)
    assert room.scans(number, "press").refusals[0]["code"] == "weights-on"
    room.weights("off", "P1")
    room.wait(seconds=30)
    assert room.scans(number, "press").word == "Taken out."
    assert room.scans(number, "filing").refusals[0]["code"] == "not-inspected"
    room.wait(seconds=30)
    answer = room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    assert answer.word == "Inspected.", answer
    room.wait(seconds=30)
    assert room.scans(number, "filing").refusals[0]["code"] == "no-cabinet"
    filed = room.scans(room.code("shelf", "F1/3"), "filing")
    assert filed.word == "Filed." and "F1, shelf 3" in filed.next, filed
    assert room.stage(number) == "filed" and not room.row(number)["in_queue"]
