"""The drying room as its page shows it, its lines under what needs a person, and what is offered at intake."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.db.engine import reading, transaction
from app.domain.stages import Step
from app.queries.dryers import DryerView
from app.queries.drying import BundlePage, DryingRoom, bundle_page, drying_room
from app.queries.need import Need
from app.queries.printed import SlipsAsked, slips
from app.queries.taking_in import names_offered, open_bundles, open_consignments, said_last, said_of
from app.services import room as setting_up
from app.services.drying import close_bundle
from app.services.taking_in import Told
from tests.queries.looking import board_of, label
from tests.room import Room
from tests.services.days import done
from tests.services.test_drying import fill, makes
from tests.services.test_taking_in import takes_in


@pytest.fixture
def dryer(room: Room) -> str:
    """A dryer."""
    with transaction(room.database) as session:
        setting_up.add_cabinet(session, "Dryer 1", None, room.now, is_dryer=True)
    return "Dryer 1"


def looks(room: Room) -> DryingRoom:
    with reading(room.database) as session:
        return drying_room(session, room.now)


def opens(room: Room, code: str) -> BundlePage | None:
    with reading(room.database) as session:
        return bundle_page(session, code, room.now)


def reads(room: Room, celsius: str) -> None:
    from tests.services.test_drying import card_of

    done(room.scans(card_of(room, "Dryer 1"), "drying", facts={"reading_c": celsius}))


def the_dryer(room: Room) -> DryerView:
    return looks(room).dryers[0]


def needs(room: Room, kind: str) -> list[Need]:
    return [need for need in board_of(room).needs if need.kind.startswith(kind)]


def test_an_empty_room_has_nothing_that_dries(room: Room) -> None:
    found = looks(room)
    assert (found.lines, found.empty, found.dryers, found.many, found.due) == ((), (), (), 0, 0)


def test_a_bundle_says_what_is_due_and_what_may_be_felt(room: Room) -> None:
    card = makes(room)
    fill(room, card, 3)
    laid = room.now
    line = looks(room).lines[0]
    assert (line.name, line.many, line.method, line.may_be_felt, line.is_due) == (
        "Plant press 1",
        3,
        "unheated",
        0,
        False,
    )
    assert (line.papers_due, line.usual_at) == (laid + timedelta(days=1), laid + timedelta(days=7))
    room.now = laid + timedelta(days=1)
    assert looks(room).lines[0].is_due and looks(room).due == 3
    done(room.scans(card, "drying", step=Step.PAPERS_CHANGED, facts={"all": True}))
    assert (looks(room).due, looks(room).lines[0].papers_due) == (0, room.now + timedelta(days=1))
    room.now = laid + timedelta(days=7)
    assert (looks(room).may_be_felt, looks(room).lines[0].may_be_felt) == (3, 3)


def test_what_is_due_first_stands_first_and_what_lies_loose_has_a_line(room: Room) -> None:
    loose = room.new_number()
    done(room.scans(loose, "intake", step=Step.TAKE_IN))
    room.wait(minutes=1)
    done(room.scans(loose, "drying", step=Step.LAY_TO_DRY))
    room.wait(hours=1)
    fill(room, makes(room), 2)
    room.wait(hours=1)
    fill(room, makes(room, method="heated"), 4)
    names = [(line.name, line.many, line.method) for line in looks(room).lines]
    assert names == [("In no bundle", 1, "unheated"), ("Plant press 1", 2, "unheated"), ("Plant press 2", 4, "heated")]
    assert looks(room).many == 7


def test_the_drying_room_and_the_board_count_the_same_as_late(room: Room) -> None:
    fill(room, makes(room), 3)
    fill(room, makes(room, method="heated"), 2)
    for hours, late in ((30, 3), (60, 5)):
        now = room.now + timedelta(hours=hours)
        with reading(room.database) as session:
            assert drying_room(session, now).due == late
        assert next(each.stalled for each in board_of(room, now).stages if each.slug == "drying") == late


def test_what_is_not_yet_laid_to_dry_is_told_apart(room: Room) -> None:
    card = makes(room)
    fill(room, card, 2)
    room.scans(card, "intake")
    done(room.scans(room.new_number(), "intake", step=Step.TAKE_IN))
    found = opens(room, card)
    assert found is not None
    assert (found.line.many, found.line.at_intake) == (2, 1)
    assert sorted(sheet.stage for sheet in found.sheets) == ["drying", "drying", "intake"]


def test_empty_bundles_stand_apart_and_closed_ones_nowhere(room: Room) -> None:
    one, other = makes(room), makes(room)
    assert [line.name for line in looks(room).empty] == ["Plant press 1", "Plant press 2"]
    with transaction(room.database) as session:
        close_bundle(session, other, room.now, None)
    assert [line.name for line in looks(room).empty] == ["Plant press 1"]
    assert opens(room, other) is None and opens(room, one) is not None


def test_a_bundle_names_the_others_it_may_be_tied_into(room: Room) -> None:
    one, other = makes(room), makes(room)
    found = opens(room, one)
    assert found is not None and found.others == ((other, "Plant press 2"),)


def test_a_freezer_bag_is_no_bundle_of_the_drying_room(room: Room) -> None:
    from app.services.loads import make_load

    with transaction(room.database) as session:
        make_load(session, room.now, "Load 1")
    assert looks(room).empty == ()


def test_what_dries_with_heat_in_no_dryer_lies_in_the_only_one(room: Room, dryer: str) -> None:
    fill(room, makes(room, method="heated"), 2)
    assert (the_dryer(room).sheets, the_dryer(room).bundles) == (2, ("Plant press 1",))
    with transaction(room.database) as session:
        setting_up.add_cabinet(session, "Dryer 2", None, room.now, is_dryer=True)
    assert [each.sheets for each in looks(room).dryers] == [0, 0], "nobody said in which of two"
    fill(room, makes(room, method="heated", dryer="Dryer 2"), 3)
    assert [each.sheets for each in looks(room).dryers] == [0, 3]


def test_a_dryer_is_read_again_while_plants_lie_in_it(room: Room, dryer: str) -> None:
    room.wait(days=3)
    assert the_dryer(room).unread_since is None and needs(room, "dryer") == [], "nothing lies in it"
    fill(room, makes(room, method="heated", dryer=dryer), 2)
    since = room.now
    room.wait(hours=24)
    assert the_dryer(room).unread_since is None
    room.wait(minutes=1)
    assert the_dryer(room).unread_since == since
    assert [(need.subject, need.what, need.many) for need in needs(room, "dryer")] == [
        ("Dryer 1", "its temperature has not been read", 2)
    ]
    reads(room, "41")
    assert the_dryer(room).unread_since is None and needs(room, "dryer") == []
    read = room.now
    room.wait(hours=25)
    assert the_dryer(room).unread_since == read


def test_a_reading_of_before_does_not_count_against_what_was_just_laid_in(room: Room, dryer: str) -> None:
    reads(room, "41")
    room.wait(days=4)
    fill(room, makes(room, method="heated", dryer=dryer), 1)
    room.wait(hours=20)
    assert the_dryer(room).unread_since is None


def test_too_warm_needs_a_person_while_plants_lie_in_it_and_far_too_hot_always(room: Room, dryer: str) -> None:
    reads(room, "46")
    assert needs(room, "dryer") == []
    fill(room, makes(room, method="heated", dryer=dryer), 1)
    assert [(need.what, need.is_grave) for need in needs(room, "dryer")] == [("too warm: 46 °C", False)]
    room.wait(hours=1)
    reads(room, "62")
    assert [(need.what, need.is_grave) for need in needs(room, "dryer")] == [("far too hot: 62 °C", True)]
    room.wait(hours=1)
    reads(room, "40")
    assert needs(room, "dryer") == []


def test_two_weeks_of_readings_are_shown_and_the_last_one_always(room: Room, dryer: str) -> None:
    reads(room, "40")
    room.wait(days=10)
    reads(room, "42")
    assert [each.celsius for each in the_dryer(room).readings] == [42.0, 40.0]
    room.wait(days=5)
    assert [each.celsius for each in the_dryer(room).readings] == [42.0]
    room.wait(days=40)
    assert [(each.celsius, each.by) for each in the_dryer(room).readings] == [(42.0, "Rosamund Ashgill")]


def test_what_was_said_of_the_last_plant_is_offered_again(room: Room) -> None:
    with transaction(room.database) as session:
        setting_up.add_consignment(session, "QF", "Quillmoor Fells survey")
        assert said_last(session, room.station["intake"], None) is None
    told = Told(name="Erica tetralix", collector="A. Birkrigg", record_number="7", event_date="2026-07-03", locality="wet heath",
                consignment="QF")  # fmt: skip
    number = done(takes_in(room, told)).moved[0]
    with reading(room.database) as session:
        last, elsewhere = (
            said_last(session, room.station["intake"], None),
            said_last(session, room.station["press"], None),
        )
        plants, collectors = names_offered(session, "QF")
        same, consignments = said_of(session, number), open_consignments(session)
    assert last is not None and elsewhere is None and same == last
    assert last.offered() == {"consignment": "QF", "collector": "A. Birkrigg", "event_date": "2026-07-03", "locality": "wet heath",
                              "came": "fresh"}  # fmt: skip
    assert last.offered(same=True) == {
        **last.offered(),
        "name": "Erica tetralix",
        "record_number": "7",
        "bulk": "ordinary",
    }
    assert (plants, collectors, consignments) == (
        ("Erica tetralix",),
        ("A. Birkrigg",),
        [("QF", "Quillmoor Fells survey (QF)")],
    )


def test_what_was_taken_back_is_not_offered(room: Room) -> None:
    number = done(takes_in(room, Told(collector="A. Birkrigg"))).moved[0]
    room.takes_back(room.log(number)[0]["id"], "not ours")
    with reading(room.database) as session:
        assert said_last(session, room.station["intake"], None) is None


def test_somebody_at_a_desk_of_their_own_is_offered_what_they_said(room: Room) -> None:
    number = room.new_number()
    done(room.scans(number, step=Step.TAKE_IN, who="rosamund"))
    label(room, number, collector="A. Birkrigg")
    with reading(room.database) as session:
        mine, others = said_last(session, None, room.worker["rosamund"]), said_last(session, None, room.worker["piet"])
    assert mine is not None and mine.collector == "A. Birkrigg" and others is None


def test_slips_of_a_specimen_on_several_sheets_say_which_part(room: Room) -> None:
    numbers = done(takes_in(room, Told(parts=3))).moved
    alone = done(takes_in(room, Told())).moved
    with reading(room.database) as session:
        found = slips(session, SlipsAsked(numbers=",".join([*numbers, *alone])), room.now, room.zone)
    assert sorted(each.part for each in found.slips) == ["", "Sheet 1 of 3", "Sheet 2 of 3", "Sheet 3 of 3"]


def test_bundles_in_use_are_offered_for_a_run(room: Room) -> None:
    makes(room, "Press B"), makes(room, "Press A")
    with reading(room.database) as session:
        assert [name for _, name in open_bundles(session)] == ["Press A", "Press B"]
