"""Putting a gluing right: the minimum follows by the rules under which the sheet was laid in."""

from __future__ import annotations

import pytest

from app.db.engine import transaction
from app.domain.answer import Answer
from app.services.desk import ScanRequest
from app.services.regluing import put_gluing_right
from app.services.room import set_house_rule
from app.services.scanning import once
from tests.room import Room

HOUR = 3600


def put_right(
    room: Room, number: str, adhesive: str, bulk: str, who: str = "rosamund", reason: str = "the jars were swapped"
) -> Answer:
    request = ScanRequest(room.next_id(), number, worker_ids=(room.worker[who],), reason=reason)
    with transaction(room.database) as session:
        return once(session, request, room.occasion, lambda desk: put_gluing_right(desk, adhesive, bulk), "gluing")


# The hours are the defaults of the house rules: 24 for PVA, 48 for pastes, 2 for straps, 24 more for a bulky sheet.
@pytest.mark.parametrize(
    ("adhesive", "bulk", "hours"),
    [
        ("pva", "ordinary", 24),
        ("pva", "bulky", 48),
        ("paste", "thin", 48),
        ("straps", "ordinary", 2),
        ("", "ordinary", 48),
        ("", "bulky", 72),
    ],
)
def test_the_minimum_follows_the_adhesive_and_the_bulk_and_an_unknown_adhesive_takes_the_longest(
    room: Room, adhesive: str, bulk: str, hours: int
) -> None:
    number = room.sheet_in("P1")
    answer = put_right(room, number, adhesive, bulk)
    assert answer.kind == "done" and "under weight." in answer.lines[0]
    assert (room.row(number)["minimum_s"], room.row(number)["bulk"]) == (hours * HOUR, bulk)


def test_the_rules_of_the_day_it_was_laid_in_decide_and_not_those_of_today(room: Room) -> None:
    with transaction(room.database) as session:
        version = set_house_rule(session, "press_pva_h", 30, "thicker glue", room.now)
    number = room.sheet_in("P1")
    room.wait(hours=1)
    with transaction(room.database) as session:
        set_house_rule(session, "press_pva_h", 40, "thicker still", room.now)
        set_house_rule(session, "press_bulky_add_h", 100, "for roots", room.now)
    put_right(room, number, "pva", "bulky")
    row = room.row(number)
    assert (row["minimum_s"], row["rule_version"]) == ((30 + 24) * HOUR, version)


def test_a_sheet_that_was_glued_and_not_laid_in_gets_its_minimum_when_it_is(room: Room) -> None:
    number = room.sheet_mounted()
    put_right(room, number, "paste", "ordinary")
    assert room.row(number)["minimum_s"] is None
    assert room.scans(number, "press", stack="P1").kind == "done"
    assert room.row(number)["minimum_s"] == 48 * HOUR


def test_the_entry_says_who_put_it_right_and_why_and_the_sheet_stays_where_it_is(room: Room) -> None:
    number = room.sheet_in("P1")
    before = room.row(number)
    put_right(room, number, "paste", "thin")
    entry, after = room.log(number)[-1], room.row(number)
    assert (entry["step"], entry["reason"]) == ("restate", "the jars were swapped")
    assert (after["stage"], after["stack_id"], after["layer"]) == (before["stage"], before["stack_id"], before["layer"])


@pytest.mark.parametrize(
    ("who", "adhesive", "bulk", "reason", "code"),
    [
        ("olwen", "pva", "thin", "wrong jar", "manager-only"),
        ("rosamund", "pva", "thin", " ", "reason-needed"),
        ("rosamund", "tar", "thin", "wrong jar", "misread-number"),
        ("rosamund", "pva", "enormous", "wrong jar", "misread-number"),
    ],
)
def test_it_is_the_trainers_with_a_reason_and_from_the_rooms_own_list(
    room: Room, who: str, adhesive: str, bulk: str, reason: str, code: str
) -> None:
    number = room.sheet_in("P1")
    answer = put_right(room, number, adhesive, bulk, who, reason)
    assert answer.status == 422 and [each["code"] for each in answer.refusals] == [code]
    assert room.steps(number)[-1] == "put-under-weight"


def test_what_was_never_glued_has_no_gluing_to_put_right(room: Room) -> None:
    answer = put_right(room, room.sheet_ready(), "pva", "thin")
    assert [each["code"] for each in answer.refusals] == ["wrong-stage"]


def test_a_gluing_put_right_can_be_taken_back(room: Room) -> None:
    number = room.sheet_in("P1")
    put_right(room, number, "paste", "bulky")
    room.takes_back(room.log(number)[-1]["id"], "it was PVA after all")
    assert (room.row(number)["minimum_s"], room.row(number)["bulk"]) == (24 * HOUR, "ordinary")
