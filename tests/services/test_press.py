"""The press by scans: what came to it wrong, how long each sheet stays, and who may shorten it."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.domain.stages import Step
from tests.room import Room
from tests.services.days import card, codes, differences, done, minutes_left, pressed

SECOND, MINUTE, HOUR = timedelta(seconds=1), timedelta(minutes=1), timedelta(hours=1)


# -- what came to the press wrong ---------------------------------------------------------------------------------
def test_a_glued_sheet_whose_mount_was_never_scanned_is_written_as_it_is_and_laid_in(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    room.weights("off", "P1")
    asked = room.scans(number, "press", stack="P1")
    assert asked.kind == "which-one" and asked.lines == ("Just glued? By whom?",)
    assert [choice.label for choice in asked.choices][0] == "Olwen Tarrant", "whoever took it up is offered first"
    laid = done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", already_done=True,
                           facts={"glued_by": asked.choices[0].value}))  # fmt: skip
    assert laid.word == "Put under weight."
    mount, lay = room.log(number)[-2:]
    assert (mount["step"], mount["after_the_fact"], lay["step"]) == ("mount", True, "put-under-weight")
    assert room.row(number)["holds"] == "", "it had been taken up: no rule was broken"
    assert differences(room.database) == []


def test_one_that_was_never_taken_up_is_laid_in_all_the_same_and_held(room: Room) -> None:
    number = room.sheet_ready()
    room.weights("off", "P1")
    done(
        room.scans(
            number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", already_done=True, facts={"glued_by": "W03"}
        )
    )
    assert room.stage(number) == "under-press" and room.row(number)["holds"] == "against-a-rule"
    assert room.row(number)["mounted_by"] == [room.worker["piet"]]


def test_the_badge_of_whoever_glued_it_answers_the_question(room: Room) -> None:
    number = room.sheet_ready()
    room.weights("off", "P1")
    assert room.scans(number, "press", stack="P1").kind == "which-one"
    assert done(room.scans(room.code("badge", "piet"), "press")).word == "Put under weight."
    assert room.row(number)["mounted_by"] == [room.worker["piet"]]
    who_laid_it = [row["step"] for row in room.log(number)][-2:]
    assert who_laid_it == ["mount", "put-under-weight"]


def test_a_sheet_found_outside_its_stack_is_never_dry_and_keeps_the_time_to_the_last_sighting(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=3)
    done(room.weights("on", "P1"))  # the round at noon: seen on
    room.wait(hours=30)
    out = done(room.scans(number, "press", step=Step.TAKE_OUT, already_done=True))
    assert out.step == "found-out" and room.stage(number) == "mounted"
    room.weights("off", "P2")
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P2"))
    assert minutes_left(room.takes_out(number)) == 21 * 60
    assert room.row(number)["minimum_s"] == 24 * 3600 and differences(room.database) == []


def test_weights_found_off_on_monday_count_only_to_the_last_time_they_were_seen_on(room: Room) -> None:
    number = pressed(room)
    room.wait(days=2, hours=1)  # Friday 10:00, the closing round
    done(room.scans(room.code("on", "P1"), "press"))
    other = pressed(room, "P2")
    room.wait(days=2, hours=23)  # Monday 9:00
    done(room.scans(card("round"), "press"))
    found = done(room.scans(room.code("off", "P1"), "press"))
    assert "last time anybody saw its weights on" in found.lines[0]
    done(room.scans(room.code("off", "P2"), "press"))
    assert room.takes_out(number).kind == "done"
    assert minutes_left(room.takes_out(other)) == 24 * 60
    assert differences(room.database) == []


def test_weights_found_on_that_nobody_told_of_count_from_now(room: Room) -> None:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.wait(days=3)
    done(room.scans(card("round"), "press"))
    done(room.scans(room.code("on", "P1"), "press"))
    room.wait(minutes=1)
    done(room.scans(card("round"), "press"))
    room.wait(hours=23, minutes=58)
    done(room.weights("off", "P1"))
    assert minutes_left(room.takes_out(number)) == 1


def test_a_held_back_scan_of_a_station_never_adds_time_but_the_manager_may_write_it_in(room: Room) -> None:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    told = room.now
    room.wait(hours=25)
    done(room.weights("on", "P1", happened_at=told, held=1))
    done(room.weights("off", "P1"))
    assert minutes_left(room.takes_out(number)) == 24 * 60
    for side, when in (("on", told + MINUTE), ("off", told + 25 * HOUR)):
        done(room.scans(room.code(side, "P1"), "press", happened_at=when, manages=True, who="hedda"))
    assert room.takes_out(number).kind == "done" and differences(room.database) == []


# -- time and rule ------------------------------------------------------------------------------------------------
def test_a_sheet_moved_to_another_stack_takes_its_time_and_its_rule_along(room: Room) -> None:
    number = pressed(room, adhesive="paste")
    room.wait(hours=30)
    room.weights("off", "P1")
    room.weights("off", "P2")
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P2"))
    done(room.weights("on", "P2"))
    room.wait(hours=17, minutes=59)
    room.weights("off", "P2")
    assert minutes_left(room.takes_out(number)) == 1
    assert room.row(number)["minimum_s"] == 48 * 3600


def test_a_new_gluing_starts_at_nothing(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=24)
    room.weights("off", "P1")
    done(room.takes_out(number))
    room.wait(minutes=5)
    done(room.scans(number, "inspection", step=Step.RE_GLUE, facts={"adhesive": "straps"}))
    assert room.row(number)["minimum_s"] is None
    room.weights("off", "P1")
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
    assert minutes_left(room.takes_out(number)) == 2 * 60


# Hours by class and a day more for bulky sheets: common practice, no source (design of the house rules' defaults).
@pytest.mark.parametrize(
    ("facts", "hours"),
    [({"adhesive": "pva"}, 24), ({"adhesive": "paste"}, 48), ({"adhesive": "mc"}, 48), ({"adhesive": "straps"}, 2),
     ({"adhesive": "pva", "bulk": "bulky"}, 48), ({"adhesive": "straps", "bulk": "bulky"}, 26),
     ({"adhesive": "not on the list"}, 48), ({"adhesive": "not on the list", "bulk": "bulky"}, 72)],
)  # fmt: skip
@pytest.mark.parametrize(("seconds", "may"), [(-1, False), (0, True), (1, True)])
def test_it_may_come_out_exactly_at_its_minimum(
    room: Room, facts: dict[str, str], hours: int, seconds: int, may: bool
) -> None:
    number = pressed(room, **facts)
    room.wait(hours=hours, seconds=seconds)
    done(room.weights("off", "P1"))
    answer = room.takes_out(number)
    assert (answer.kind == "done") is may
    if not may:
        assert codes(answer) == ["too-early"] and minutes_left(answer) == 1


# Two hours without weights before half the time: common practice, no source.
@pytest.mark.parametrize(("gap", "marked"), [(2 * HOUR - SECOND, False), (2 * HOUR, False), (2 * HOUR + SECOND, True)])
def test_a_long_gap_before_half_its_time_marks_a_sheet_as_set_without_weight(
    room: Room, gap: timedelta, marked: bool
) -> None:
    number = pressed(room)
    room.wait(hours=11, minutes=59)
    room.weights("off", "P1")
    room.wait(seconds=gap.total_seconds())
    done(room.weights("on", "P1"))
    room.wait(hours=12, minutes=1)
    room.weights("off", "P1")
    answer = done(room.takes_out(number))
    assert room.row(number)["without_weight"] is marked
    assert ("set without weight" in answer.next) is marked


def test_a_long_gap_after_half_its_time_does_not(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=12)
    room.weights("off", "P1")
    room.wait(hours=9)
    room.weights("on", "P1")
    room.wait(hours=12)
    room.weights("off", "P1")
    done(room.takes_out(number))
    assert room.row(number)["without_weight"] is False


# -- who may shorten it -------------------------------------------------------------------------------------------
def test_only_the_manager_lets_a_sheet_out_early_with_a_reason_and_it_is_marked_for_good(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=23)
    room.weights("off", "P1")
    assert codes(room.takes_out(number, early=True, reason="it is wanted")) == ["manager-only"]
    assert codes(room.takes_out(number, early=True, who="rosamund", reason="it is wanted")) == ["manager-only"]
    assert codes(room.takes_out(number, early=True, who="hedda")) == ["reason-needed"]
    assert codes(room.takes_out(number, early=True, who="hedda", reason="  ")) == ["reason-needed"]
    done(room.takes_out(number, early=True, who="hedda", reason="it is wanted"))
    entry = room.log(number)[-1]
    assert entry["early_by_s"] == 3600 and entry["reason"] == "it is wanted"
    assert differences(room.database) == []


def test_a_release_that_was_not_early_bears_no_mark(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=24)
    room.weights("off", "P1")
    done(room.takes_out(number, early=True, who="hedda", reason="it is wanted"))
    assert room.log(number)[-1]["early_by_s"] is None


def test_nothing_is_taken_out_while_the_clock_is_in_doubt(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=25)
    room.weights("off", "P1")
    assert codes(room.takes_out(number, clock_doubtful=True)) == ["clock-doubtful"]
    assert room.takes_out(number).kind == "done"
