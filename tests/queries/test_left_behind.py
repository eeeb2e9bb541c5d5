"""Left behind: the flag on one sheet, the list, the counts and a reckoning by hand over the log are one and the same."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.engine import Database, reading, transaction
from app.db.models import Entry, Sheet, table_of
from app.domain.left_behind import INTO
from app.domain.stages import Stage, Step
from app.queries.left_behind import KEPT, left_behind_counts, left_behind_days, left_behind_heaps
from app.queries.waiting import judge
from app.services.room import set_house_rule
from tests.databases import Rooms
from tests.queries.looking import brought_dry, filed, listed, page_of
from tests.queries.plans import full_scans, plans_of
from tests.room import LONDON, WEDNESDAY, Room

SHEET, ENTRY = table_of(Sheet), table_of(Entry)
DAY = timedelta(days=1)


def flagged(room: Room, **more: str) -> list[str]:
    """The numbers of all that the list calls left behind."""
    return sorted(row.number for row in listed(room, left_behind=True, limit=200, **more).rows)


def counts(room: Room) -> dict[str, int]:
    with reading(room.database) as session:
        found = left_behind_counts(left_behind_heaps(session, judge(session, room.now, room.zone)))
    return {stage.value: count for stage, count in found.items()}


def mounts(room: Room, numbers: list[str]) -> None:
    for number in numbers:
        room.scans(number, "table-1", step=Step.TAKE_UP)
        assert room.scans(number, "table-1", step=Step.MOUNT).kind == "done"


def a_forgotten_shelf(room: Room, later: int = 11, stay: int = 1) -> tuple[list[str], list[str]]:
    """Two sheets, and those that came in the days after, of which all but a few are mounted."""
    forgotten = [room.sheet_ready(), room.sheet_ready()]
    room.wait(days=3)
    others = [room.sheet_ready() for _ in range(later)]
    room.wait(days=1)
    mounts(room, others[stay:])
    return forgotten, others[:stay]


def test_what_waits_while_nearly_all_that_came_after_has_gone_on_is_left_behind(room: Room) -> None:
    forgotten, _ = a_forgotten_shelf(room)
    assert flagged(room) == forgotten == flagged(room, stage="ready-for-mounting", cabinet="M1")
    assert all(page_of(room, number).left_behind for number in forgotten)
    assert counts(room) == {"ready-for-mounting": 2}
    assert flagged(room, stage="dry") == []


@pytest.mark.parametrize(("later", "stay", "found"), [(10, 1, 0), (10, 0, 2), (9, 0, 0), (20, 2, 0), (21, 2, 2)])
def test_at_exactly_nine_in_ten_nobody_is_left_behind(room: Room, later: int, stay: int, found: int) -> None:
    a_forgotten_shelf(room, later, stay)
    assert len(flagged(room)) == found


@pytest.mark.parametrize(("days", "found"), [(0, 0), (1, 1), (7, 1), (8, 0)])
def test_the_week_after_is_the_seven_days_that_follow(room: Room, days: int, found: int) -> None:
    room.sheet_ready()
    room.wait(days=days)
    mounts(room, [room.sheet_ready() for _ in range(10)])
    assert len(flagged(room)) == found


def test_it_needs_no_age(room: Room) -> None:
    """A sheet of yesterday may be left behind long before it is stalled, and one that is stalled need not be."""
    forgotten, waiting = a_forgotten_shelf(room)
    assert not page_of(room, forgotten[0]).stalled
    late = room.now + timedelta(days=200)
    assert page_of(room, waiting[0], late).stalled and not page_of(room, waiting[0], late).left_behind
    assert page_of(room, forgotten[0], late).left_behind


def test_what_is_held_filed_or_withdrawn_is_never_left_behind(room: Room) -> None:
    held, withdrawn, free = (room.sheet_ready() for _ in range(3))
    put_away = filed(room)
    room.wait(days=1)
    mounts(room, [room.sheet_ready() for _ in range(12)])
    assert flagged(room) == sorted([held, withdrawn, free])
    room.scans(held, who="hedda", step=Step.PUT_HOLD, facts={"hold": "label-query"}, reason="which of the two?")
    room.scans(withdrawn, who="hedda", step=Step.WITHDRAW, manages=True, reason="sent in exchange")
    assert flagged(room) == [free] and counts(room) == {"ready-for-mounting": 1}
    assert [page_of(room, number).left_behind for number in (held, withdrawn, put_away, free)] == [
        False,
        False,
        False,
        True,
    ]


def test_a_mounting_that_was_taken_back_has_not_gone_on(room: Room) -> None:
    forgotten, _ = a_forgotten_shelf(room, 10, 0)
    last = room.sheet_ready()
    assert flagged(room) == forgotten
    mounts(room, [last])
    room.takes_back(room.log(last)[-1]["id"], "the wrong sheet")
    assert room.stage(last) == "ready-for-mounting" and flagged(room) == forgotten, "ten of eleven have gone on"
    another = room.sheet_ready()
    assert room.stage(another) == "ready-for-mounting" and flagged(room) == []


def test_what_came_dry_is_asked_by_the_sheets_that_came_dry(room: Room) -> None:
    left = brought_dry(room)
    room.wait(days=2)
    for _ in range(10):
        filed(room)
    assert flagged(room) == [left] and counts(room) == {"dry": 1}


def test_the_house_says_which_share_and_how_many(room: Room) -> None:
    a_forgotten_shelf(room, 4, 1)
    assert flagged(room) == []
    ruled(room, left_behind_least=4)
    assert flagged(room) == []
    ruled(room, left_behind_share=74)
    assert len(flagged(room)) == 2
    ruled(room, left_behind_share=75)
    assert flagged(room) == []


def test_the_places_are_named_the_longest_waiting_first(room: Room) -> None:
    forgotten, _ = a_forgotten_shelf(room)
    room.scans(room.code("shelf", "M1/3"), "filing")
    room.scans(forgotten[1], "filing", step=Step.SHELVE, cabinet="M1", shelf="3")
    with reading(room.database) as session:
        found = left_behind_heaps(session, judge(session, room.now, room.zone))
    assert [(heap.cabinet, heap.shelf, heap.count, heap.stage) for heap in found] == [
        ("M1", "1", 1, Stage.READY), ("M1", "3", 1, Stage.READY),
    ]  # fmt: skip
    assert found[0].said == "M1, shelf 1, ready for mounting" and found[0].since == datetime(
        2026, 11, 25, 9, tzinfo=UTC
    )


def test_the_numbers_are_moved_along_with_every_entry(room: Room) -> None:
    """What was counted once follows each step, and what was taken back."""
    forgotten, _ = a_forgotten_shelf(room, 10, 0)
    day = room.row(forgotten[0])["came_at"].date()
    assert days_of(room)[Stage.READY] == {day}
    last = room.sheet_ready()
    assert days_of(room)[Stage.READY] == {day}, "ten of eleven have gone on"
    another = room.sheet_ready()
    assert days_of(room)[Stage.READY] == frozenset()
    mounts(room, [last])
    assert days_of(room)[Stage.READY] == {day}
    room.takes_back(room.log(last)[-1]["id"], "the wrong sheet")
    assert days_of(room)[Stage.READY] == frozenset()
    room.scans(another, who="hedda", step=Step.WITHDRAW, manages=True, reason="exchange")
    assert days_of(room)[Stage.READY] == {day}


def ruled(room: Room, **rules: int) -> None:
    with transaction(room.database) as session:
        for name, value in rules.items():
            set_house_rule(session, name, value, "a small room", room.now)


# Where the clocks change within the days that follow: London back an hour, Lord Howe back half an hour, São Paulo back
# at midnight (its last year of it); Kathmandu lies three quarters of an hour off, and never changes.
PLACES = [
    ("Europe/London", datetime(2026, 10, 22, 22, 20, tzinfo=UTC)),
    ("Australia/Lord_Howe", datetime(2026, 4, 2, 12, 10, tzinfo=UTC)),
    ("America/Sao_Paulo", datetime(2018, 2, 15, 1, 30, tzinfo=UTC)),
    ("Asia/Kathmandu", datetime(2026, 4, 2, 17, 50, tzinfo=UTC)),
]
DEEDS = (
    "come",
    "come",
    "come",
    "mount",
    "mount",
    "mount",
    "dry",
    "back to the table",
    "take back",
    "hold",
    "withdraw",
    "another",
    "wait",
)


@pytest.fixture(scope="module")
def one_more(rooms: Rooms, tmp_path_factory: pytest.TempPathFactory) -> Callable[[], Database]:
    """An empty room's database, another each time."""
    folder = tmp_path_factory.mktemp("left-behind")
    made = iter(range(10_000))

    def fresh() -> Database:
        return rooms.open(folder / f"{next(made)}.sqlite3")

    return fresh


