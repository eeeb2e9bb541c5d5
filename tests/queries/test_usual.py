"""What is usual, read off the sums and the queue, against stays that were worked out by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import update

from app.db.engine import Database, reading, transaction
from app.db.models import Cabinet
from app.domain.stages import Stage, Step
from app.domain.stays import dwell_bucket_h
from app.queries.stays import counts_of, first_day, stage_counts, together
from app.queries.usual import Usual, usual, usual_lines
from app.services.room import add_cabinet, set_house_rule
from tests.queries.looking import own_limit
from tests.queries.plans import full_scans, plans_of, statements_of
from tests.room import LONDON, Room
from tests.services.days import differences, done

MONDAY = datetime(2026, 8, 31, 9, 0, tzinfo=UTC)
HOUR, WEEK = timedelta(hours=1), timedelta(weeks=1)
LARGE = ("sheet", "entry", "entry_worker", "scan", "layer", "hold", "inspection", "refusal")
# On the Monday of each of eight weeks one sheet comes that is mounted after 5 hours, and one after 100 (Friday 13:00);
# with two more of 5 hours and two of 400 in the first week that makes ten, eight and two.
COMES: list[tuple[int, int]] = [
    *((week, hours) for week in range(8) for hours in (5, 100)), (0, 5), (0, 5), (0, 400), (0, 400)
]  # fmt: skip
FRIDAY_OF_THE_EIGHTH = MONDAY + 7 * WEEK + 101 * HOUR


@pytest.fixture
def room(database: Database) -> Room:
    """A room on the first of the Mondays, open on five days a week."""
    return Room(database, MONDAY)


@pytest.fixture
def worked(room: Room) -> Room:
    """A room after the eight weeks."""
    events = sorted([(MONDAY + week * WEEK, 0, number) for number, (week, _) in enumerate(COMES)]
                    + [(MONDAY + week * WEEK + hours * HOUR, 1, number) for number, (week, hours) in enumerate(COMES)])  # fmt: skip
    sheets: dict[int, str] = {}
    for at, leaves, number in events:
        room.now = at
        if leaves:
            mounts(room, sheets[number])
        else:
            sheets[number] = room.sheet_ready()
    room.now = FRIDAY_OF_THE_EIGHTH
    return room


def mounts(room: Room, number: str) -> Any:
    done(room.scans(number, "table-1", step=Step.TAKE_UP))
    return done(room.scans(number, "table-1", step=Step.MOUNT))


def usual_of(room: Room, stage: Stage = Stage.READY, cabinet: str = "", now: datetime | None = None) -> Usual:
    with reading(room.database) as session:
        found = next(each for each in usual(session, now or room.now, room.zone) if each.stage is stage)
    return next(each for each in found.cabinets if each.name == cabinet) if cabinet else found


def figures(found: Usual) -> tuple[int, int, int | None, int | None]:
    return found.ended, found.waiting, found.median_h, found.ninety_h


def test_half_and_nine_in_ten_of_twenty_stays(worked: Room) -> None:
    # Of twenty, ten are over after 5 hours: half. Eighteen after 100: nine in ten.
    found = usual_of(worked)
    assert figures(found) == (20, 0, 5, 100)
    assert found.words == "half within 6 hours, nine in ten within 5 days"
    assert found.points == ((0, 1.0), (5, pytest.approx(0.5)), (100, pytest.approx(0.1)))
    assert found.weeks == 8 and found.limit == "60 open days" and found.limit_now == 60


def test_sheets_that_wait_lengthen_it_and_nine_in_ten_is_no_longer_reached(worked: Room) -> None:
    for _ in range(5):
        worked.sheet_ready()
    # They have waited for no hour yet, so they say nothing about how long it takes.
    assert figures(usual_of(worked)) == (20, 5, 5, 100)
    worked.wait(hours=101)
    # 25 in all: 15 are left after 5 hours, 7 after 100. Five of these leave the count at 101, and the last two went at 384.
    assert figures(usual_of(worked)) == (20, 5, 100, 384)
    worked.wait(days=16)
    # Now they are still there after 384 hours: 5 of 25 are left, and more is not known.
    found = usual_of(worked)
    assert figures(found) == (20, 5, 100, None)
    assert found.words == "half within 5 days, nine in ten not reached"
    assert found.suggestion.words == "None: nine in ten is not reached while so many still wait."


def test_a_held_sheet_waits_like_the_others_and_a_withdrawn_one_counts_no_more(worked: Room) -> None:
    held = worked.sheet_ready(label=False)
    assert worked.row(held)["holds"] == "label-to-come" and figures(usual_of(worked))[:2] == (20, 1)
    worked.wait(hours=2)
    done(worked.scans(held, step=Step.WITHDRAW, who="hedda", manages=True, reason="sent back"))
    # It never went on from where it lay, so it says nothing about how long that takes.
    assert figures(usual_of(worked))[:2] == (20, 0)


def test_a_correction_puts_it_back_as_it_was(worked: Room) -> None:
    worked.wait(days=3)  # a week of its own
    number = worked.sheet_ready()
    worked.wait(hours=3)
    before = usual_of(worked)
    answer = mounts(worked, number)
    after = usual_of(worked)
    assert (after.ended, after.waiting, after.weeks) == (21, 0, 9)
    worked.undoes(answer.entry)
    assert usual_of(worked) == before
    assert differences(worked.database) == []


def test_a_stay_belongs_to_the_cabinet_where_the_sheet_last_lay(worked: Room) -> None:
    with transaction(worked.database) as session:
        add_cabinet(session, "M2", Stage.READY, worked.now, shelves=1)
    assert figures(usual_of(worked, cabinet="M1")) == figures(usual_of(worked))
    number = worked.sheet_ready()
    worked.wait(hours=7)
    done(worked.scans(number, who="hedda", step=Step.SHELVE, cabinet="M2", shelf="1"))
    assert (usual_of(worked, cabinet="M1").waiting, usual_of(worked, cabinet="M2").waiting) == (0, 1)
    worked.wait(hours=2)
    done(worked.scans(number, "table-1", step=Step.TAKE_UP))
    # On a table it still waits, and where it last lay.
    assert usual_of(worked, cabinet="M2").waiting == 1
    done(worked.scans(number, "table-1", step=Step.MOUNT))
    # The whole stay of nine hours is told of M2, and nothing of M1.
    assert figures(usual_of(worked, cabinet="M2")) == (1, 0, 9, 9)
    assert usual_of(worked, cabinet="M1").ended == 20 and usual_of(worked).ended == 21


def test_taken_up_and_put_back_is_one_stay(room: Room) -> None:
    number = room.sheet_ready()
    room.wait(hours=4)
    done(room.scans(number, "table-1", step=Step.TAKE_UP))
    room.wait(hours=1)
    done(room.scans(number, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="2"))
    assert figures(usual_of(room)) == (0, 1, None, None)
    room.wait(hours=20)
    mounts(room, number)
    assert figures(usual_of(room, cabinet="M1")) == (1, 0, 25, 25)


def test_stays_count_for_the_week_in_which_they_ended_and_the_52_before_this_one(worked: Room) -> None:
    # The first week is 2026-W36. 52 weeks later it still counts, on its Sunday too; in the 53rd it does not.
    first = usual_of(worked, now=MONDAY + 52 * WEEK)
    assert first.ended == 20 and usual_of(worked, now=MONDAY + 52 * WEEK + 6 * WEEK / 7).ended == 20
    # Without it four stays are gone: three of 5 hours and one of 100; those of 400 ended in the third week.
    assert figures(usual_of(worked, now=MONDAY + 53 * WEEK)) == (16, 0, 100, 384)
    assert usual_of(worked, now=MONDAY + 70 * WEEK).ended == 0
    assert str(first_day(MONDAY + 52 * WEEK, LONDON)) == "2026-08-31"


@pytest.mark.parametrize(
    "seconds", [0, 3599, 3600, 86_400, 14 * 86_400 - 1, 14 * 86_400, 15 * 86_400 - 1, 15 * 86_400, 900 * 86_400]
)
def test_those_that_wait_are_counted_in_the_same_buckets_as_those_that_went(room: Room, seconds: int) -> None:
    room.sheet_ready()
    now = room.now + timedelta(seconds=seconds)
    with reading(room.database) as session:
        by_stage, by_cabinet = stage_counts(session, now, room.zone), counts_of(session, now, room.zone)
    assert dict(by_stage["ready-for-mounting"].waiting) == {dwell_bucket_h(seconds): 1}
    assert together(by_cabinet, Stage.READY).waiting == by_stage["ready-for-mounting"].waiting


def test_a_clock_that_ran_ahead_makes_no_wait_below_nothing(room: Room) -> None:
    room.sheet_ready()
    assert figures(usual_of(room, now=room.now - timedelta(hours=5))) == (0, 1, None, None)


# Suggested limits: 100 hours end after 101, which is 4.21 days; five of seven days are open: 3.006 open days, rounded up.
def test_a_limit_is_suggested_from_the_eighth_week_on(worked: Room) -> None:
    assert usual_of(worked).suggestion.value == 4 and usual_of(worked).suggestion.words == "4 open days"
    assert usual_of(worked, cabinet="M1").suggestion.value == 4


def test_no_limit_is_suggested_from_seven_weeks(room: Room) -> None:
    for week in range(7):
        room.now = MONDAY + week * WEEK
        numbers = [room.sheet_ready() for _ in range(3)]
        room.wait(hours=5)
        for number in numbers:
            mounts(room, number)
    found = usual_of(room)
    assert (found.ended, found.suggestion.value) == (21, None)
    assert found.suggestion.words == "Not yet: 7 of 8 weeks are on record."


def test_the_house_says_how_many_stays_are_enough(worked: Room) -> None:
    with transaction(worked.database) as session:
        set_house_rule(session, "usual_least", 21, "to be surer", worked.now)
    assert usual_of(worked).suggestion.words == "Not yet: 20 of 21 stays have ended."
    with reading(worked.database) as session:
        assert "ready-for-mounting" not in usual_lines(session, worked.now, worked.zone)


def test_only_the_stages_whose_limit_follows_from_it_get_one(worked: Room) -> None:
    with reading(worked.database) as session:
        found = {each.stage: each for each in usual(session, worked.now, worked.zone)}
    assert list(found) == [Stage.INTAKE, Stage.DRYING, Stage.READY, Stage.MOUNTED, Stage.UNDER_PRESS, Stage.DRY]
    # Every sheet went from intake to its shelf at once, so twenty stays of no hour are on record there.
    assert (found[Stage.INTAKE].suggestion.value, found[Stage.INTAKE].limit_now) == (1, 10)
    assert (
        found[Stage.MOUNTED].words == "half not reached, nine in ten not reached" and found[Stage.MOUNTED].waiting == 20
    )
    assert all(found[stage].suggestion.value is None for stage in (Stage.DRYING, Stage.UNDER_PRESS, Stage.DRY))


@pytest.mark.parametrize("goes_on", [True, False])
def test_fresh_plants_at_intake_keep_it_from_having_one(worked: Room, goes_on: bool) -> None:
    number = worked.new_number()
    done(worked.scans(number, "intake", step=Step.TAKE_IN, facts={"fresh": True}))
    if goes_on:
        done(worked.scans(number, "drying", step=Step.LAY_TO_DRY, facts={"drying": "unheated"}))
    found = usual_of(worked, Stage.INTAKE)
    assert found.suggestion.value is None and found.suggestion.words.startswith("None: fresh plants are among these")
    # A year later they are not among them any more, if they went; and then nothing else is either.
    assert ("fresh" in usual_of(worked, Stage.INTAKE, now=worked.now + 54 * WEEK).suggestion.words) is not goes_on


def test_limits_are_said_as_they_hold(worked: Room) -> None:
    own_limit(worked, "M1", 12)
    own_limit(worked, "D1", 3)
    with reading(worked.database) as session:
        found = {each.stage: each for each in usual(session, worked.now, worked.zone)}
    assert {stage: each.limit for stage, each in found.items()} == {
        Stage.INTAKE: "dry 10 open days, fresh 24 hours", Stage.DRYING: "papers with heat 2 days, without 24 hours",
        Stage.READY: "60 open days", Stage.MOUNTED: "1 hour", Stage.UNDER_PRESS: "once ready 2 open days",
        Stage.DRY: "to inspect 5 open days, to mend 10 open days, to freeze 5 open days, to file 5 open days",
    }  # fmt: skip
    own = [(cabinet.name, cabinet.limit, cabinet.limit_now) for each in found.values() for cabinet in each.cabinets]
    assert own == [
        ("A1", "dry 10 open days, fresh 24 hours", None),
        ("M1", "12 open days", 12),
        ("D1", "3 open days", 3),
    ]


def test_a_cabinet_for_any_stage_is_listed_where_something_lay_in_it(room: Room) -> None:
    with transaction(room.database) as session:
        add_cabinet(session, "Trolley", None, room.now, shelves=1)
    number = room.sheet_ready()
    done(room.scans(number, who="hedda", step=Step.SHELVE, cabinet="Trolley", shelf="1"))
    assert [each.name for each in usual_of(room).cabinets] == ["M1", "Trolley"]
    assert usual_of(room, cabinet="Trolley").waiting == 1
    assert [each.name for each in usual_of(room, Stage.DRY).cabinets] == ["D1"]


def test_a_cabinet_that_was_closed_is_not_listed_but_its_stays_count_for_the_stage(worked: Room) -> None:
    with transaction(worked.database) as session:
        session.execute(update(Cabinet).where(Cabinet.name == "M1").values(closed_at=worked.now))
    assert usual_of(worked).cabinets == () and usual_of(worked).ended == 20


def test_a_line_for_the_board_in_few_words(worked: Room) -> None:
    with reading(worked.database) as session:
        lines = usual_lines(session, worked.now, worked.zone)
    # Mounted and not yet under weight: none of those stays has ended.
    assert lines == {
        "intake": "nearly always 1 hour",
        "ready-for-mounting": "usually 6 hours, nine in ten 5 days",
    }


def test_an_empty_room_has_nothing_usual(room: Room) -> None:
    found = usual_of(room)
    assert figures(found) == (0, 0, None, None) and (found.points, found.until_h) == (((0, 1.0),), 1)
    with reading(room.database) as session:
        assert usual_lines(session, room.now, room.zone) == {}


@pytest.mark.parametrize("read", [usual, usual_lines])
def test_it_is_read_off_the_sums_and_the_queue_and_never_off_the_log(worked: Room, read: Any) -> None:
    worked.sheet_ready()
    lines = plans_of(worked.database, lambda session: read(session, worked.now, worked.zone))
    assert full_scans(lines, *LARGE) == [] and not [line for line in lines if " entry" in line]
    assert [line for line in lines if "tally_stay" in line] and [line for line in lines if "ix_sheet_queue" in line]


def test_it_asks_no_more_of_many_cabinets_than_of_few(worked: Room) -> None:
    def asked() -> int:
        with statements_of(worked.database) as sent, reading(worked.database) as session:
            usual(session, worked.now, worked.zone)
        return len(sent)

    asked()  # the house rules are kept from here on
    before = asked()
    with transaction(worked.database) as session:
        for number in range(5):
            add_cabinet(session, f"N{number}", Stage.READY, worked.now)
    asked()
    assert asked() == before
