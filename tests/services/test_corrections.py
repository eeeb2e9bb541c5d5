"""Taking back: only the last that stands, by whom and until when, and everything that follows from it with it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from app.db.engine import reading
from app.db.models import Hold, Inspection, Layer, TallyDay, WeightSpan
from app.domain.stages import Step
from tests.room import Room
from tests.services.days import codes, differences, done, minutes_left, pressed


def last(room: Room, number: str) -> int:
    return int(room.log(number)[-1]["id"])


def rows(room: Room, model: Any) -> int:
    with reading(room.database) as session:
        return len(session.execute(select(model)).scalars().all())


def by_manager(room: Room) -> dict[str, Any]:
    return {"worker_ids": (room.worker["hedda"],), "manages": True}


# -- undo ---------------------------------------------------------------------------------------------------------
def test_undo_takes_back_the_last_entry_and_says_where_the_sheet_belongs(room: Room) -> None:
    number = room.sheet_ready()
    done(room.scans(number, "table-1", step=Step.TAKE_UP))
    before = room.row(number)
    done(room.scans(number, "table-1", step=Step.MOUNT))
    answer = done(room.undoes(last(room, number)))
    assert answer.word == "Undone." and "Mounting table 1" in answer.next
    after = room.row(number)
    assert {**after, "version": 0} == {**before, "version": 0}
    correction = room.log(number)[-1]
    assert (correction["step"], correction["reason"]) == ("correct", "wrong sheet")
    assert differences(room.database) == []


def test_the_log_keeps_both_the_wrong_entry_and_its_correction(room: Room) -> None:
    number = room.sheet_mounted()
    wrong = last(room, number)
    done(room.undoes(wrong))
    assert [entry["step"] for entry in room.log(number)][-2:] == ["mount", "correct"]
    assert room.log(number)[-1]["corrects"] == wrong


def test_an_earlier_entry_is_not_undone_alone(room: Room) -> None:
    number = room.sheet_mounted()
    assert codes(room.undoes(room.log(number)[-2]["id"])) == ["not-last"]
    assert room.stage(number) == "mounted"


def test_a_correction_is_not_corrected_and_nothing_is_taken_back_twice(room: Room) -> None:
    number = room.sheet_mounted()
    wrong = last(room, number)
    done(room.undoes(wrong))
    assert codes(room.undoes(last(room, number))) == ["not-last"]
    assert codes(room.undoes(wrong)) == ["already-corrected"]
    assert codes(room.undoes(99_999)) == ["not-last"]
    assert room.stage(number) == "ready-for-mounting"


def test_somebody_elses_scan_is_left_to_them_or_to_the_manager(room: Room) -> None:
    number = room.sheet_mounted()
    assert codes(room.undoes(last(room, number), "table-2")) == ["manager-only"]
    done(room.undoes(last(room, number), "table-2", **by_manager(room)))
    assert room.stage(number) == "ready-for-mounting"


# The day is the room's own: 23:30 and 0:30 on either side of its midnight (Europe/London is UTC in November).
@pytest.mark.parametrize(("hours", "may"), [(14.99, True), (15, False), (15.5, False)])
def test_a_scan_is_undone_on_the_day_on_which_it_was_made(room: Room, hours: float, may: bool) -> None:
    number = room.sheet_mounted()
    room.wait(hours=hours)
    answer = room.undoes(last(room, number))
    assert (answer.kind == "done") is may
    assert may or codes(answer) == ["undo-too-late"]
    assert may or room.undoes(last(room, number), **by_manager(room)).kind == "done"


def test_what_one_scan_wrote_is_taken_back_together(room: Room) -> None:
    number = room.sheet_ready()
    room.weights("off", "P1")
    facts = {"glued_by": "W02"}
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", already_done=True, facts=facts))
    answer = done(room.undoes(last(room, number), "press"))
    assert "2 entries" in answer.lines[0]
    assert room.stage(number) == "ready-for-mounting" and rows(room, Layer) == 0
    assert differences(room.database) == []


def test_the_taking_in_of_a_sheet_can_be_taken_back(room: Room) -> None:
    number = room.new_number()
    done(room.scans(number, "intake", step=Step.TAKE_IN))
    answer = done(room.undoes(last(room, number), "intake"))
    assert answer.next == "By the log it has never been taken in."
    assert room.row(number)["stage"] is None and not room.row(number)["in_queue"]
    assert differences(room.database) == []
    done(room.scans(number, "intake", step=Step.TAKE_IN))
    assert room.stage(number) == "intake"


def test_holds_stays_inspections_and_sums_go_with_what_is_taken_back(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=24)
    room.weights("off", "P1")
    done(room.takes_out(number))
    done(room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "to-be-mended"}))
    assert room.row(number)["holds"] == "to-be-repaired" and (rows(room, Hold), rows(room, Inspection)) == (1, 1)
    done(room.undoes(last(room, number), "inspection"))
    assert room.row(number)["holds"] == "" and (rows(room, Hold), rows(room, Inspection)) == (0, 0)
    with reading(room.database) as session:
        kept = session.execute(select(TallyDay.sheets).where(TallyDay.step == "inspect")).scalars().all()
    assert kept == [0] and differences(room.database) == []


def test_a_take_out_that_is_taken_back_leaves_the_sheet_in_its_layer_with_its_time(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=24)
    room.weights("off", "P1")
    layer = room.row(number)["layer"]
    done(room.takes_out(number))
    done(room.undoes(last(room, number), "press"))
    assert (room.stage(number), room.row(number)["layer"]) == ("under-press", layer)
    assert room.takes_out(number).kind == "done" and differences(room.database) == []


# -- weights ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("seconds", "may"), [(119, True), (120, True), (121, False)])
def test_weights_are_undone_within_two_minutes_only(room: Room, seconds: int, may: bool) -> None:
    number = pressed(room)
    room.wait(hours=1)
    off = done(room.weights("off", "P1")).entry
    room.wait(seconds=seconds)
    answer = room.undoes(off, "press")
    assert (answer.kind == "done") is may
    if may:
        room.wait(hours=22)
        room.weights("off", "P1")
        assert minutes_left(room.takes_out(number)) == 60 - seconds // 60
    else:
        assert codes(answer) == ["undo-too-late"] and "as you find it now" in answer.next
    assert differences(room.database) == []


def test_weights_are_not_undone_once_a_sheet_was_laid_in_in_the_same_second(room: Room) -> None:
    off = done(room.weights("off", "P1")).entry
    room.sheet_in("P1")
    assert codes(room.undoes(off, "press")) == ["undo-too-late"]
    assert codes(room.undoes(off, "press", **by_manager(room))) == ["undo-too-late"]


def test_undoing_a_count_hours_later_does_not_take_the_weights_back_with_it(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    on = done(room.weights("on", "P1", facts={"counted": 1})).entry
    room.wait(hours=3)
    for entry in (on, on + 1):
        assert codes(room.undoes(entry, "press")) == ["undo-too-late"]
    assert rows(room, WeightSpan) == 1


# -- taking back a tail -------------------------------------------------------------------------------------------
def test_only_the_manager_takes_back_an_earlier_entry_and_everything_after_it(room: Room) -> None:
    number = pressed(room)
    take_up = room.log(number)[2]["id"]
    assert codes(room.takes_back(take_up, "wrong sheet", who="olwen")) == ["manager-only"]
    assert codes(room.takes_back(take_up, "  ")) == ["reason-needed"]
    answer = done(room.takes_back(take_up, "it was the sheet beside it"))
    assert "3 entries" in answer.lines[0]
    assert room.stage(number) == "ready-for-mounting" and room.row(number)["shelf_id"] is not None
    corrections = [entry for entry in room.log(number) if entry["corrects"]]
    assert {entry["reason"] for entry in corrections} == {"it was the sheet beside it"}
    assert differences(room.database) == []


def test_what_really_happened_is_then_written_as_late_entries(room: Room) -> None:
    number = room.sheet_mounted()
    began = room.now
    room.wait(hours=5)
    done(room.takes_back(last(room, number), "it was mounted at the other table"))
    late = {
        "happened_at": began + timedelta(minutes=20),
        "manages": True,
        "who": "piet",
        "facts": {"adhesive": "paste"},
    }
    done(room.scans(number, "table-1", step=Step.MOUNT, **late))
    entry = room.log(number)[-1]
    assert entry["is_late"] and entry["time_from"] == "manager" and entry["happened_at"] < entry["recorded_at"]
    assert differences(room.database) == []
