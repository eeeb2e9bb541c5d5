"""The press room at a glance: when what comes out, what is wrong, and where the next sheet goes."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from app.db.engine import reading, transaction
from app.domain.laying import Materials
from app.queries.press_glance import Glance, Laying, press_glance
from app.services.room import set_house_rule
from tests.queries.looking import stack_of
from tests.queries.plans import plans_of, statements_of
from tests.room import Room

HOUR = timedelta(hours=1)
MINUTE = timedelta(minutes=1)


def glance_of(room: Room, now: datetime | None = None) -> Glance:
    with reading(room.database) as session:
        return press_glance(session, now or room.now, room.zone)


def under_weight(room: Room, stack: str, *adhesives: str) -> None:
    for adhesive in adhesives:
        room.sheet_in(stack, adhesive=adhesive)
    room.weights("on", stack)


def line_for(found: Glance, needs: str, *, bulky: bool = False) -> Laying:
    return next(line for line in found.laying if (line.needs_words, line.is_bulky) == (needs, bulky))


def dues(found: Glance) -> list[list[tuple[str, int]]]:
    return [[(due.stack, due.count) for due in part] for part in (found.today, found.tomorrow, found.later)]


def test_what_may_come_out_is_told_now_today_tomorrow_and_after_that(room: Room) -> None:
    under_weight(room, "P1", "pva", "pva", "straps")  # from Wednesday 09:00: straps 11:00, PVA Thursday 09:00
    under_weight(room, "P2", "paste")  # Friday 09:00
    found = glance_of(room, room.now + HOUR)
    assert found.ready == 0 and dues(found) == [[("P1", 1)], [("P1", 2)], [("P2", 1)]]
    assert (found.tomorrow[0].first_at, found.tomorrow[0].last_at) == (room.now + 24 * HOUR, room.now + 24 * HOUR)
    found = glance_of(room, room.now + 3 * HOUR)
    assert found.ready == 1 and dues(found) == [[], [("P1", 2)], [("P2", 1)]]
    found = glance_of(room, room.now + 24 * HOUR)
    assert found.ready == 3 and dues(found) == [[], [("P2", 1)], []]


@pytest.mark.parametrize(("apart", "part"), [(-MINUTE, 0), (0 * MINUTE, 1)])
def test_today_ends_at_the_rooms_midnight(room: Room, apart: timedelta, part: int) -> None:
    room.wait(hours=13)  # 22:00: straps need two hours
    room.now += apart
    under_weight(room, "P1", "straps")
    assert [bool(each) for each in dues(glance_of(room))] == [place == part for place in range(3)]


def test_a_day_on_which_nobody_comes_is_told(room: Room) -> None:
    assert not glance_of(room).closed_tomorrow
    assert glance_of(room, room.now + timedelta(days=2)).closed_tomorrow  # Friday


def test_stacks_without_weights_and_what_is_forgotten_are_named(room: Room) -> None:
    under_weight(room, "P1", "pva")
    room.sheet_in("P2")
    found = glance_of(room)
    assert [(view.name, view.off_too_long) for view in found.bare] == [("P2", False)] and not found.forgotten
    found = glance_of(room, room.now + HOUR + MINUTE)
    assert [(view.name, view.off_too_long) for view in found.bare] == [("P2", True)]
    # Ready on Thursday 09:00; two open days (the house's own number) are over on Monday.
    assert not glance_of(room, room.now + timedelta(days=2, hours=23)).forgotten
    (forgotten,) = glance_of(room, room.now + timedelta(days=6)).forgotten
    assert (forgotten.stack, forgotten.count, forgotten.since) == ("P1", 1, room.now + 24 * HOUR)


def test_sheets_and_room_and_materials_are_counted_over_all_stacks(room: Room) -> None:
    under_weight(room, "P1", "pva", "pva", "paste")
    room.sheet_in("P2")
    found = glance_of(room)
    # Three stacks for eight; by hand: 3 + 1 sheets, boards 4 + 2 + 1.
    assert (found.sheets, found.room, found.taken) == (4, 20, Materials(4, 4, 7))


def test_the_next_sheet_goes_on_the_filling_stack_of_its_time_else_on_an_empty_one(room: Room) -> None:
    room.sheet_in("P2", adhesive="pva")
    found = glance_of(room)
    day, two_days = line_for(found, "24 h"), line_for(found, "48 h")
    assert (day.stack, day.layer, day.room, day.adhesives) == ("P2", 2, 7, ("PVA, acid-free",))
    assert (two_days.stack, two_days.layer) == ("P1", 1)
    assert two_days.adhesives == ("Methyl cellulose 4 %", "Wheat starch paste")
    room.weights("on", "P2")
    assert line_for(glance_of(room), "24 h").stack == "P1"


def test_nothing_flat_is_laid_on_a_bulky_sheet(room: Room) -> None:
    room.sheet_in("P1", adhesive="paste")
    assert line_for(glance_of(room), "48 h").stack == "P1"
    # A bulky sheet with PVA needs 24 + 24 hours, as long as a flat one with paste.
    assert line_for(glance_of(room), "48 h", bulky=True).stack == "P1"
    room.sheet_in("P1", adhesive="pva", bulk="bulky")
    assert line_for(glance_of(room), "48 h").stack == "P2"
    assert line_for(glance_of(room), "48 h", bulky=True).stack == "P1"


def test_a_stack_that_is_being_unloaded_takes_nothing_new(room: Room) -> None:
    under_weight(room, "P1", "pva", "pva")
    room.wait(hours=24)
    room.weights("off", "P1")
    assert stack_of(room, "P1").state == "unloading"
    assert line_for(glance_of(room), "24 h").stack == "P2"


def test_where_every_stack_is_under_weight_no_place_is_named(room: Room) -> None:
    for stack in ("P1", "P2", "P3"):
        under_weight(room, stack, "pva")
    assert {line.stack for line in glance_of(room).laying} == {""}


def test_what_is_glued_and_waits_is_counted_by_the_time_that_it_needs(room: Room) -> None:
    room.sheet_mounted(adhesive="pva")
    room.sheet_mounted(adhesive="pva")
    room.sheet_mounted(adhesive="pva", bulk="bulky")
    found = glance_of(room)
    assert (line_for(found, "24 h").waiting, line_for(found, "48 h", bulky=True).waiting) == (2, 1)
    assert line_for(found, "48 h").waiting == 0


def test_on_the_lowest_sheet_lies_what_is_above_it_too(room: Room) -> None:
    under_weight(room, "P1", *["pva"] * 3)
    # By hand: 12 kg and two layers of 0.2 kg (the house's own number) on 0.29210 m x 0.41910 m, g = 9.80665 m/s2.
    assert stack_of(room, "P1").lowest_pa == pytest.approx(12.4 * 9.80665 / (0.29210 * 0.41910))
    with transaction(room.database) as session:
        set_house_rule(session, "layer_g", 500, "weighed one", room.now, by=room.worker["hedda"])
    assert stack_of(room, "P1").lowest_pa == pytest.approx(13 * 9.80665 / (0.29210 * 0.41910))
    assert stack_of(room, "P2").lowest_pa == 0


def test_the_glance_takes_as_many_statements_however_much_lies_there(room: Room) -> None:
    under_weight(room, "P1", "pva")

    def asked() -> int:
        with statements_of(room.database) as sent, reading(room.database) as session:
            press_glance(session, room.now, room.zone)
        return len(sent)

    asked()
    few = asked()
    under_weight(room, "P2", *["pva"] * 6)
    room.sheet_mounted()
    assert asked() == few


def test_of_all_that_was_ever_filed_nothing_is_looked_at(room: Room) -> None:
    under_weight(room, "P1", "pva")
    lines = plans_of(room.database, lambda session: press_glance(session, room.now, room.zone))
    of_sheets = [line for line in lines if line.split()[1] == "sheet"]
    assert of_sheets and not [line for line in of_sheets if line.startswith("SCAN")]
    assert any("ix_sheet_queue" in line for line in of_sheets)
