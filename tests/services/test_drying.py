"""The drying room: bundles and dryers, what is told to dry how, and what is felt."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Bundle, Change, Temperature, table_of
from app.domain.answer import Answer
from app.domain.stages import Stage, Step
from app.services import room as setting_up
from app.services.desk import ScanRequest
from app.services.drying import bundle_in_use, close_bundle, hang, make_bundle, say_pressed, tie
from app.services.scanning import once
from tests.room import Room
from tests.services.days import codes, differences, done

BUNDLE = table_of(Bundle)


@pytest.fixture
def dryer(room: Room) -> str:
    """A dryer, by its card's code."""
    with transaction(room.database) as session:
        setting_up.add_cabinet(session, "Dryer 1", None, room.now, is_dryer=True)
    return card_of(room, "Dryer 1")


def card_of(room: Room, name: str) -> str:
    from app.db.models import Cabinet

    with reading(room.database) as session:
        return str(session.execute(select(Cabinet.code).where(Cabinet.name == name)).scalar_one())


def makes(room: Room, name: str = "", **more: Any) -> str:
    """A bundle is made; its card's code."""
    with transaction(room.database) as session:
        return str(make_bundle(session, name, room.now, room.worker["rosamund"], **more)["code"])


def fill(room: Room, card: str, many: int) -> list[str]:
    """So many fresh plants are taken in into a bundle, and all of it is laid to dry."""
    room.scans(card, "intake")
    numbers = [room.new_number() for _ in range(many)]
    for number in numbers:
        done(room.scans(number, "intake", step=Step.TAKE_IN))
    room.wait(minutes=5)
    done(room.scans(card, "drying", step=Step.LAY_TO_DRY, facts={"all": True}))
    return numbers


def ties(room: Room, code: str, into: str, numbers: tuple[str, ...] | None = None, who: str = "rosamund") -> Answer:
    request = ScanRequest(room.next_id(), "", worker_ids=(room.worker[who],))
    with transaction(room.database) as session:
        return once(
            session, request, room.occasion, lambda desk: tie(desk, code, into, numbers), f"tie {into} {numbers}"
        )


def row_of(room: Room, code: str) -> Any:
    with reading(room.database) as session:
        return session.execute(select(BUNDLE).where(BUNDLE.c.code == code)).mappings().one()


def changes(room: Room, what: str) -> list[Any]:
    with reading(room.database) as session:
        return list(session.execute(select(table_of(Change)).where(table_of(Change).c.what == what)).mappings())


def test_a_bundle_gets_the_next_name_of_its_kind_and_a_card(room: Room) -> None:
    first, second, tray = makes(room), makes(room), makes(room, kind="tray")
    assert [row_of(room, code)["name"] for code in (first, second, tray)] == [
        "Plant press 1",
        "Plant press 2",
        "Tray 1",
    ]
    assert len({first, second, tray}) == 3
    assert done(room.scans(first, "drying")).lines[0].startswith("Plant press 1 is empty")


def test_a_name_is_given_once_while_it_is_in_use(room: Room) -> None:
    code = makes(room, "Fells")
    with pytest.raises(ValueError, match="(?i)Fells already"):
        makes(room, "  fells ")
    with transaction(room.database) as session:
        assert close_bundle(session, code, room.now, None) == "Fells"
    assert makes(room, "Fells") != code


def test_what_is_laid_to_dry_dries_as_its_bundle_does(room: Room, dryer: str) -> None:
    loose = room.new_number()
    done(room.scans(loose, "intake", step=Step.TAKE_IN))
    card = makes(room, "Press A", method="heated", dryer="Dryer 1")
    number = fill(room, card, 1)[0]
    assert (room.row(number)["method"], room.row(number)["pressed_at"]) == ("heated", room.now)
    room.wait(minutes=1)
    done(room.scans(loose, "drying", step=Step.LAY_TO_DRY))
    assert room.row(loose)["method"] == "unheated"
    assert differences(room.database) == []


def test_what_was_said_with_the_scan_counts_before_what_the_bundle_is(room: Room, dryer: str) -> None:
    card = makes(room, "Press A", method="heated")
    number = room.new_number()
    room.scans(card, "intake")
    done(room.scans(number, "intake", step=Step.TAKE_IN))
    room.wait(minutes=1)
    done(room.scans(number, "drying", step=Step.LAY_TO_DRY, facts={"drying": "unheated"}))
    assert room.row(number)["method"] == "unheated"


def test_plants_pressed_in_the_field_count_from_then(room: Room) -> None:
    card = makes(room, "Press A")
    with transaction(room.database) as session:
        say_pressed(session, card, date(2026, 11, 20), (room.now, room.zone), room.worker["hedda"])
    number = fill(room, card, 1)[0]
    assert room.row(number)["pressed_at"].isoformat() == "2026-11-20T12:00:00+00:00"
    # Pressed on Friday at noon, without heat: seven days later it is passed without a second question.
    room.now = room.now.replace(day=27, hour=12, minute=1)
    assert "Feel it again" not in " ".join(
        room.scans(number, "drying", facts={"dryness": True, "label": True}, step=Step.PASS_AS_DRY).lines
    )
    assert room.stage(number) == Stage.READY


