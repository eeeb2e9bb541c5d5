"""Duplicates set free to go in exchange, kept after all, and sent away in one act."""

from __future__ import annotations

from typing import Any

import pytest

from app.db.engine import reading, transaction
from app.domain.answer import Answer
from app.domain.stages import Step
from app.queries.duplicates import free_sheet_ids, free_to_go
from app.services.desk import ScanRequest
from app.services.exchange import SetFree, keep_here, set_free
from app.services.room import add_hazard
from app.services.scanning import once
from app.services.sending import send
from tests.queries.looking import label, wanted
from tests.room import Room
from tests.services.days import differences


def gathered(room: Room, many: int = 2, record: str = "118", **more: Any) -> list[str]:
    """So many specimens of one gathering, ready for mounting."""
    numbers = [room.sheet_ready(**more) for _ in range(many)]
    for number in numbers:
        label(room, number, "Carex binervis", "T. Askerdale", record_number=record, event_date="2024-06-11")
    return numbers


def frees(room: Room, *numbers: str, why: str = "for Brannholt", told: bool = False) -> SetFree:
    with transaction(room.database) as session:
        return set_free(session, numbers, why, room.now, room.worker["rosamund"], told=told)


def keeps(room: Room, *numbers: str) -> SetFree:
    with transaction(room.database) as session:
        return keep_here(session, numbers, "wanted here", room.now, room.worker["rosamund"])


def sends(room: Room, *numbers: str, whom: str = "Brannholt", told: bool = False, who: str = "hedda") -> Answer:
    request = ScanRequest(room.next_id(), "", worker_ids=(room.worker[who],), manages=who == "hedda")
    with transaction(room.database) as session:
        return once(
            session, request, room.occasion, lambda desk: send(desk, numbers, whom, told=told), f"send {numbers}"
        )


def free(room: Room) -> list[str]:
    with reading(room.database) as session:
        return [line.number for line in free_to_go(session)]


def test_one_is_set_free_and_the_other_stays(room: Room) -> None:
    one, two = gathered(room)
    assert frees(room, one) == SetFree((one,), ())
    assert free(room) == [one]
    refused = frees(room, two)
    assert refused.done == () and "no other specimen of its gathering would stay" in refused.left[0][1]
    assert "free already" in frees(room, one).left[0][1]
    assert differences(room.database) == []


def test_both_at_once_leave_one(room: Room) -> None:
    one, two = gathered(room)
    assert frees(room, one, two).done == (one,)


def test_without_a_duplicate_a_reason_or_a_number_nothing_is_set_free(room: Room) -> None:
    alone, unnumbered = gathered(room, 1)[0], gathered(room, 2, "s.n.")[0]
    left = dict(frees(room, alone, unnumbered, "nonsense").left)
    assert "would stay here" in left[alone] and "would stay here" in left[unnumbered]
    assert "no sheet here" in left["nonsense"]
    with pytest.raises(ValueError, match="Say why"):
        frees(room, alone, why=" ")
    with pytest.raises(ValueError, match="Tick 1"):
        frees(room)
    assert free(room) == []


def test_a_number_used_on_another_day_is_no_duplicate(room: Room) -> None:
    one, two = gathered(room)
    label(room, two, event_date="2025-06-11")
    assert frees(room, one).done == ()


def test_a_suspected_one_goes_only_when_the_receiver_is_told(room: Room) -> None:
    one, _ = gathered(room)
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, sheet_id=room.row(one)["id"])
    assert "mercury or arsenic" in frees(room, one).left[0][1]
    assert frees(room, one, told=True).done == (one,)
    with reading(room.database) as session:
        line = free_to_go(session)[0]
    assert line.suspected and "the receiver is told" in line.why
    assert "mercury or arsenic" in sends(room, one).lines[1] and room.row(one)["closed_as"] is None
    assert sends(room, one, told=True).kind == "done"