@settings(max_examples=24, suppress_health_check=list(HealthCheck))
@given(
    place=st.sampled_from(PLACES),
    deeds=st.lists(st.tuples(st.sampled_from(DEEDS), st.integers(0, 99)), min_size=25, max_size=60),
)
def test_every_way_of_asking_agrees_with_the_log(
    one_more: Callable[[], Database], place: tuple[str, datetime], deeds: list[tuple[str, int]]
) -> None:
    room = Room(one_more(), place[1], ZoneInfo(place[0]))
    ruled(room, left_behind_least=3, left_behind_share=60)
    for deed, which in deeds:
        act(room, deed, which)
        if which % 3:
            days_of(room)  # so that the numbers are moved along, and not only counted
    assert waiting_of(room) == waiting_of(room, anew=True)
    expected = by_hand(room)
    assert flagged(room) == expected
    assert sum(counts(room).values()) == len(expected)
    assert sorted(number for number in numbers_of(room) if page_of(room, number).left_behind) == expected
    room.database.engine.dispose()


def act(room: Room, deed: str, which: int) -> None:
    """Something happens to one of the sheets, or time goes by; what may not be is refused and changes nothing."""
    room.wait(minutes=3)
    here = numbers_of(room)
    if deed == "wait":
        room.wait(minutes=37 * which)
    elif deed == "come":
        (room.sheet_ready, lambda: brought_dry(room), lambda: laid_to_dry(room))[which % 3]()
        room.wait(hours=which % 7)
    elif here:
        DONE[deed](room, here[which % len(here)])


