"""Holds put and lifted for many at once: all of them in one transaction, and those left out named with why."""

from __future__ import annotations

import pytest

from app.db.engine import transaction
from app.domain.answer import Answer
from app.domain.stages import Step
from app.services.desk import ScanRequest
from app.services.holding import lift_many, put_many
from app.services.scanning import once
from tests.queries.looking import filed
from tests.room import Room
from tests.services.days import differences


def does(room: Room, act: object, kind: str, numbers: list[str], reason: str = "the labels went astray", who: str = "rosamund",
         scan_id: str = "") -> Answer:  # fmt: skip
    manages = who == "hedda"
    request = ScanRequest(scan_id or room.next_id(), "", worker_ids=(room.worker[who],), reason=reason, manages=manages)
    with transaction(room.database) as session:
        return once(session, request, room.occasion, lambda desk: act(desk, kind, numbers), f"many {kind}")  # type: ignore[operator]


def test_all_that_may_be_are_held_and_the_others_are_named_with_why(room: Room) -> None:
    one, already, gone, two = room.sheet_ready(), room.sheet_ready(label=False), room.sheet_ready(), filed(room)
    room.scans(gone, who="hedda", manages=True, step=Step.WITHDRAW, reason="destroyed")
    nobody = room.new_number()
    answer = does(room, put_many, "label-to-come", [one, already, gone, two, nobody, "scribble", f" {one.lower()} "])
    assert answer.kind == "done" and answer.moved == (one, two)
    assert {each["number"]: each["why"] for each in answer.left} == {
        already: "It is held already: label to come.", gone: "This sheet was closed: destroyed.",
        nobody: "no sheet here has this number.", "scribble": "no sheet here has this number.",
    }  # fmt: skip
    assert room.row(one)["holds"] == room.row(two)["holds"] == "label-to-come"
    assert room.log(one)[-1]["reason"] == "the labels went astray"
    assert len({room.log(number)[-1]["scan_id"] for number in (one, two)}) == 1
    assert differences(room.database) == []


def test_the_same_request_again_writes_nothing(room: Room) -> None:
    numbers = [room.sheet_ready(), room.sheet_ready()]
    first = does(room, put_many, "name-query", numbers, scan_id="same")
    assert does(room, put_many, "name-query", numbers, scan_id="same") == first
    assert room.steps(numbers[0]).count("put-hold") == 1


def test_they_are_lifted_together_and_what_the_manager_settles_stays(room: Room) -> None:
    one, two = room.sheet_ready(), room.sheet_ready()
    for kind in ("name-query", "label-query"):
        does(room, put_many, kind, [one, two])
    answer = does(room, lift_many, "name-query", [one, two], "named by the specialist")
    assert answer.moved == (one, two) and room.row(one)["holds"] == "label-query"
    refused = does(room, lift_many, "label-query", [one, two], "settled")
    assert refused.kind == "stop" and refused.moved == () and "Only the manager" in refused.left[0]["why"]
    assert does(room, lift_many, "label-query", [one], "settled", who="hedda").moved == (one,)
    assert differences(room.database) == []


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"reason": " "}, "reason-needed"), ({"who": "olwen"}, "manager-only"), ({"kind": "out"}, "on-hold"),
        ({"kind": "nonsense"}, "on-hold"), ({"numbers": []}, "misread-number"), ({"numbers": ["x"] * 501}, "misread-number"),
    ],
)  # fmt: skip
def test_what_cannot_be_asked_for_is_refused_as_a_whole(room: Room, more: dict[str, object], code: str) -> None:
    number = room.sheet_ready()
    asked: dict[str, object] = {"kind": "name-query", "numbers": [number], **more}
    answer = does(room, put_many, **asked)  # type: ignore[arg-type]
    assert code in [each["code"] for each in answer.refusals] and room.row(number)["holds"] == ""