def test_what_another_consignment_carries_is_not_suspected_here(room: Room) -> None:
    """A danger of some other sheet without a consignment says nothing of this one."""
    one, _ = gathered(room)
    other = room.sheet_ready()
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, sheet_id=room.row(other)["id"])
    assert frees(room, one).done == (one,)


def test_kept_here_after_all_it_can_be_joined_like_any(room: Room) -> None:
    one, _ = gathered(room)
    frees(room, one)
    assert room.row(one)["specimen_id"] is not None
    assert keeps(room, one).done == (one,)
    assert free(room) == [] and room.row(one)["specimen_id"] is None
    assert "not free" in keeps(room, one).left[0][1]


def test_all_that_is_free_is_sent_in_one_act(room: Room) -> None:
    numbers = gathered(room, 4)
    wanted(room, numbers[0])
    frees(room, *numbers[:3])
    answer = sends(room, *numbers[:3])
    assert answer.kind == "done" and answer.moved == tuple(numbers[:3])
    for number in numbers[:3]:
        row = room.row(number)
        assert row["closed_as"] == "sent in exchange to Brannholt" and not row["in_queue"] and row["wanted_at"] is None
        assert room.log(number)[-1]["reason"] == "sent in exchange to Brannholt"
    assert len({room.log(number)[-1]["scan_id"] for number in numbers[:3]}) == 1
    assert room.row(numbers[3])["closed_as"] is None and free(room) == []
    assert differences(room.database) == []


def test_all_sheets_of_a_specimen_go_together_or_stay_together(room: Room) -> None:
    one, _ = gathered(room)
    room.scans(one, "table-1", step=Step.TAKE_UP)
    second = room.scans(one, "table-1", step=Step.ANOTHER_SHEET).slip
    frees(room, one)
    stays = sends(room, one)
    assert stays.kind == "stop" and "lies on a table" in stays.lines[1]
    for each in (one, second):
        room.scans(each, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1")
    assert set(sends(room, one).moved) == {one, second}


def test_what_may_not_leave_stays_and_is_named_and_the_others_go(room: Room) -> None:
    numbers = gathered(room, 3)
    frees(room, *numbers[:2])
    room.scans(numbers[0], who="hedda", step=Step.PUT_HOLD, facts={"hold": "quarantine"}, reason="a hole in a leaf")
    answer = sends(room, *numbers[:2], numbers[2])
    assert answer.moved == (numbers[1],)
    assert {each["number"]: each["why"] for each in answer.left} == {
        numbers[0]: "it is held: quarantine.", numbers[2]: "it is not free to go.",
    }  # fmt: skip
    assert room.row(numbers[0])["closed_as"] is None


def test_wet_glue_never_leaves(room: Room) -> None:
    one, _ = gathered(room)
    frees(room, one)
    room.scans(one, "table-1", step=Step.TAKE_UP)
    room.scans(one, "table-1", step=Step.MOUNT)
    assert "lies on a table" in sends(room, one).lines[1]
    room.scans(one, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    assert "is under press" in sends(room, one).lines[1]
    assert room.row(one)["closed_as"] is None


def test_only_the_manager_sends_and_says_to_whom(room: Room) -> None:
    one, _ = gathered(room)
    frees(room, one)
    assert "Only the manager" in sends(room, one, who="rosamund").lines[1]
    assert sends(room, one, whom=" ").refusals[0]["code"] == "reason-needed"
    assert room.row(one)["closed_as"] is None


def test_taken_back_it_is_free_again(room: Room) -> None:
    one, _ = gathered(room)
    frees(room, one)
    sends(room, one)
    entry = room.log(one)[-1]["id"]
    assert room.takes_back(entry, "the parcel came back").kind == "done"
    assert free(room) == [one] and room.row(one)["closed_as"] is None
    with reading(room.database) as session:
        assert free_sheet_ids(session) == [room.row(one)["id"]]
    assert differences(room.database) == []
