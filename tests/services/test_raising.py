"""A raised time under weight and the sheets lying there: longer by their log, never shorter, and only if somebody says so."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.db.engine import reading, transaction
from app.db.lying import lying_shorter
from app.db.rules import room_house
from app.domain.answer import Answer
from app.domain.house import ONE_PERSON
from app.domain.stages import Step
from app.queries.house import house_now
from app.queries.people import changes
from app.services.audit import in_question
from app.services.calendar import set_weekdays
from app.services.desk import ScanRequest
from app.services.presets import set_one_person_room
from app.services.raising import hold_for_lying, keep_as_laid
from app.services.regluing import put_gluing_right
from app.services.room import set_house_rule
from app.services.scanning import once
from tests.queries.looking import page_of
from tests.queries.plans import full_scans, plans_of
from tests.room import Room
from tests.services.days import codes, differences, done, pressed

HOUR = 3600


def raised(room: Room, hours: int, name: str = "press_pva_h") -> int:
    with transaction(room.database) as session:
        return set_house_rule(session, name, hours, "lifted leaves", room.now, by=room.worker["hedda"])


def holds(room: Room, version: int, name: str = "press_pva_h", *, who: str = "hedda", scan_id: str = "",
          reason: str = "lifted leaves") -> Answer:  # fmt: skip
    request = ScanRequest(
        scan_id or room.next_id(), name, worker_ids=(room.worker[who],), reason=reason, manages=who == "hedda"
    )
    with transaction(room.database) as session:
        return once(
            session, request, room.occasion, lambda desk: hold_for_lying(desk, name, version), f"longer {version}"
        )


def shorter(room: Room, name: str = "press_pva_h") -> list[str]:
    with reading(room.database) as session:
        return [each.number for each in lying_shorter(session, name)]


def minimum(room: Room, number: str) -> tuple[float, int]:
    row = room.row(number)
    return row["minimum_s"] / HOUR, row["rule_version"]


def test_sheets_lying_there_lie_longer_once_somebody_says_so(room: Room) -> None:
    pva, bulky, paste = (room.sheet_in("P1", **facts) for facts in ({}, {"bulk": "bulky"}, {"adhesive": "paste"}))
    room.weights("on", "P1")
    version = raised(room, 30)
    assert [minimum(room, each)[0] for each in (pva, bulky, paste)] == [24, 48, 48], (
        "a raised rule alone changes no sheet"
    )
    assert shorter(room) == [pva, bulky]
    answer = done(holds(room, version))
    assert "2 sheets" in answer.lines[0]
    assert [minimum(room, each) for each in (pva, bulky, paste)] == [(30, version), (54, version), (48, 0)]
    assert shorter(room) == [] and differences(room.database) == []


def test_a_sheet_made_longer_comes_out_by_the_longer_time_and_not_before(room: Room) -> None:
    number = pressed(room)
    room.wait(hours=23)
    holds(room, raised(room, 30))
    room.wait(hours=6, minutes=59)
    room.weights("off", "P1")
    assert codes(room.takes_out(number)) == ["too-early"]
    room.weights("on", "P1")
    room.wait(minutes=1)
    room.weights("off", "P1")
    done(room.takes_out(number))
    assert differences(room.database) == []


def test_the_entry_says_who_why_and_from_what_to_what(room: Room) -> None:
    number = pressed(room)
    version = raised(room, 30)
    room.wait(minutes=5)
    done(holds(room, version, reason="the new jar sets slowly"))
    entry = room.log(number)[-1]
    assert (entry["step"], entry["reason"], entry["minimum_s"]) == ("restate", "the new jar sets slowly", 30 * HOUR)
    said = page_of(room, number).log[-1].sentence
    assert "time under weight made longer by Hedda Brackwater, to lie 30 h instead of 24 h." in said
    assert "Reason: the new jar sets slowly." in said
    with reading(room.database) as session:
        line = changes(session, limit=1)[0]
    assert (line.subject, line.what, line.new, line.why) == (
        "sheets under press", "press_pva_h", "30 h, for 1 sheet lying there too", "the new jar sets slowly")  # fmt: skip


def test_raised_twice_without_an_answer_asks_for_the_last(room: Room) -> None:
    number = pressed(room)
    first = raised(room, 30)
    second = raised(room, 40)
    with pytest.raises(ValueError, match="changed meanwhile"):
        holds(room, first)
    assert minimum(room, number) == (24, 0)
    done(holds(room, second))
    assert minimum(room, number) == (40, second)


def test_raised_and_answered_twice_goes_up_twice(room: Room) -> None:
    number = pressed(room)
    done(holds(room, raised(room, 30)))
    done(holds(room, version := raised(room, 40)))
    assert minimum(room, number) == (40, version) and room.steps(number)[-2:] == ["restate", "restate"]
    assert differences(room.database) == []


def test_raised_and_lowered_again_never_makes_anything_shorter(room: Room) -> None:
    number = pressed(room)
    longer = raised(room, 40)
    done(holds(room, longer))
    version = raised(room, 30)
    assert shorter(room) == []
    with pytest.raises(ValueError, match="No sheet lies"):
        holds(room, version)
    assert minimum(room, number) == (40, longer)


def test_the_same_press_of_the_button_writes_once(room: Room) -> None:
    number = pressed(room)
    version = raised(room, 30)
    first = done(holds(room, version, scan_id="the-same"))
    assert holds(room, version, scan_id="the-same") == first
    assert room.steps(number).count("restate") == 1


def test_what_was_taken_out_meanwhile_is_left_as_it_is(room: Room) -> None:
    out, stays = room.sheet_in("P1"), room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=25)
    version = raised(room, 30)
    assert shorter(room) == [out, stays]
    room.weights("off", "P1")
    done(room.takes_out(out))
    assert "1 sheet " in done(holds(room, version)).lines[0]
    assert minimum(room, out) == (24, 0) and minimum(room, stays) == (30, version)
    assert room.steps(out)[-1] == "take-out" and differences(room.database) == []


def test_a_sheet_moved_to_another_stack_or_found_out_of_it_lies_longer_too(room: Room) -> None:
    moved, strayed = room.sheet_in("P1"), room.sheet_in("P1")
    done(room.scans(moved, "press", step=Step.PUT_UNDER_WEIGHT, stack="P2"))
    done(room.scans(strayed, "press", step=Step.FOUND_OUT))
    done(holds(room, version := raised(room, 30)))
    done(room.scans(strayed, "press", step=Step.PUT_UNDER_WEIGHT, stack="P2"))
    assert minimum(room, moved) == minimum(room, strayed) == (30, version)
    assert differences(room.database) == []


def test_a_sheet_withdrawn_from_the_press_is_asked_nothing(room: Room) -> None:
    number = pressed(room)
    done(room.scans(number, step=Step.WITHDRAW, who="hedda", reason="sent in exchange"))
    raised(room, 30)
    assert shorter(room) == []


def test_one_sheet_can_be_taken_back_to_the_old_time(room: Room) -> None:
    number, other = room.sheet_in("P1"), room.sheet_in("P1")
    version = raised(room, 30)
    done(holds(room, version))
    room.takes_back(room.log(number)[-1]["id"], "this one was glued with the old jar")
    assert minimum(room, number) == (24, 0) and minimum(room, other) == (30, version)
    assert differences(room.database) == []


def test_the_whole_answer_can_be_undone_at_once_and_asked_again(room: Room) -> None:
    numbers = [room.sheet_in("P1"), room.sheet_in("P1")]
    version = raised(room, 30)
    done(holds(room, version))
    entry = room.log(numbers[0])[-1]["id"]
    done(room.undoes(entry, "press", worker_ids=(room.worker["hedda"],), manages=True))
    assert [minimum(room, each) for each in numbers] == [(24, 0), (24, 0)]
    assert shorter(room) == numbers and differences(room.database) == []


def test_undone_after_the_sheet_came_out_leaves_nothing_in_question(room: Room) -> None:
    number = pressed(room)
    done(holds(room, raised(room, 30)))
    room.wait(hours=31)
    room.weights("off", "P1")
    done(room.takes_out(number))
    room.takes_back(room.log(number)[-2]["id"], "not the slow glue after all")
    assert room.stage(number) == "under-press" and minimum(room, number) == (24, 0)
    assert differences(room.database) == []


def test_a_card_that_comes_late_is_held_against_the_longer_time(room: Room) -> None:
    number = pressed(room)
    done(holds(room, raised(room, 30)))
    began = room.now
    room.wait(hours=31)
    room.weights("off", "P1")
    done(room.takes_out(number))
    late = {"manages": True, "who": "hedda"}
    done(room.scans(room.code("off", "P1"), "press", happened_at=began + timedelta(hours=3), **late))
    done(room.scans(room.code("on", "P1"), "press", happened_at=began + timedelta(hours=5), **late))
    # 31 h in the stack, 2 of them without weights: 29 of 30, an hour short; by the old 24 nothing would be.
    with reading(room.database) as session:
        assert [(each.number, each.short_s) for each in in_question(session)] == [(number, HOUR)]
    assert differences(room.database) == []


def test_a_gluing_put_right_afterwards_goes_by_the_version_that_holds_for_it_now(room: Room) -> None:
    number = pressed(room)
    version = raised(room, 30)
    done(holds(room, version))
    raised(room, 100)
    request = ScanRequest(room.next_id(), number, worker_ids=(room.worker["rosamund"],), reason="it is bulky")
    with transaction(room.database) as session:
        done(once(session, request, room.occasion, lambda desk: put_gluing_right(desk, "pva", "bulky"), "gluing"))
    assert minimum(room, number) == (54, version)


@pytest.mark.parametrize(
    ("who", "reason", "code"), [("rosamund", "why not", "manager-only"), ("hedda", "  ", "reason-needed")]
)
def test_it_is_the_managers_with_a_reason(room: Room, who: str, reason: str, code: str) -> None:
    number = pressed(room)
    version = raised(room, 30)
    assert codes(holds(room, version, who=who, reason=reason)) == [code]
    assert minimum(room, number) == (24, 0)


def test_a_clock_that_stands_behind_writes_nothing_of_any_sheet(room: Room) -> None:
    number = pressed(room)
    version = raised(room, 30)
    room.wait(hours=-2)
    assert codes(holds(room, version)) == ["clock-behind"]
    assert minimum(room, number) == (24, 0) and room.steps(number)[-1] == "put-under-weight"


def test_that_they_keep_the_old_time_is_written_down_and_changes_no_sheet(room: Room) -> None:
    number = pressed(room)
    raised(room, 30)
    with transaction(room.database) as session:
        assert keep_as_laid(session, "press_pva_h", " ", room.now, by=room.worker["hedda"]) == 1
        assert keep_as_laid(session, "press_paste_h", "", room.now, by=room.worker["hedda"]) == 0
    with reading(room.database) as session:
        line = changes(session, limit=1)[0]
    assert (line.what, line.new, line.by) == (
        "press_pva_h", "1 sheet lying there keeps the old minimum", "Hedda Brackwater")  # fmt: skip
    assert minimum(room, number) == (24, 0) and room.steps(number)[-1] == "put-under-weight"


def test_the_sheets_lying_there_are_found_without_going_through_all_that_ever_were(room: Room) -> None:
    pressed(room)
    raised(room, 30)
    lines = plans_of(room.database, lambda session: lying_shorter(session, "press_pva_h"))
    assert any("ix_sheet_queue" in line for line in lines)
    assert not full_scans(lines, "sheet", "entry", "layer")


def test_at_least_one_weekday_stays_open(room: Room) -> None:
    names = ["open_monday", "open_tuesday", "open_wednesday", "open_thursday"]
    with transaction(room.database) as session:
        for name in names:
            set_house_rule(session, name, 0, "short week", room.now)
        with pytest.raises(ValueError, match="At least one weekday"):
            set_house_rule(session, "open_friday", 0, "holidays", room.now)
        set_house_rule(session, "open_friday", 1, "it is", room.now)
        set_house_rule(session, "open_saturday", 0, "as before", room.now)
        assert room_house(session)[0].open_weekdays == {4}


def test_the_one_open_weekday_can_be_exchanged_for_another(room: Room) -> None:
    with transaction(room.database) as session:
        set_weekdays(session, {0}, "Mondays only", room.now)
        assert set_weekdays(session, {3}, "Thursdays from now on", room.now) == 2
        assert room_house(session)[0].open_weekdays == {3}


def test_a_one_person_room_is_set_with_one_reason_and_once(room: Room) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, "inspect_before_filing", 0, "in a hurry", room.now)
        with pytest.raises(ValueError, match="Say why"):
            set_one_person_room(session, " ", room.now)
        assert set_one_person_room(session, "Hedda is alone", room.now, by=room.worker["hedda"]) == 3
        assert set_one_person_room(session, "once more", room.now) == 0
    with reading(room.database) as session:
        house = house_now(session)
        said = changes(session, limit=3)
    assert {name: int(getattr(house, name)) for name in ONE_PERSON} == {
        "inspect_before_filing": 1, "not_own_work": 0, "own_work_next_day": 1, "sign_offs": 0}  # fmt: skip
    assert {line.why for line in said} == {"Hedda is alone"}


def test_alone_in_the_room_one_passes_ones_own_sheet_on_the_next_day(room: Room) -> None:
    with transaction(room.database) as session:
        set_one_person_room(session, "Olwen is alone", room.now)
    number = pressed(room, adhesive="straps")
    room.wait(hours=3)
    room.weights("off", "P1")
    done(room.takes_out(number))
    passed = {"step": Step.INSPECT, "facts": {"outcome": "passed"}, "who": "olwen"}
    refused = room.scans(number, "inspection", **passed)
    assert codes(refused) == ["own-work"] and refused.kind == "not-yet"
    room.wait(hours=24)
    done(room.scans(number, "inspection", **passed))
    assert room.row(number)["outcome"] == "passed"
