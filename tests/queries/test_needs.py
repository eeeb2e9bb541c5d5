"""What needs a person: each kind of line, when it appears, and that the worst stands first."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.domain.stages import Step
from app.queries.need import Need
from tests.queries.looking import board_of
from tests.room import Room

SECOND = timedelta(seconds=1)


def _needs(room: Room, after: timedelta = timedelta(0)) -> tuple[Need, ...]:
    return board_of(room, room.now + after).needs


def _kinds(room: Room, after: timedelta = timedelta(0)) -> list[str]:
    return [need.kind for need in _needs(room, after)]


@pytest.mark.parametrize(("apart", "kinds"), [(-SECOND, []), (0 * SECOND, []), (SECOND, ["mounted-too-long"])])
def test_a_glued_sheet_needs_a_person_after_an_hour(room: Room, apart: timedelta, kinds: list[str]) -> None:
    room.sheet_mounted()
    assert _kinds(room, timedelta(hours=1) + apart) == kinds


def test_a_line_names_the_sheet_and_links_to_it(room: Room) -> None:
    number = room.sheet_mounted()
    need = _needs(room, timedelta(hours=2))[0]
    assert (need.subject, need.what, need.since) == ("TQX 000001·N", "glued, and not under weight", room.now)
    assert (need.do, need.href_kind, need.href_id) == ("where seen", "sheet", number)


@pytest.mark.parametrize(("apart", "kinds"), [(0 * SECOND, []), (SECOND, ["weights-off"])])
def test_a_stack_with_sheets_needs_its_weights_after_an_hour(room: Room, apart: timedelta, kinds: list[str]) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    assert _kinds(room, timedelta(hours=1) + apart) == kinds


def test_a_sheet_found_out_of_its_stack_needs_a_person_at_once(room: Room) -> None:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=3)
    room.scans(number, "press", step=Step.TAKE_OUT, already_done=True)
    assert _kinds(room) == ["out-early"]
    assert _kinds(room, timedelta(hours=5)) == ["out-early"]


def test_a_take_out_called_in_question_says_how_much_it_was_short(room: Room) -> None:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=23)
    off = room.now
    room.wait(hours=2)
    room.weights("off", "P1")
    room.wait(minutes=1)
    room.takes_out(number)
    room.wait(hours=1)
    room.scans(room.code("off", "P1"), who="hedda", manages=True, happened_at=off, reason="from the paper log")
    need = next(each for each in _needs(room) if each.kind == "called-in-question")
    assert (need.href_id, need.what) == (number, "came out 1 h short, by what is known now")


@pytest.mark.parametrize(("apart", "kinds"), [(0 * SECOND, []), (SECOND, ["ready-forgotten"])])
def test_what_was_ready_two_open_days_ago_is_forgotten(room: Room, apart: timedelta, kinds: list[str]) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.weights("on", "P1")
    # Ready on Thursday at 9:00; two open days later it is Monday at 9:00.
    assert _kinds(room, timedelta(days=5) + apart) == kinds
    if kinds:
        need = _needs(room, timedelta(days=5) + apart)[0]
        assert (need.subject, need.since) == ("Stack P1", room.now + timedelta(days=1))


def test_a_sheet_mounted_against_a_rule_waits_for_the_manager(room: Room) -> None:
    number = room.sheet_ready(label=False)
    room.scans(number, "table-1", step=Step.MOUNT, already_done=True)
    need = _needs(room)[0]
    assert (need.kind, need.href_id, need.what, need.since) == (
        "against-a-rule",
        number,
        "mounted against a rule",
        room.now,
    )


def test_a_sheet_that_is_not_found_is_looked_for(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "not-found"}, reason="cabinet check")
    assert _kinds(room) == ["not-found"]
    room.wait(minutes=1)
    room.scans(number, "table-1")
    assert _kinds(room) == []


def test_a_count_that_differs_is_checked(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.weights("on", "P1", facts={"counted": 3})
    need = _needs(room)[0]
    assert (need.kind, need.what, need.href_kind, need.href_id) == (
        "count-differs",
        "3 counted, 1 by the log",
        "stack",
        "P1",
    )


def test_entries_dated_after_now_are_named(room: Room) -> None:
    number = room.sheet_ready()
    kinds = [(need.kind, need.href_id) for need in _needs(room, -timedelta(hours=1))]
    assert kinds == [("after-now", number)] * 2


def test_a_few_stalled_sheets_stand_singly_and_many_as_a_place(room: Room) -> None:
    numbers = [room.sheet_ready() for _ in range(3)]
    late = timedelta(days=100)
    assert [need.href_id for need in _needs(room, late)] == numbers
    room.sheet_ready()
    need = _needs(room, late)[0]
    assert (need.subject, need.what) == ("M1, ready for mounting", "4 sheets wait for mounting too long")
    assert (need.href_kind, need.href_id, need.stage, need.since) == ("cabinet", "M1", "ready-for-mounting", room.now)


def test_more_than_a_dozen_of_a_kind_are_told_as_a_number(room: Room) -> None:
    for _ in range(15):
        room.sheet_mounted()
    needs = _needs(room, timedelta(hours=2))
    assert len(needs) == 13 and needs[-1].subject == "3 more"
    assert (needs[-1].href_kind, needs[-1].href_id) == ("stage", "mounted")


def test_the_worst_stands_first(room: Room) -> None:
    room.sheet_ready()
    room.scans(room.sheet_ready(), who="hedda", step=Step.PUT_HOLD, facts={"hold": "not-found"}, reason="cabinet check")
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.weights("on", "P1", facts={"counted": 2})
    room.weights("off", "P2")
    room.sheet_in("P2")
    room.sheet_mounted()
    assert _kinds(room, timedelta(days=100)) == [
        "mounted-too-long", "weights-off", "ready-forgotten", "not-found", "count-differs", "stalled", "stalled",
    ]  # fmt: skip
