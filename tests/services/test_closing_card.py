"""Two cards: what the last one out must see to, and what the first one in finds, each in a few short lines."""

from __future__ import annotations

from datetime import date, timedelta

from sqlalchemy import select, update

from app.db.engine import transaction
from app.db.models import Consignment, Sheet, Stack, table_of
from app.domain.stages import Step
from app.services import room as setting_up
from tests.queries.looking import label
from tests.room import Room
from tests.services.days import differences, done
from tests.services.evenings import (
    closed_on,
    closing_said,
    dry_in,
    enrolled,
    everybody_leaves,
    line_with,
    load,
    morning_of,
    morning_said,
    on_table,
)

GLUED, OFF, TABLE = "Glued, and not under weight", "The weights are off", "Still on a table"
PAPERS, KEPT, FREEZER = "Papers fall due before the room opens again", "Scans are still kept at", "In the freezer"
SIGNED_IN, SILENT = "Signed in", "Not heard from today"


def test_an_empty_room_is_safe_and_says_when_it_opens(room: Room) -> None:
    everybody_leaves(room)
    answer = closing_said(room)
    assert (answer.kind, answer.word, answer.next) == ("done", "All is safe.", "Good evening.")
    assert answer.lines == (
        "Nothing is left out of weights or on a table.",
        "The room opens again tomorrow, Thursday 26 Nov.",
    )


def test_what_is_not_under_weight_is_named_with_its_stack_or_its_number(room: Room) -> None:
    room.sheet_in("P2")
    room.sheet_in("P2")
    room.sheet_in("P1")
    done(room.weights("on", "P1"))
    room.sheet_mounted()
    room.wait(hours=8)
    answer = closing_said(room)
    assert answer.kind == "not-yet" and answer.next == "See to these before you leave."
    assert line_with(answer, GLUED) == (
        "Glued, and not under weight: TQX 000004·H (glued 09:00). Lay them in, and put the weights on."
    )
    assert line_with(answer, OFF).startswith(
        "The weights are off: P2 (2 sheets without weights since 09:00). Put them on"
    )
    done(room.weights("on", "P2"))
    answer = closing_said(room)
    assert not line_with(answer, OFF) and line_with(answer, GLUED)


def test_a_stack_is_bare_since_its_weights_came_off_and_not_since_it_was_filled(room: Room) -> None:
    room.sheet_in("P1")
    done(room.weights("on", "P1"))
    room.wait(hours=5)
    done(room.weights("off", "P1"))
    room.wait(hours=1)
    assert "P1 (1 sheet without weights since 14:00)" in line_with(closing_said(room), OFF)


def test_five_are_named_and_the_others_counted(room: Room) -> None:
    for _ in range(7):
        room.sheet_mounted()
    line = line_with(closing_said(room), GLUED)
    assert line.count("TQX") == 5 and " and 2 more. " in line


def test_stacks_are_said_in_the_order_in_which_they_are_counted(room: Room) -> None:
    with transaction(room.database) as session:
        setting_up.add_stack(session, "P10", room.now)
    for stack in ("P10", "P2"):
        room.sheet_in(stack)
    line = line_with(closing_said(room), OFF)
    assert line.index("P2 ") < line.index("P10 ")


