"""Lines put aside: hidden until their day begins, and back sooner when they have grown or begun again."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select, update

from app.db.engine import reading, transaction
from app.db.models import CalendarDay, Change, PutAside, table_of
from app.domain.stages import Step
from app.queries.aside import Aside
from app.queries.board import board_json, board_version
from app.services.aside import put_aside, take_again
from tests.queries.looking import board_of
from tests.room import LONDON, Room
from tests.services.days import differences

ASIDE = table_of(PutAside)
FRIDAY = date(2026, 11, 27)
SECOND = timedelta(seconds=1)


def shelf(room: Room, count: int = 4) -> str:
    """A shelf of so many sheets that has waited too long; the key of its line."""
    for _ in range(count):
        room.sheet_ready()
    room.wait(days=105)
    return next(need.key for need in board_of(room).needs if need.kind == "stalled")


def puts(
    room: Room, key: str, until: date | None = None, why: str = "the table is full", many: int = 4, **more: Any
) -> int:
    with transaction(room.database) as session:
        return put_aside(session, key, many, until or (room.now + timedelta(days=2)).date(), why, room.now,
                         more.get("zone", room.zone), by=room.worker["hedda"])  # fmt: skip


def shown(room: Room, now: datetime | None = None) -> list[str]:
    return [need.key for need in board_of(room, now).needs if need.kind != "backup"]


def aside(room: Room, now: datetime | None = None) -> list[Aside]:
    return list(board_of(room, now).aside)


def rows(room: Room) -> list[Any]:
    with reading(room.database) as session:
        return list(session.execute(select(ASIDE).order_by(ASIDE.c.id)).mappings())


def test_a_line_that_was_put_aside_is_hidden_with_its_reason(room: Room) -> None:
    key = shelf(room)
    assert shown(room) == [key] and aside(room) == []
    puts(room, key, why="  the table  is full ")
    (line,) = aside(room)
    assert shown(room) == []
    assert (line.need.key, line.why, line.by, line.aside_at) == (key, "the table is full", "Hedda Brackwater", room.now)
    assert line.until_at == datetime(2027, 3, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("zone", "begins"), [("Europe/London", "2027-06-11T23:00"), ("Asia/Kathmandu", "2027-06-11T18:15")]
)
def test_it_comes_back_when_the_day_begins_where_the_room_is(room: Room, zone: str, begins: str) -> None:
    key = shelf(room)
    room.wait(days=92)
    puts(room, key, date(2027, 6, 12), zone=ZoneInfo(zone))
    moment = datetime.fromisoformat(begins).replace(tzinfo=UTC)
    assert (shown(room, moment - SECOND), shown(room, moment)) == ([], [key])
    assert aside(room, moment) == [] and rows(room)[0]["ended_at"] is None, "a row ends by itself"


def test_what_has_grown_to_the_double_comes_back(room: Room) -> None:
    key = shelf(room)
    puts(room, key, date(2027, 3, 31))
    room.wait(minutes=1)
    for count, hidden in ((3, True), (4, False)):
        while board_many(room, key) < 4 + count:
            older(room, room.sheet_ready())
        assert (key in shown(room)) is not hidden, count


def board_many(room: Room, key: str) -> int:
    found = board_of(room)
    return next(need.many for need in (*found.needs, *(line.need for line in found.aside)) if need.key == key)


def older(room: Room, number: str) -> None:
    """As if it had come with the first."""
    from app.db.models import Sheet

    with transaction(room.database) as session:
        sheet = table_of(Sheet)
        session.execute(
            update(sheet).where(sheet.c.number == number).values(came_at=datetime(2026, 11, 25, 9, tzinfo=UTC))
        )


def test_the_last_few_of_a_shelf_stay_aside_with_it(room: Room) -> None:
    key = shelf(room, 5)
    numbers = [row.number for row in board_numbers(room)]
    puts(room, key, many=5)
    for number in numbers[:3]:
        room.scans(number, "table-1", step=Step.TAKE_UP)
        room.scans(number, "table-1", step=Step.MOUNT)
        room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    assert shown(room) == []
    assert [line.need.href_id for line in aside(room)] == numbers[3:]


def board_numbers(room: Room) -> Any:
    from tests.queries.looking import listed

    return listed(room, stage="ready-for-mounting").rows


def test_what_ended_and_began_again_is_another_line(room: Room) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    room.wait(hours=2)
    key = "weights-off stack P1"
    assert shown(room) == [key]
    puts(room, key, date(2026, 11, 26), many=1)
    assert shown(room) == []
    room.weights("on", "P1")
    room.wait(hours=1)
    room.weights("off", "P1")
    assert shown(room, room.now + timedelta(hours=1)) == []
    assert shown(room, room.now + timedelta(hours=1) + SECOND) == [key] and aside(room) == []


def test_another_line_of_the_same_kind_stays_on_the_board(room: Room) -> None:
    first, second = room.sheet_mounted(), room.sheet_mounted()
    room.wait(hours=2)
    puts(room, f"mounted-too-long sheet {first}", date(2026, 11, 26), many=1)
    assert shown(room) == [f"mounted-too-long sheet {second}"]


def test_those_put_aside_do_not_take_the_place_of_others(room: Room) -> None:
    numbers = [room.sheet_mounted() for _ in range(14)]
    room.wait(hours=2)
    for number in numbers[:2]:
        puts(room, f"mounted-too-long sheet {number}", date(2026, 11, 26), many=1)
    found = board_of(room)
    assert [need.href_id for need in found.needs] == numbers[2:] and len(found.aside) == 2


def test_what_is_done_meanwhile_is_no_longer_listed(room: Room) -> None:
    number = room.sheet_mounted()
    room.wait(hours=2)
    puts(room, f"mounted-too-long sheet {number}", date(2026, 11, 26), many=1)
    assert len(aside(room)) == 1
    room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    assert aside(room) == [] and shown(room) == []


def test_it_is_taken_up_again_once(room: Room) -> None:
    key = shelf(room)
    aside_id = puts(room, key)
    room.wait(minutes=1)
    with transaction(room.database) as session:
        assert take_again(session, aside_id, room.now, by=room.worker["rosamund"])
        assert not take_again(session, aside_id, room.now)
        assert not take_again(session, aside_id + 1, room.now)
    assert shown(room) == [key] and aside(room) == []
    assert (rows(room)[0]["ended_at"], rows(room)[0]["ended_by"]) == (room.now, room.worker["rosamund"])


def test_put_aside_anew_it_holds_as_it_was_said_last(room: Room) -> None:
    key = shelf(room)
    puts(room, key, why="first")
    puts(room, key, date(2027, 3, 20), why="second")
    (line,) = aside(room)
    assert (line.why, line.until_at) == ("second", datetime(2027, 3, 20, tzinfo=UTC))
    assert [row["ended_at"] for row in rows(room)] == [room.now, None]


@pytest.mark.parametrize(
    ("until", "why", "said"),
    [(FRIDAY, "", "Say why"), (FRIDAY, "  \n ", "Say why"), (FRIDAY, "x" * 301, "300 letters"),
     (date(2026, 11, 25), "seen", "after today"), (date(2026, 11, 24), "seen", "after today"),
     (date(2027, 1, 25), "seen", "60 days at most, until 24 Jan")],
)  # fmt: skip
def test_it_needs_a_reason_and_a_day_that_is_near(room: Room, until: date, why: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        puts(room, "stalled ready 1 2 –", until, why)
    assert rows(room) == []


def test_today_is_the_day_where_the_room_is(room: Room) -> None:
    room.now = datetime(2026, 11, 25, 23, 30, tzinfo=UTC)
    with pytest.raises(ValueError, match="after today"):
        puts(room, "stalled a", date(2026, 11, 26), zone=ZoneInfo("Asia/Kathmandu"))
    assert puts(room, "stalled a", date(2026, 11, 26), zone=LONDON)


def test_wet_glue_waits_until_the_next_open_day_by_the_rooms_own_calendar(room: Room) -> None:
    room.now = datetime(2026, 11, 27, 16, tzinfo=UTC)
    with transaction(room.database) as session:
        session.add(CalendarDay(day=date(2026, 11, 30), is_open=False, why="stocktaking"))
        session.flush()
    with pytest.raises(ValueError, match="until Tuesday at the latest"):
        puts(room, "weights-off stack P1", date(2026, 12, 2))
    assert puts(room, "weights-off stack P1", date(2026, 12, 1))


def test_it_is_written_down_and_the_board_knows_that_it_changed(room: Room) -> None:
    key = shelf(room)
    with reading(room.database) as session:
        before = board_version(session)
    aside_id = puts(room, key)
    with reading(room.database) as session:
        assert board_version(session) != before
        (row,) = session.execute(select(Change).where(table_of(Change).c.subject == "needs a person")).scalars()
        assert (row.subject_id, row.what, row.new, row.why) == (
            aside_id,
            f"put aside: {key}",
            "2027-03-12",
            "the table is full",
        )
    assert differences(room.database) == []


def test_scripts_are_told_how_many_a_line_is_about_and_not_what_is_aside(room: Room) -> None:
    key = shelf(room)
    (line,) = (each for each in board_json(board_of(room))["needs_a_person"] if each["kind"] == "stalled")
    assert line == {"kind": "stalled", "subject": "M1", "what": "4 sheets wait for mounting too long",
                    "since": "2026-11-25T09:00:00+00:00", "do": "see the list", "many": 4}  # fmt: skip
    puts(room, key)
    assert not [each for each in board_json(board_of(room))["needs_a_person"] if each["kind"] == "stalled"]