def test_a_fresh_plant_says_itself_when_it_was_pressed(room: Room) -> None:
    number, second = room.new_number(), room.new_number()
    done(room.scans(number, "intake", step=Step.TAKE_IN, facts={"pressed_on": "2026-11-23"}))
    assert room.row(number)["pressed_at"].isoformat() == "2026-11-23T12:00:00+00:00"
    for said, words in (("2026-11-26", "still to come"), ("soon", "not a day")):
        answer = room.scans(second, "intake", step=Step.TAKE_IN, facts={"pressed_on": said})
        assert codes(answer) == ["misread-number"] and words in answer.lines[0]
    assert differences(room.database) == []


def test_the_dryers_card_hangs_the_bundle_in_hand_in_it(room: Room, dryer: str) -> None:
    card = makes(room, "Press A")
    fill(room, card, 2)
    room.wait(minutes=1)
    room.scans(card, "drying")
    answer = done(room.scans(dryer, "drying"))
    assert answer.lines[0] == "Press A lies in Dryer 1, and dries with heat."
    assert (row_of(room, card)["method"], row_of(room, card)["dryer_id"] is not None) == ("heated", True)
    assert changes(room, "how it dries")[-1]["new"] == "with heat, in Dryer 1"
    # What lies in it keeps the way written on each sheet: its papers stay due as they were, which is the safer side.
    assert {room.row(each)["method"] for each in [*fill(room, makes(room), 1)]} == {"unheated"}


def test_what_a_thermometer_shows_is_typed_after_the_dryers_card(room: Room, dryer: str) -> None:
    asked = done(room.scans(dryer, "drying"))
    assert asked.ask is not None and asked.ask.name == "facts.reading_c" and "Nobody has read" in asked.lines[0]
    room.wait(minutes=1)
    wrong = room.scans(dryer, "drying", facts={"reading_c": "105 F"})
    assert codes(wrong) == ["misread-number"] and "degrees Celsius" in wrong.lines[0]
    right = done(room.scans(dryer, "drying", facts={"reading_c": "47,5"}))
    assert right.lines == ("Dryer 1: 47.5 °C, too warm.",) and "Turn it down" in right.next
    with reading(room.database) as session:
        found = session.execute(select(table_of(Temperature))).mappings().one()
    assert (found["celsius"], found["read_at"], found["read_by"]) == (47.5, room.now, room.worker["rosamund"])
    room.wait(hours=3)
    assert "Last read 47.5 °C, 3 h ago." in done(room.scans(dryer, "drying")).lines


def test_a_dryer_is_no_shelf_for_what_was_passed(room: Room, dryer: str) -> None:
    number = fill(room, makes(room), 1)[0]
    room.wait(days=8)
    done(room.scans(dryer, "drying"))
    done(room.scans(number, "drying", step=Step.PASS_AS_DRY, facts={"dryness": True, "label": True}))
    assert room.row(number)["cabinet_id"] is None


def test_a_scan_of_a_dryer_needs_somebody(room: Room, dryer: str) -> None:
    assert codes(room.scans(dryer, "drying", worker_ids=())) == ["not-signed-in"]


def test_still_damp_writes_nothing_and_says_when_to_feel_again(room: Room) -> None:
    number = fill(room, makes(room), 1)[0]
    room.wait(days=8)
    before = len(room.log(number))
    answer = room.scans(number, "drying", step=Step.PASS_AS_DRY, facts={"dryness": False})
    assert codes(answer) == ["damp"] and answer.kind == "not-yet"
    # Without heat the papers are due after one day of 24 hours: the same clock time on the next day, a Friday here.
    assert "Feel it again Friday 09:05." in answer.next and "papers" in answer.next
    assert len(room.log(number)) == before and room.stage(number) == Stage.DRYING


def test_what_came_damp_is_told_to_be_laid_to_dry(room: Room) -> None:
    number = room.new_number()
    done(room.scans(number, "intake", step=Step.TAKE_IN))
    answer = room.scans(number, "intake", step=Step.ARRIVE_DRY, facts={"dryness": False})
    assert codes(answer) == ["damp"] and "Feel it again" not in answer.next and "Lay it to dry" in answer.next


