"""Lists of sheets, a page at a time: nothing twice, nothing left out."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.domain.stages import Step
from app.queries.listing import list_json
from tests.queries.looking import label, listed
from tests.room import Room


def _all_pages(room: Room, **more: object) -> list[str]:
    numbers: list[str] = []
    after = ""
    while True:
        page = listed(room, after=after, limit=2, **more)
        numbers += [row.number for row in page.rows]
        after = page.next_after
        if not after:
            return numbers


def test_what_waits_is_listed_longest_first_without_gap_or_repeat(room: Room) -> None:
    numbers = []
    for minutes in (0, 0, 5, 0, 7):
        room.wait(minutes=minutes)
        numbers.append(room.sheet_ready())
    assert _all_pages(room, stage="ready-for-mounting") == numbers


def test_everything_is_listed_by_number(room: Room) -> None:
    numbers = [room.sheet_ready() for _ in range(3)] + [room.sheet_mounted()]
    assert _all_pages(room) == sorted(numbers)


def test_filed_sheets_are_listed_by_number_and_not_among_what_waits(room: Room) -> None:
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.scans(number, "intake", step=Step.ARRIVE_MOUNTED, facts={"dryness": True})
    room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="1")
    assert _all_pages(room, stage="filed") == [number] == _all_pages(room, cabinet="F1")
    assert _all_pages(room, stage="dry") == []


def test_a_list_is_narrowed_by_cabinet_and_by_what_is_searched_for(room: Room) -> None:
    geranium, rumex = room.sheet_ready(), room.sheet_ready()
    label(room, geranium, plant="Geranium sylvaticum")
    label(room, rumex, plant="Rumex acetosa")
    assert _all_pages(room, cabinet="M1") == [geranium, rumex]
    assert _all_pages(room, cabinet="D1") == []
    assert _all_pages(room, stage="ready-for-mounting", q="rumex") == [rumex]


def test_only_stalled_sheets_are_listed_on_asking(room: Room) -> None:
    room.sheet_ready()
    mounted = room.sheet_mounted()
    found = listed(room, room.now + timedelta(hours=3), stalled=True)
    assert [(row.number, row.stalled) for row in found.rows] == [(mounted, True)]


@pytest.mark.parametrize(
    "after", ["nonsense", "2026-11-25T09:00:00 1", "2026-11-25T09:00:00+00:00 99999999999999999999999"]
)
def test_a_place_that_no_page_gave_is_refused_in_a_sentence(room: Room, after: str) -> None:
    with pytest.raises(ValueError, match="no place in the list"):
        listed(room, stage="dry", after=after)


def test_a_stage_or_cabinet_that_is_not_there_is_refused_in_a_sentence(room: Room) -> None:
    with pytest.raises(ValueError, match="no stage called pressed"):
        listed(room, stage="pressed")
    with pytest.raises(ValueError, match="no cabinet called Z9"):
        listed(room, cabinet="Z9")


def test_the_json_of_a_list_says_where_the_next_page_begins(room: Room) -> None:
    numbers = [room.sheet_ready() for _ in range(3)]
    found = list_json(listed(room, stage="ready-for-mounting", limit=2))
    assert [sheet["number"] for sheet in found["sheets"]] == numbers[:2] and found["next"]
    assert list_json(listed(room, stage="ready-for-mounting", after=found["next"]))["next"] is None
