"""The two pages of the room's day: for whoever may read, stations too; nothing is lost between card and page."""

from __future__ import annotations

import pytest

from app.db.engine import transaction
from app.services import room as setting_up
from tests.queries.looking import label
from tests.room import Room
from tests.services.days import done
from tests.services.evenings import (
    closing_said,
    dry_in,
    enrolled,
    everybody_leaves,
    load,
    morning_said,
    names_in,
    on_table,
)
from tests.web.conftest import ClientAs, words

HOSTILE = "<script>alert('x')</script><img src=x onerror=alert(1)>\"'&{{7*7}}"


@pytest.fixture
def evening(room: Room) -> Room:
    """A room in which something of each kind was left on a Friday."""
    room.wait(days=2)
    room.sheet_in("P1")
    room.sheet_in("P2")
    done(room.weights("on", "P2"))
    for _ in range(7):
        label(room, room.sheet_mounted(), plant="Drosera anglica")
    label(room, on_table(room), wanted_at=room.now)
    label(room, room.sheet_ready(), consignment="Quillmoor Fells survey")
    dry_in(room, "Press 7", 3)
    room.scans(room.new_number(), "table-2", held=1)
    load(room, "Bag 12", put_in_at=room.now)
    room.wait(hours=7)
    return room


@pytest.mark.parametrize("days", [0, 3, 8])
def test_every_sheet_and_stack_that_a_card_names_is_on_its_page(evening: Room, client_as: ClientAs, days: int) -> None:
    evening.wait(days=days)
    for said, path in ((closing_said, "/closing"), (morning_said, "/morning")):
        card, page = said(evening), words(client_as("reader").get(path))
        named = [name for line in card.lines for name in names_in(line)]
        assert days == 0 or len(named) >= 6
        assert [name for name in named if name not in page] == []


def test_the_closing_page_says_what_to_do_and_when_the_room_opens(evening: Room, client_as: ClientAs) -> None:
    answer = client_as("volunteer").get("/closing")
    page = words(answer)
    assert "All is safe." not in page and "The room opens again on Monday 30 Nov." in page
    for told in ("P1 1 sheet without weights since 09:00", "Put them on, and scan the card", "Press 7 3 sheets, due Saturday 09:01",
                 "Mounting table 2 since 09:01", "TQX 000003·J Drosera anglica glued 09:00 last seen at Mounting table 1, 09:00"):  # fmt: skip
        assert told in page, told
    assert 'href="/press/P1"' in answer.text and 'datetime="2026-11-28T09:01:00+00:00"' in answer.text


def test_when_nothing_is_left_the_page_says_so_in_large(room: Room, client_as: ClientAs) -> None:
    everybody_leaves(room)
    answer = client_as("manager").get("/closing")
    assert "All is safe." in words(answer) and "day-safe" in answer.text and "See to these" not in words(answer)


def test_what_is_good_to_know_stands_under_all_is_safe(room: Room, client_as: ClientAs) -> None:
    page = words(client_as("manager").get("/closing"))
    assert page.index("All is safe.") < page.index("Signed in") and "Press 1 person" in page


def test_the_morning_says_what_was_left_and_since_when_it_was_closed(evening: Room, client_as: ClientAs) -> None:
    evening.wait(hours=65)
    page = words(client_as("reader").get("/morning"))
    assert "Monday 30 Nov" in page and "The room was closed since Friday 27 Nov." in page
    for told in ("P1 1 sheet without weights since Friday 09:00", "P2 1 now", "Press 7 3 sheets, due since Saturday 09:01",
                 "Quillmoor Fells survey 1 sheet", "ready for mounting, Mounting table 1"):  # fmt: skip
        assert told in page, told


def test_a_morning_without_anything_is_not_an_empty_page(room: Room, client_as: ClientAs) -> None:
    assert "Nothing waits from before" in words(client_as("reader").get("/morning"))


def test_a_station_reads_both_and_nobody_reads_neither(
    evening: Room, client_as: ClientAs, station_client: ClientAs
) -> None:
    for path in ("/closing", "/morning"):
        assert station_client("press").get(path).status_code == 200
        assert client_as("nobody").get(path).status_code == 302


def test_neither_page_names_a_person(evening: Room, station_client: ClientAs) -> None:
    browser = station_client("press")
    for path in ("/closing", "/morning"):
        page = words(browser.get(path))
        assert not any(name in page for name in ("Hedda", "Olwen", "Tarrant", "Piet", "Rosamund", "Ashgill")), path


def test_a_screen_that_keeps_scans_is_named_until_they_are_sent(room: Room, client_as: ClientAs) -> None:
    enrolled(room, "table-1")
    room.scans(room.new_number(), "table-1", held=3)
    assert "Scans are still kept at" in words(client_as("reader").get("/closing"))
    room.wait(minutes=1)
    room.scans(room.new_number(), "table-1")
    assert "Scans are still kept at" not in words(client_as("reader").get("/closing"))


def test_hostile_names_stay_names(room: Room, client_as: ClientAs) -> None:
    with transaction(room.database) as session:
        setting_up.add_stack(session, HOSTILE, room.now)
    dry_in(room, HOSTILE)
    room.sheet_in(HOSTILE)
    number = room.sheet_mounted()
    label(room, number, plant=HOSTILE, consignment=HOSTILE, wanted_at=room.now)
    label(room, room.sheet_ready(), consignment=HOSTILE)
    load(room, HOSTILE, put_in_at=room.now)
    room.wait(days=9)
    for path in ("/closing", "/morning"):
        answer = client_as("reader").get(path)
        assert answer.status_code == 200 and "<script>alert" not in answer.text and "<img src=x" not in answer.text
        assert answer.text.count("&lt;script&gt;") >= 4 and "{{7*7}}" in answer.text, path
