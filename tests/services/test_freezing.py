"""Loads in the freezer by scans: what may go in, until when it stays in, when it is opened, and what it then is."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.db.engine import transaction
from app.domain.stages import Step
from app.services import room as rooms
from tests.queries.looking import brought_dry
from tests.room import Room
from tests.services.freezer import Freezers


@pytest.fixture
def freezers(room: Room) -> Freezers:
    return Freezers(room, Deep=-30.0, Kitchen=-18.0)


def test_a_load_goes_through_the_freezer_and_what_was_in_it_is_treated(room: Room, freezers: Freezers) -> None:
    first, second = room.sheet_ready(), brought_dry(room)
    code = freezers.frozen(first, second)
    begun = room.now
    # 24 h until it is cold, 7 days cold: the house's defaults. Florida Museum counts the days from when the load is cold.
    room.wait(days=8, minutes=-1)
    early = room.scans(code, "freezer")
    assert early.kind == "not-yet" and "Leave it in until" in early.next and early.already_done == "It is already out"
    room.wait(minutes=1)
    ready = room.scans(code, "freezer")
    assert ready.word == "Ready." and [choice.value for choice in ready.choices] == ["load-out"]
    assert freezers.comes_out(code).word == "Out of the freezer."
    room.wait(hours=24, minutes=-1)
    assert room.scans(code, "freezer").kind == "not-yet"
    room.wait(minutes=1)
    opened = freezers.opens(code)
    assert opened.word == "Opened." and "counts as treated" in opened.lines[0]
    load = freezers.load(code)
    assert load["treated"] and load["cold_from"] == "reckoned" and load["cold_at"] == begun + timedelta(hours=24)
    for number in (first, second):
        assert room.row(number)["treated_until"] > room.now
        assert room.steps(number)[-2:] == ["freeze", "unbag"]
    assert freezers.differences() == []


def test_a_load_that_came_out_too_early_is_no_treatment_and_says_what_to_do(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    code = freezers.frozen(number)
    room.wait(days=5)
    refused = freezers.comes_out(code)
    assert refused.kind == "not-yet" and freezers.load(code)["out_at"] is None
    out = room.scans(code, "freezer", already_done=True)
    assert out.word == "Out too early." and "Put it back at once" in out.next
    again = room.scans(code, "freezer")
    assert again.kind == "stop" and "no treatment" in again.lines[0]
    back = room.scans(freezers.code(), "freezer")
    assert back.word == "In the freezer." and freezers.load(code)["out_at"] is None
    assert freezers.load(code)["cold_at"] == room.now + timedelta(hours=24)
    room.wait(days=3)
    room.scans(code, "freezer", already_done=True)
    room.wait(hours=24)
    assert "not a treatment" in freezers.opens(code).lines[0]
    assert room.row(number)["treated_until"] is None and freezers.load(code)["treated"] is False
    assert freezers.differences() == []


def test_a_bag_that_was_opened_before_it_was_warm_is_no_treatment(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    code = freezers.frozen(number)
    room.wait(days=8)
    freezers.comes_out(code)
    room.wait(hours=23, minutes=59)
    assert freezers.opens(code).kind == "not-yet"
    assert "not a treatment" in room.scans(code, "freezer", already_done=True).lines[0]
    assert room.row(number)["treated_until"] is None


# At -30 C three days are enough (Naturalis, 72 hours, NHCOLL-L, 30 April 2018); -18 C is warmer than either rule asks.
def test_the_freezer_says_which_rule_holds_and_a_warm_one_counts_only_by_its_logger(
    room: Room, freezers: Freezers
) -> None:
    deep, warm = freezers.begins(room.sheet_ready()), freezers.begins(room.sheet_ready())
    freezers.goes_in(deep, "Deep")
    said = freezers.goes_in(warm, "Kitchen")
    assert "does not get that cold" in " ".join(said.lines)
    room.wait(days=4, minutes=-1)
    assert freezers.comes_out(deep).kind == "not-yet"
    room.wait(minutes=1)
    assert freezers.comes_out(deep).word == "Out of the freezer."
    assert freezers.load(deep)["rule_days"] == 3 and freezers.load(deep)["rule_c"] == -30
    room.wait(days=30)
    assert freezers.comes_out(warm).kind == "not-yet"
    assert "not-cold" in {each["code"] for each in room.scans(warm, "freezer", facts={"reading_c": "-19"}).refusals}
    assert room.scans(warm, "freezer", facts={"reading_c": "−21 °C"}).word == "Cold."
    room.wait(days=7)
    assert freezers.comes_out(warm).word == "Out of the freezer."


def test_a_logger_may_say_sooner_that_it_is_cold(room: Room, freezers: Freezers) -> None:
    code = freezers.frozen(room.sheet_ready())
    room.wait(hours=6)
    assert room.scans(code, "freezer", facts={"reading_c": "-20.5"}).word == "Cold."
    room.wait(days=7, minutes=-1)
    assert freezers.comes_out(code).kind == "not-yet"
    room.wait(minutes=1)
    assert freezers.comes_out(code).word == "Out of the freezer."
    assert freezers.load(code)["cold_from"] == "logger" and freezers.load(code)["lowest_c"] == -20.5


def test_a_reading_of_now_begins_no_days_later_that_have_begun(room: Room, freezers: Freezers) -> None:
    code = freezers.frozen(room.sheet_ready())
    begins = room.now + timedelta(hours=24)
    room.wait(days=3)
    refused = room.scans(code, "freezer", facts={"reading_c": "-21"})
    assert {each["code"] for each in refused.refusals} == {"out-of-order"}
    assert freezers.load(code)["cold_at"] == begins


def test_another_load_opens_the_freezer_and_the_first_starts_its_days_again_unless_a_logger_says_no(
    room: Room, freezers: Freezers
) -> None:
    first, second = freezers.frozen(room.sheet_ready()), freezers.begins(room.sheet_ready())
    begun = room.now
    room.wait(days=5)
    answer = freezers.goes_in(second)
    assert "start their days again" in " ".join(answer.lines) and answer.ask is not None
    assert freezers.load(first)["cold_at"] == room.now + timedelta(hours=24)
    told = room.scans(freezers.code(), "freezer", step=Step.STAYED_COLD, facts={"highest_c": "-18"})
    assert told.kind == "done" and freezers.load(first)["cold_at"] == room.now + timedelta(hours=24)
    room.scans(freezers.code(), "freezer", step=Step.STAYED_COLD, facts={"highest_c": "-20"})
    assert freezers.load(first)["cold_at"] == begun + timedelta(hours=24)
    assert freezers.differences() == []


def test_a_load_that_was_cold_for_long_enough_keeps_it_when_the_freezer_fails_later(
    room: Room, freezers: Freezers
) -> None:
    code = freezers.frozen(room.sheet_ready())
    room.wait(days=8)
    room.scans(freezers.code(), "freezer", step=Step.FREEZER_OPENED)
    room.wait(hours=2)
    assert freezers.comes_out(code).word == "Out of the freezer."


def test_a_power_cut_without_an_end_stops_the_days_until_it_runs_again(room: Room, freezers: Freezers) -> None:
    code = freezers.frozen(room.sheet_ready())
    room.wait(days=3)
    room.scans(freezers.code(), "freezer", step=Step.POWER_CUT)
    assert freezers.load(code)["cold_at"] is None
    room.wait(days=20)
    said = freezers.comes_out(code)
    assert said.kind == "not-yet" and "Nobody can say" in said.lines[0]
    room.scans(freezers.code(), "freezer", step=Step.FREEZER_RUNS)
    assert freezers.load(code)["cold_at"] == room.now + timedelta(hours=24)
    assert freezers.differences() == []


def _drying(room: Room) -> str:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.scans(number, "drying", step=Step.LAY_TO_DRY)
    return number


def _at_intake(room: Room) -> str:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    return number


# A plant that is not fully dry must not be frozen: MuseumPests.net, low temperature treatment.
@pytest.mark.parametrize(
    ("made", "code"),
    [
        (_drying, "damp"),
        (_at_intake, "damp"),
        (Room.sheet_mounted, "wet-adhesive"),
        (lambda r: r.sheet_in("P1"), "wet-adhesive"),
    ],
)
def test_nothing_damp_and_nothing_wet_goes_into_a_load_by_any_door(
    room: Room, freezers: Freezers, made: object, code: str
) -> None:
    number = made(room)  # type: ignore[operator]
    load = freezers.begins(room.sheet_ready())
    before = room.row(number)
    with transaction(room.database) as session:
        tray = rooms.add_bundle(session, "Tray 9")
    answers = [
        room.scans(number, "freezer"),
        room.scans(number, "freezer", step=Step.FREEZE),
        room.scans(number, None, step=Step.FREEZE, who="hedda", facts={"load": load}),
    ]
    with transaction(room.database) as session:
        from app.db.models import Sheet

        session.query(Sheet).filter_by(number=number).update({"bundle_id": tray})
    room.scans(load, "freezer")
    answers.append(room.scans(room.code("bundle", "Tray 9"), "freezer"))
    answers.append(room.scans(room.code("bundle", "Tray 9"), None, step=Step.FREEZE, who="hedda", facts={"load": load}))
    for answer in answers:
        assert answer.kind == "stop" and code in {each["code"] for each in answer.refusals}, answer
    assert room.row(number)["version"] == before["version"]
    # However it came to lie in the load's own bundle: the freezer's door asks again.
    with transaction(room.database) as session:
        session.query(Sheet).filter_by(number=number).update({"bundle_id": freezers.load(load)["bundle_id"]})
    refused = freezers.goes_in(load)
    assert refused.kind == "stop" and code in {each["code"] for each in refused.refusals}
    assert freezers.load(load)["put_in_at"] is None


def test_no_hold_keeps_a_sheet_from_the_freezer(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    room.scans(number, step=Step.PUT_HOLD, who="hedda", reason="frass", facts={"hold": "quarantine"})
    freezers.begins(number)
    assert room.row(number)["holds"] == "quarantine"


def test_a_freezer_takes_loads_only_and_is_no_shelf(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    for answer in (
        room.scans(number, "intake", step=Step.SHELVE, cabinet="Freezer"),
        room.scans(freezers.code(), "intake", step=Step.SHELVE),
    ):
        assert {each["code"] for each in answer.refusals} == {"no-load"}


def test_a_tied_bundle_goes_in_whole_and_is_treated_with_the_load(room: Room, freezers: Freezers) -> None:
    with transaction(room.database) as session:
        rooms.add_bundle(session, "Tray 1")
    room.scans(room.code("bundle", "Tray 1"), "intake")
    numbers = [room.new_number() for _ in range(3)]
    for number in numbers:
        room.scans(number, "intake", step=Step.TAKE_IN)
        room.scans(number, "intake", step=Step.ARRIVE_DRY, facts={"dryness": True, "label": True})
    _into_tray(room, numbers, "Tray 1")
    load = freezers.begins()
    answer = room.scans(room.code("bundle", "Tray 1"), "freezer")
    assert answer.kind == "done" and len(answer.moved) == 3
    assert freezers.goes_in(load).word == "In the freezer."
    moved = room.scans(room.code("bundle", "Tray 1"), "intake", step=Step.SHELVE, cabinet="M1", shelf="2")
    assert {each["code"] for each in moved.refusals} == {"load-closed"}
    room.wait(days=8)
    freezers.comes_out(load)
    room.wait(days=1)
    freezers.opens(load)
    assert all(room.row(number)["treated_until"] for number in numbers)


def _into_tray(room: Room, numbers: list[str], tray: str) -> None:
    from app.db.models import Bundle, Sheet

    with transaction(room.database) as session:
        tray_id = session.query(Bundle).filter_by(name=tray).one().id
        session.query(Sheet).filter(Sheet.number.in_(numbers)).update({"bundle_id": tray_id})


def test_a_load_is_begun_by_a_card(room: Room, freezers: Freezers) -> None:
    from app.domain.numbers import COMMANDS

    number = room.sheet_ready()
    begun = room.scans(COMMANDS["new-load"], "freezer")
    assert begun.word == "Load 1." and "KL 000001" in begun.lines[0]
    assert room.scans(number, "freezer").kind == "done"
    assert room.row(number)["bundle_id"] is not None


def test_a_sheet_before_the_load_waits_for_it(room: Room, freezers: Freezers) -> None:
    number = room.sheet_ready()
    asked = room.scans(number, "freezer")
    assert asked.kind == "which-one" and {each["code"] for each in asked.refusals} == {"no-load"}
    load = freezers.begins()
    room.scans(load, "freezer")
    assert room.row(number)["bundle_id"] == freezers.load(load)["bundle_id"]


def test_a_station_cannot_say_of_a_power_cut_that_it_was_another_time(room: Room, freezers: Freezers) -> None:
    code = freezers.frozen(room.sheet_ready())
    room.wait(days=3)
    said = {"begins": "yesterday", "ends": "2026-11-26T00:00:00+00:00"}
    assert room.scans(freezers.code(), "freezer", step=Step.POWER_CUT, facts=said).kind == "done"
    assert freezers.load(code)["cold_at"] is None
    wrong = room.scans(
        freezers.code(),
        step=Step.DEFROSTED,
        who="hedda",
        manages=True,
        happened_at=room.now,
        facts={"begins": "yesterday"},
    )
    assert {each["code"] for each in wrong.refusals} == {"misread-number"}


def test_what_a_form_says_of_a_tied_bundle_is_not_believed(room: Room, freezers: Freezers) -> None:
    number, load = room.sheet_ready(), freezers.begins()
    room.scans(number, "freezer", step=Step.FREEZE, facts={"load": load, "tied": "7"})
    assert room.row(number)["bundle_id"] == freezers.load(load)["bundle_id"]
