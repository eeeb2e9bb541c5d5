"""Late entries: written up by the manager from paper, at the time and the place where it was really done."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.room import Room
from tests.web.conftest import ClientAs, send, words


def form(room: Room, step: str, at: str, who: str = "piet", **more: Any) -> dict[str, Any]:
    """What the manager types in."""
    return {"step": step, "happened_at": at, "worker": str(room.worker[who]), "reason": "paper log", **more}


def test_what_was_done_during_a_power_cut_is_written_up_afterwards(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("manager")
    room.wait(hours=3)
    table = {"station": str(room.station["table-2"])}
    sent = form(room, "take-up", "2026-11-25T10:00", scan_id="late-1", **table)
    for _ in range(2):
        assert send(browser, f"/sheets/{number}/late", **sent).status_code == 302
    sent = form(room, "mount", "2026-11-25T10:20", adhesive="paste", bulk="bulky", **table)
    assert send(browser, f"/sheets/{number}/late", **sent).status_code == 302
    taken_up, mounted = room.log(number)[-2:]
    assert (taken_up["step"], mounted["step"]) == ("take-up", "mount")
    assert mounted["happened_at"] == datetime(2026, 11, 25, 10, 20, tzinfo=UTC) and mounted["recorded_at"] == room.now
    assert mounted["is_late"] and mounted["station_id"] == room.station["table-2"]
    row = room.row(number)
    assert (row["stage"], row["bulk"], row["adhesive_id"], row["mounted_by"]) == (
        "mounted",
        "bulky",
        2,
        [room.worker["piet"]],
    )


def test_the_page_marks_a_late_entry(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("manager")
    room.wait(hours=3)
    send(
        browser,
        f"/sheets/{number}/late",
        **form(room, "take-up", "2026-11-25T10:00", station=str(room.station["table-1"])),
    )
    answer = browser.get(f"/sheets/{number}")
    assert "Late entry, written 12:00." in words(answer) and "log-late" in answer.text


def test_a_late_entry_leaves_alone_what_the_station_has_in_hand_now(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    room.scans(room.code("shelf", "M1/3"), "table-2")
    before = dict(room.station_row("table-2"))
    room.wait(hours=3)
    sent = form(room, "take-up", "2026-11-25T10:00", station=str(room.station["table-2"]))
    assert send(client_as("manager"), f"/sheets/{number}/late", **sent).status_code == 302
    assert dict(room.station_row("table-2")) == before


def test_it_may_go_on_a_shelf_that_is_named(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    room.wait(hours=3)
    sent = form(room, "shelve", "2026-11-25T10:00", shelf=room.code("shelf", "M1/4"))
    assert send(client_as("manager"), f"/sheets/{number}/late", **sent).status_code == 302
    assert "M1, shelf 4" in words(client_as("reader").get(f"/sheets/{number}"))


@pytest.mark.parametrize(
    ("before_last", "status"), [(timedelta(seconds=1), 422), (timedelta(0), 302), (timedelta(seconds=-1), 302)]
)
def test_it_may_not_lie_before_the_last_entry_of_the_sheet(
    room: Room, client_as: ClientAs, before_last: timedelta, status: int
) -> None:
    number = room.sheet_ready()
    last = room.now
    room.wait(hours=3)
    at = (last - before_last).strftime("%Y-%m-%dT%H:%M:%S")
    answer = send(
        client_as("manager"),
        f"/sheets/{number}/late",
        **form(room, "take-up", at, station=str(room.station["table-1"])),
    )
    assert answer.status_code == status
    assert ("Something else has happened to this sheet since then" in words(answer)) is (status == 422)


def test_a_time_that_has_not_come_yet_is_refused(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    answer = send(client_as("manager"), f"/sheets/{number}/late", **form(room, "take-up", "2026-11-25T09:01"))
    assert answer.status_code == 422 and "That time has not come yet." in words(answer)


def test_a_step_that_does_not_lead_on_from_where_the_sheet_stood_is_refused_in_words(
    room: Room, client_as: ClientAs
) -> None:
    number = room.sheet_ready()
    room.wait(hours=3)
    answer = send(client_as("manager"), f"/sheets/{number}/late", **form(room, "take-out", "2026-11-25T10:00"))
    assert answer.status_code == 422 and "is ready for mounting, so it cannot be taken out now" in words(answer)


def test_only_the_steps_that_lead_on_are_offered(room: Room, client_as: ClientAs) -> None:
    text = client_as("manager").get(f"/sheets/{room.sheet_ready()}").text
    assert '<option value="take-up">' in text and '<option value="take-out">' not in text


# The clocks go back in London on 25 October 2026 (The Summer Time Order 2002): from 01:00 to 02:00 comes twice.
@pytest.mark.parametrize(
    ("hour", "moment"),
    [("first", datetime(2026, 10, 25, 0, 30, tzinfo=UTC)), ("second", datetime(2026, 10, 25, 1, 30, tzinfo=UTC))],
)
def test_in_the_hour_that_came_twice_it_must_be_said_which(
    room: Room, client_as: ClientAs, hour: str, moment: datetime
) -> None:
    room.now = datetime(2026, 10, 24, 21, 0, tzinfo=UTC)
    number = room.sheet_ready()
    room.wait(hours=12)
    browser, table = client_as("manager"), str(room.station["table-1"])
    sent = form(room, "take-up", "2026-10-25T01:30", station=table)
    answer = send(browser, f"/sheets/{number}/late", **sent)
    assert answer.status_code == 422 and "The clock showed this time twice that night. Say which is meant." in words(
        answer
    )
    assert send(browser, f"/sheets/{number}/late", **sent, hour=hour).status_code == 302
    assert room.log(number)[-1]["happened_at"] == moment


def test_a_time_that_was_left_out_when_the_clocks_went_forward_is_refused(room: Room, client_as: ClientAs) -> None:
    room.now = datetime(2027, 3, 27, 21, 0, tzinfo=UTC)
    number = room.sheet_ready()
    room.wait(hours=12)
    answer = send(client_as("manager"), f"/sheets/{number}/late", **form(room, "take-up", "2027-03-28T01:30"))
    assert answer.status_code == 422 and "the clocks went forward" in words(answer)


@pytest.mark.parametrize("missing", ["step", "happened_at", "worker", "reason"])
def test_what_is_missing_is_said_beside_its_field(room: Room, client_as: ClientAs, missing: str) -> None:
    number = room.sheet_ready()
    answer = send(
        client_as("manager"), f"/sheets/{number}/late", **{**form(room, "take-up", "2026-11-25T09:00"), missing: ""}
    )
    assert answer.status_code == 422 and f'id="late-{missing}-error"' in answer.text
    assert room.steps(number)[-1] == "arrive-dry"