def test_a_bundle_is_split_and_put_together_again(room: Room) -> None:
    one, other = makes(room), makes(room)
    numbers = fill(room, one, 5)
    room.wait(minutes=2)
    answer = done(ties(room, one, other, (numbers[0], numbers[3])))
    assert answer.lines == ("2 sheets of Plant press 1 tied into Plant press 2.",)
    assert [room.row(each)["bundle_id"] == row_of(room, other)["id"] for each in numbers] == [
        True,
        False,
        False,
        True,
        False,
    ]
    assert {room.row(each)["method"] for each in numbers} == {"unheated"} and room.steps(numbers[0])[-1] == "tie"
    papers = room.row(numbers[0])["papers_at"]
    room.wait(minutes=2)
    assert done(ties(room, other, one)).lines == ("2 sheets of Plant press 2 tied into Plant press 1.",)
    assert {room.row(each)["bundle_id"] for each in numbers} == {row_of(room, one)["id"]}
    assert room.row(numbers[0])["papers_at"] == papers, "tying is no change of papers"
    assert differences(room.database) == []


def test_tying_is_undone_as_one(room: Room) -> None:
    one, other = makes(room), makes(room)
    numbers = fill(room, one, 3)
    room.wait(minutes=2)
    entry = done(ties(room, one, other)).entry
    assert entry is not None
    room.wait(minutes=1)
    done(room.undoes(entry, "drying", worker_ids=(room.worker["hedda"],), manages=True))
    assert {room.row(each)["bundle_id"] for each in numbers} == {row_of(room, one)["id"]}
    assert differences(room.database) == []


def test_what_is_dry_or_gone_is_not_tied_into_a_press(room: Room) -> None:
    one, other = makes(room), makes(room)
    number = fill(room, one, 1)[0]
    room.wait(days=8)
    done(room.scans(number, "drying", step=Step.PASS_AS_DRY, facts={"dryness": True, "label": True}))
    assert codes(ties(room, one, other)) == ["out-of-order"]
    assert codes(ties(room, one, one)) == ["out-of-order"]
    assert codes(ties(room, one, "nothing")) == ["unknown-number"]


def test_at_the_station_a_sheet_goes_into_the_bundle_in_hand(room: Room) -> None:
    one, other = makes(room), makes(room)
    number = fill(room, one, 2)[0]
    room.wait(minutes=2)
    room.scans(other, "drying")
    asked = room.scans(number, "drying")
    assert [choice.label for choice in asked.choices][0] == "It goes into Plant press 2"
    done(room.scans(number, "drying", step=Step.TIE))
    assert room.row(number)["bundle_id"] == row_of(room, other)["id"]
    assert differences(room.database) == []


def test_a_bundle_with_something_in_it_stays_in_use(room: Room) -> None:
    card = makes(room)
    fill(room, card, 2)
    with transaction(room.database) as session, pytest.raises(ValueError, match="2 sheets lie in it"):
        close_bundle(session, card, room.now, None)
    with reading(room.database) as session:
        assert bundle_in_use(session, card)["closed_at"] is None


def test_what_is_in_a_dryer_dries_with_heat(room: Room, dryer: str) -> None:
    card = makes(room)
    with transaction(room.database) as session:
        bundle = bundle_in_use(session, card)["id"]
        with pytest.raises(ValueError, match="dries with heat"):
            hang(session, bundle, "unheated", "Dryer 1", room.now, None)
        with pytest.raises(ValueError, match="no such dryer"):
            hang(session, bundle, "heated", "M1", room.now, None)


def test_the_label_that_came_meanwhile_lifts_its_hold(room: Room) -> None:
    number = room.new_number()
    done(room.scans(number, "intake", step=Step.TAKE_IN, facts={"label": False}))
    assert room.row(number)["holds"] == "label-to-come"
    room.wait(minutes=1)
    done(room.scans(number, "intake", step=Step.LAY_TO_DRY))
    room.wait(days=8)
    done(room.scans(number, "drying", step=Step.PASS_AS_DRY, facts={"dryness": True, "label": True}))
    assert room.row(number)["holds"] == ""
    assert differences(room.database) == []


def test_a_label_that_is_still_to_come_is_held_once(room: Room) -> None:
    number = room.new_number()
    done(room.scans(number, "intake", step=Step.TAKE_IN, facts={"label": False}))
    done(room.scans(number, "intake", step=Step.ARRIVE_DRY, facts={"dryness": True, "label": False}))
    assert room.row(number)["holds"] == "label-to-come"
    assert differences(room.database) == []
    assert timedelta(0) <= room.now - room.row(number)["came_at"]


@pytest.mark.parametrize("at", ["drying", "intake"])
def test_a_sheet_that_was_passed_as_dry_goes_back_to_dry_only_by_an_answer(room: Room, at: str) -> None:
    number = room.sheet_ready()
    asked = room.scans(number, at)
    assert (asked.kind, asked.lines) == ("which-one", ("It is ready for mounting. Is the plant damp after all?",))
    assert [(choice.name, choice.value) for choice in asked.choices] == [("step", "lay-to-dry")]
    assert room.stage(number) == Stage.READY
    done(room.scans(number, at, step=Step.LAY_TO_DRY))
    assert room.stage(number) == Stage.DRYING
