"""What is brought back or withdrawn, one or many; and a withdrawn sheet that is in the hands again, with its log whole."""

from __future__ import annotations

import pytest

from app.db.engine import transaction
from app.domain.answer import Answer
from app.domain.stages import Step
from app.services.coming_again import come_again_by_number
from app.services.desk import ScanRequest
from app.services.leaving import bring_back_many, withdraw_many
from app.services.scanning import once
from tests.queries.looking import filed
from tests.room import Room
from tests.services.days import codes, differences, done

WENT = "sent in exchange to the Brannholt herbarium"


def does(room: Room, act: object, numbers: list[str], reason: str, who: str = "hedda", scan_id: str = "") -> Answer:
    request = ScanRequest(
        scan_id or room.next_id(), "", worker_ids=(room.worker[who],), reason=reason, manages=who == "hedda"
    )
    with transaction(room.database) as session:
        return once(session, request, room.occasion, lambda desk: act(desk, numbers), "many")  # type: ignore[operator]


def comes_again(
    room: Room, number: str, comes_as: str = "mounted", reason: str = "they sent it back", who: str = "hedda"
) -> Answer:
    request = ScanRequest(room.next_id(), number, worker_ids=(room.worker[who],), reason=reason, manages=who == "hedda",
                          facts={"comes_as": comes_as} if comes_as else {})  # fmt: skip
    with transaction(room.database) as session:
        return once(session, request, room.occasion, come_again_by_number, "again")


def withdrawn(room: Room, number: str) -> str:
    done(room.scans(number, who="hedda", manages=True, step=Step.WITHDRAW, reason=WENT))
    return number


def test_what_was_withdrawn_and_mounted_stands_dry_again_and_is_inspected_anew(room: Room) -> None:
    number = withdrawn(room, filed(room))
    before = room.steps(number)
    room.wait(days=300)
    answer = done(comes_again(room, number))
    row = room.row(number)
    assert (row["stage"], row["closed_as"], row["outcome"], row["in_queue"]) == ("dry", None, None, True)
    assert row["came_at"] == room.now and row["treated_until"] is None
    # Nothing of its log is lost: the two new entries come behind all that was written before it left.
    assert room.steps(number) == [*before, "come-again", "arrive-mounted"]
    again = room.log(number)[-2]
    assert (again["from_stage"], again["to_stage"], again["reason"]) == (None, "intake", "they sent it back")
    assert WENT in answer.lines[-1] and "Its whole log is kept." in answer.lines[-1]
    assert differences(room.database) == []


@pytest.mark.parametrize("left_from", ["intake", "ready", "filed"])
def test_what_is_not_mounted_waits_at_intake_from_now_on(room: Room, left_from: str) -> None:
    made = {"intake": _taken_in, "ready": Room.sheet_ready, "filed": filed}[left_from]
    number = withdrawn(room, made(room))
    room.wait(days=400)
    done(comes_again(room, number, "loose"))
    # It does not count as having waited all the while that it was away.
    assert room.stage(number) == "intake" and room.row(number)["came_at"] == room.now
    assert differences(room.database) == []


def test_only_the_manager_takes_it_in_again_and_says_why_and_what_it_is(room: Room) -> None:
    number = withdrawn(room, filed(room))
    assert codes(comes_again(room, number, who="rosamund")) == ["manager-only"]
    unsaid = comes_again(room, number, reason=" ")
    assert codes(unsaid) == ["reason-needed"] and unsaid.ask is not None and unsaid.carry["facts.comes_as"] == "mounted"
    asked = comes_again(room, number, "")
    assert asked.kind == "which-one" and [each.value for each in asked.choices] == ["mounted", "loose"]
    assert asked.carry["reason"] == "they sent it back"
    assert room.row(number)["closed_as"] == WENT
    assert codes(comes_again(room, room.sheet_ready())) == ["wrong-stage"]