def laid_to_dry(room: Room) -> None:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN, facts={"fresh": True})
    room.scans(number, "drying", step=Step.LAY_TO_DRY)


def mount_one(room: Room, number: str) -> None:
    room.scans(number, "table-1", step=Step.TAKE_UP)
    room.scans(number, "table-1", step=Step.MOUNT)


def another(room: Room, number: str) -> None:
    room.scans(number, "table-1", step=Step.TAKE_UP)
    room.scans(number, "table-1", step=Step.ANOTHER_SHEET)


DONE: dict[str, Callable[[Room, str], object]] = {
    "mount": mount_one,
    "another": another,
    "dry": lambda room, number: room.scans(
        number, "drying", step=Step.PASS_AS_DRY, facts={"dryness": True, "label": True}
    ),
    "back to the table": lambda room, number: room.scans(
        number, who="rosamund", step=Step.BACK_TO_TABLE, reason="loose"
    ),
    "take back": lambda room, number: room.takes_back(room.log(number)[-1]["id"], "the wrong one"),
    "hold": lambda room, number: room.scans(
        number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "quarantine"}, reason="frass"
    ),
    "withdraw": lambda room, number: room.scans(
        number, who="hedda", step=Step.WITHDRAW, manages=True, reason="exchange"
    ),
}