def test_tables_are_said_with_what_lies_on_them_until_it_is_put_back(room: Room) -> None:
    number = on_table(room)
    on_table(room, "table-2")
    on_table(room, "table-2")
    assert "Mounting table 1 (1 sheet), Mounting table 2 (2 sheets)" in line_with(closing_said(room), TABLE)
    done(room.scans(number, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1"))
    assert "table 1" not in line_with(closing_said(room), TABLE)


def test_papers_of_friday_that_fall_due_on_saturday_are_said_and_those_of_thursday_are_not_on_thursday(
    room: Room,
) -> None:
    dry_in(room, "Press 7", 3)
    everybody_leaves(room)
    room.wait(hours=8)
    assert closing_said(room).kind == "done", "on Wednesday: due on Thursday, when the room is open"
    room.wait(hours=16)
    card = room.code("bundle", "Press 7")
    done(room.scans(card, "drying", step=Step.PAPERS_CHANGED, facts={"all": True}, who="rosamund"))
    closed_on(room, date(2026, 11, 27))
    answer = closing_said(room)
    assert line_with(answer, PAPERS) == (
        "Papers fall due before the room opens again: Press 7 (3 sheets, due Friday 09:03). Change them now, or agree who comes in."
    ), "on Thursday before a closed Friday"
    assert answer.lines[-1] == "The room opens again on Monday 30 Nov."


def test_plants_with_heat_wait_two_days_and_a_weekend_is_longer(room: Room) -> None:
    room.wait(days=2)
    dry_in(room, "Heater", method="heated")
    assert "Heater (1 sheet, due Sunday 09:01)" in line_with(closing_said(room), PAPERS)


def test_a_screen_that_said_that_it_keeps_scans_is_named_until_it_is_clear(room: Room) -> None:
    number = room.sheet_ready()
    room.wait(minutes=1)
    room.scans(number, "table-1", held=2)
    answer = closing_said(room)
    assert answer.kind == "not-yet" and "Mounting table 1 (since 09:01)" in line_with(answer, KEPT)
    room.wait(minutes=1)
    room.scans(number, "table-1", held=0)
    assert not line_with(closing_said(room), KEPT)


def test_the_screen_at_which_the_card_is_scanned_says_itself_what_it_keeps(room: Room) -> None:
    assert "Press (since" in line_with(closing_said(room, held=1), KEPT)
    assert not line_with(closing_said(room), KEPT), "now it has none"


def test_a_screen_that_was_not_heard_from_today_is_told_but_keeps_nobody_back(room: Room) -> None:
    for slug in ("intake", "press"):
        enrolled(room, slug)
    everybody_leaves(room)
    assert not line_with(closing_said(room), SILENT)
    room.wait(days=1)
    answer = closing_said(room)
    assert answer.word == "All is safe." and line_with(answer, SILENT) == (
        "Not heard from today: Intake (since Wednesday 09:01). Look whether that screen still keeps scans."
    )


def test_a_load_may_stay_in_the_cold_and_is_only_told(room: Room) -> None:
    everybody_leaves(room)
    room.wait(days=2, hours=7)
    saturday = room.now + timedelta(days=1)
    load(room, "Bag 12", put_in_at=saturday - timedelta(days=8))
    load(room, "Bag 3", put_in_at=saturday - timedelta(days=20), out_at=saturday - timedelta(days=1, hours=20))
    load(room, "Bag 99", put_in_at=saturday)
    answer = closing_said(room)
    assert answer.word == "All is safe."
    assert "Bag 3 (may be opened 20:01), Bag 12 (due out Saturday 16:01)" in line_with(answer, FREEZER)
    assert "Bag 99" not in line_with(answer, FREEZER)


def test_those_signed_in_are_counted_and_never_named(room: Room) -> None:
    everybody_leaves(room)
    room.signs_in("olwen", "press")
    room.signs_in("piet", "press", with_others="together")
    answer = closing_said(room)
    assert answer.word == "All is safe." and "Press (2 people)" in line_with(answer, SIGNED_IN)
    assert not any(name in " ".join(answer.lines) for name in ("Olwen", "Tarrant", "Piet", "Lindqvist"))


def test_the_cards_write_no_entry_of_any_sheet(room: Room) -> None:
    number = room.sheet_mounted()
    steps = room.steps(number)
    closing_said(room)
    morning_said(room)
    assert room.steps(number) == steps and differences(room.database) == []


# -- the morning ------------------------------------------------------------------------------------------------------
OVERNIGHT, PRESS, CHANGE, FEEL = (
    "Left overnight",
    "May come out of the press",
    "Papers to change today",
    "May be felt today",
)


def test_a_morning_with_nothing_says_so(room: Room) -> None:
    answer = morning_said(room)
    assert (answer.word, answer.lines) == ("Good morning.", ("Nothing waits from before.",))


def test_what_was_left_overnight_comes_first_and_what_is_new_today_is_not_left(room: Room) -> None:
    room.sheet_in("P2")
    room.sheet_mounted()
    assert not line_with(morning_said(room), OVERNIGHT), "it is of today"
    room.wait(days=1)
    answer = morning_said(room)
    line = line_with(answer, OVERNIGHT)
    assert answer.lines[0] == line and answer.next == "Begin with “Left overnight”."
    assert (
        "P2 (1 sheet without weights since Wednesday 09:00)" in line and "TQX 000002·L (glued Wednesday 09:00)" in line
    )


def test_the_press_says_what_is_ready_now_and_by_when_the_rest_of_today(room: Room) -> None:
    first = room.sheet_in("P1")
    done(room.weights("on", "P1"))
    room.wait(hours=6)
    done(room.weights("off", "P2"))
    room.sheet_in("P2", adhesive="straps")
    room.sheet_in("P2")
    done(room.weights("on", "P2"))
    room.wait(hours=18, minutes=-1)
    # Thursday 09:00: P1 has just had its 24 hours; of P2 the straps are done, and the other is ready at 15:00.
    assert "P1 (1 now), P2 (1 now, 1 more by 15:00)" in line_with(morning_said(room), PRESS)
    done(room.weights("off", "P1"))
    done(room.takes_out(first))
    assert "P1" not in line_with(morning_said(room), PRESS)


def test_closed_days_are_said_and_a_usual_night_is_not(room: Room) -> None:
    room.wait(days=1)
    assert "closed" not in " ".join(morning_said(room).lines)
    closed_on(room, date(2026, 11, 27))
    room.wait(days=4)
    assert morning_said(room).lines[0] == "The room was closed since Thursday 26 Nov."


def test_papers_and_plants_of_today_are_said_by_bundle(room: Room) -> None:
    dry_in(room, "Press 7", 3)
    dry_in(room, "Heater", 2, "heated")
    room.wait(days=3)
    answer = morning_said(room)
    assert "Press 7 (3 sheets, due since Thursday 09:01), Heater (2 sheets, due since Friday 09:02)" in line_with(
        answer, CHANGE
    )
    assert (
        line_with(answer, FEEL) == "May be felt today: Heater (2 sheets). The thickest part last: fruit, buds, roots."
    )


def test_wanted_sheets_and_then_the_rooms_order(room: Room) -> None:
    numbers = [room.sheet_ready() for _ in range(3)]
    for number, consignment in zip(numbers, ("Later", "First", "First"), strict=True):
        label(room, number, consignment=consignment)
    label(room, numbers[2], wanted_at=room.now)
    table = table_of(Consignment)
    with transaction(room.database) as session:
        session.execute(update(table).where(table.c.name == "First").values(place_in_order=1))
    answer = morning_said(room)
    assert line_with(answer, "Wanted").startswith("Wanted: TQX 000003·J. ")
    assert "First (2 sheets), Later (1 sheet)" in line_with(answer, "Then mount")


def test_what_lies_in_the_freezer_is_not_sent_to_the_table(room: Room) -> None:
    numbers = [room.sheet_ready() for _ in range(2)]
    for number in numbers:
        label(room, number, consignment="Quillmoor Fells survey")
    with transaction(room.database) as session:
        bundle_id = setting_up.add_bundle(session, "Bag 1")
    label(room, numbers[0], bundle_id=bundle_id)
    assert "survey (2 sheets)" in line_with(morning_said(room), "Then mount")
    load(room, "Bag 1", bundle_id=bundle_id, put_in_at=room.now)
    assert "survey (1 sheet)" in line_with(morning_said(room), "Then mount")
    assert "survey" in str(morning_of(room).parts) and "1 sheet" in str(morning_of(room).parts)


def test_what_is_out_of_the_queue_is_no_longer_wanted(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, wanted_at=room.now)
    assert line_with(morning_said(room), "Wanted")
    room.scans(number, step=Step.WITHDRAW, who="hedda", manages=True, reason="sent in exchange")
    assert room.row(number)["in_queue"] is False and not line_with(morning_said(room), "Wanted")


def test_a_full_morning_is_eight_lines(room: Room) -> None:
    room.wait(days=-20)
    dry_in(room, "Press 7", 9)
    for stack in ("P1", "P2"):
        room.sheet_in(stack)
    done(room.weights("on", "P1"))
    room.sheet_mounted()
    wanted = room.sheet_ready()
    label(room, wanted, consignment="Quillmoor Fells survey", wanted_at=room.now)
    load(room, "Bag 1", put_in_at=room.now)
    room.wait(days=19)
    closed_on(room, date(2026, 11, 23))
    assert len(morning_said(room).lines) == 8


def test_a_stack_that_is_no_longer_used_is_named_nowhere(room: Room) -> None:
    room.sheet_in("P1")
    stack = table_of(Stack)
    with transaction(room.database) as session:
        session.execute(update(stack).where(stack.c.name == "P1").values(closed_at=room.now))
    assert "P1" not in " ".join(closing_said(room).lines)


def test_hostile_names_are_said_as_they_are(room: Room) -> None:
    name = "Tray {at} %s <b>\N{SNOWMAN}"
    number = dry_in(room, name)[0]
    room.wait(days=1)
    assert f"{name} (1 sheet, due since 09:01)" in line_with(morning_said(room), CHANGE)
    with transaction(room.database) as session:
        assert (
            session.execute(select(table_of(Sheet).c.stage).where(table_of(Sheet).c.number == number)).scalar()
            == "drying"
        )