def test_the_scan_at_intake_offers_it_to_the_manager_and_to_nobody_else(room: Room) -> None:
    number = withdrawn(room, filed(room))
    refused = room.scans(number, "intake")
    assert codes(refused) == ["withdrawn"] and refused.choices == ()
    room.wait(minutes=1)
    room.signs_in("hedda", "intake")
    offered = room.scans(number, "intake")
    assert [each.value for each in offered.choices] == [
        "step=come-again&facts.comes_as=mounted", "step=come-again&facts.comes_as=loose",
    ]  # fmt: skip
    room.wait(minutes=1)
    asks = room.scans(number, "intake", step=Step.COME_AGAIN, facts={"comes_as": "mounted"})
    assert codes(asks) == ["reason-needed"]
    answer = done(
        room.scans(number, "intake", step=Step.COME_AGAIN, facts={"comes_as": "mounted"}, reason="found after all")
    )
    assert room.stage(number) == "dry" and "inspection shelf" in answer.next


def test_it_is_undone_as_one_and_can_be_taken_back_whole(room: Room) -> None:
    number = withdrawn(room, filed(room))
    room.wait(days=3)
    room.signs_in("hedda", "intake")
    answer = done(
        room.scans(number, "intake", step=Step.COME_AGAIN, facts={"comes_as": "mounted"}, reason="they sent it back")
    )
    assert answer.entry is not None
    done(room.undoes(answer.entry, "intake"))
    assert room.row(number)["closed_as"] == WENT and room.stage(number) == "filed"
    assert differences(room.database) == []
    done(comes_again(room, number))
    done(room.takes_back(room.log(number)[0]["id"], "all of it was another sheet"))
    assert room.row(number)["stage"] is None and differences(room.database) == []


def test_many_are_brought_back_and_those_that_are_not_filed_are_named(room: Room) -> None:
    one, two, ready, nobody = filed(room), filed(room), room.sheet_ready(), room.new_number()
    room.wait(days=1)
    answer = does(room, bring_back_many, [one, two, ready, nobody, one], "To be determined anew", who="olwen")
    assert answer.kind == "done" and answer.moved == (one, two)
    assert [each["number"] for each in answer.left] == [ready, nobody]
    assert {room.stage(one), room.stage(two)} == {"dry"} and room.row(one)["outcome"] is None
    assert room.log(one)[-1]["reason"] == "To be determined anew"
    assert len({room.log(number)[-1]["scan_id"] for number in (one, two)}) == 1
    assert differences(room.database) == []


def test_the_same_request_again_brings_nothing_back_twice(room: Room) -> None:
    one = filed(room)
    first = does(room, bring_back_many, [one], "damage", scan_id="same")
    assert does(room, bring_back_many, [one], "damage", scan_id="same") == first
    assert room.steps(one).count("bring-back") == 1


def test_many_are_withdrawn_by_the_manager_alone_and_what_was_missing_is_no_longer_looked_for(room: Room) -> None:
    one, missing = filed(room), filed(room)
    done(room.scans(missing, who="hedda", step=Step.PUT_HOLD, facts={"hold": "not-found"}, reason="not on its shelf"))
    assert does(room, withdraw_many, [one, missing], WENT, who="rosamund").kind == "stop"
    answer = done(does(room, withdraw_many, [one, missing], WENT))
    assert answer.moved == (one, missing)
    assert {room.row(each)["closed_as"] for each in (one, missing)} == {WENT}
    assert room.row(missing)["holds"] == "" and room.row(one)["cabinet_id"] is None
    assert differences(room.database) == []


@pytest.mark.parametrize(
    ("numbers", "reason", "code"),
    [([], "damage", "misread-number"), (["x"] * 501, "damage", "misread-number"), (["x"], " ", "reason-needed")],
)
def test_what_cannot_be_asked_for_is_refused_as_a_whole(room: Room, numbers: list[str], reason: str, code: str) -> None:
    assert codes(does(room, bring_back_many, numbers, reason)) == [code]


def test_a_station_asks_why_it_is_brought_back_by_choice_or_in_words(room: Room) -> None:
    number = filed(room)
    room.wait(days=1)
    asked = room.scans(number, "filing")
    labels = [each.label for each in asked.choices]
    assert labels == ["To be determined anew", "Damage was seen", "It goes on loan", "Its label is to be changed"]
    assert {each.name for each in asked.choices} == {"reason"} and asked.ask is not None
    done(room.scans(number, "filing", step=Step.BRING_BACK, reason=asked.choices[1].value))
    assert room.log(number)[-1]["reason"] == "Damage was seen"


def _taken_in(room: Room) -> str:
    number = room.new_number()
    done(room.scans(number, "intake", step=Step.TAKE_IN))
    return number