def numbers_of(room: Room) -> list[str]:
    with reading(room.database) as session:
        return list(
            session.execute(select(SHEET.c.number).where(SHEET.c.stage.is_not(None)).order_by(SHEET.c.id)).scalars()
        )


def days_of(room: Room) -> dict[Stage, frozenset[date]]:
    """The days, always asked at one moment: they do not follow from it, but after a while everything is counted anew."""
    with reading(room.database) as session:
        return left_behind_days(session, judge(session, WEDNESDAY, room.zone))


def waiting_of(room: Room, *, anew: bool = False) -> object:
    """How many wait by stage and day, as it is moved along with the entries, or counted anew."""
    if anew:
        room.database.kept.pop(KEPT)
    days_of(room)
    return room.database.kept[KEPT].waiting


def by_hand(room: Room) -> list[str]:
    """The same rule, read off the log and the sheets one by one."""
    with reading(room.database) as session:
        entries = session.execute(select(ENTRY.c.id, ENTRY.c.step, ENTRY.c.corrects, ENTRY.c.happened_at)).all()
        sheets = session.execute(select(SHEET).where(SHEET.c.in_queue.is_(True))).all()
    corrected = {entry.corrects for entry in entries}
    came = [
        (entry.step, entry.happened_at.astimezone(room.zone).date()) for entry in entries if entry.id not in corrected
    ]
    return sorted(sheet.number for sheet in sheets if is_left(room, sheet, sheets, came))


def is_left(room: Room, sheet: Sheet, sheets: list[Sheet], came: list[tuple[str, date]]) -> bool:
    is_held = "quarantine" in sheet.holds and sheet.stage != "drying" and not sheet.fresh
    if is_held or sheet.stage not in INTO or sheet.came_at is None:
        return False
    day = sheet.came_at.astimezone(room.zone).date()
    week = {day + after * DAY for after in range(1, 8)}
    arrived = sum(step in INTO[Stage(sheet.stage)] and on in week for step, on in came)
    still = sum(each.stage == sheet.stage and each.came_at.astimezone(room.zone).date() in week
                for each in sheets if each.came_at is not None)  # fmt: skip
    return arrived >= 3 and Fraction(arrived - still, arrived) > Fraction(60, 100)


def test_a_room_in_another_zone_counts_its_own_days(one_more: Callable[[], Database]) -> None:
    """Half past eleven in the evening and half past midnight are one day apart, wherever that midnight is."""
    for zone, midnight in ((LONDON, datetime(2026, 11, 26, tzinfo=UTC)), (ZoneInfo("Australia/Lord_Howe"), datetime(2026, 11, 25, 13, tzinfo=UTC)),
                           (ZoneInfo("Asia/Kathmandu"), datetime(2026, 11, 25, 18, 15, tzinfo=UTC))):  # fmt: skip
        room = Room(one_more(), midnight - timedelta(minutes=1), zone)
        evening = room.sheet_ready()
        room.now = midnight
        night = room.sheet_ready()
        mounts(room, [room.sheet_ready() for _ in range(11)])
        assert flagged(room) == [evening] and not page_of(room, night).left_behind, zone
        room.database.engine.dispose()


def test_asking_goes_through_the_queue_and_never_through_the_collection(room: Room) -> None:
    a_forgotten_shelf(room)

    def ask(session: Session) -> object:
        return left_behind_heaps(session, judge(session, room.now, room.zone))

    lines = plans_of(room.database, ask)
    assert any("ix_sheet_queue" in line for line in lines)
    assert full_scans(lines, "sheet", "entry", "tally_day") == []
    room.database.kept["left-behind heaps"] = None
    # The second time the queue is not counted, and the log is read from where it was read last.
    again = plans_of(room.database, lambda session: left_behind_days(session, judge(session, room.now, room.zone)))
    assert full_scans(again, "sheet", "entry", "tally_day") == [] and not any(
        "ix_sheet_queue" in line for line in again
    )
