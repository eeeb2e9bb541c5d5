"""What a sheet is mounted with is written with its entry: as the table takes it, or as was said of this one."""

from __future__ import annotations

from typing import Any

import pytest

from app.db.engine import transaction
from app.domain.stages import Step
from app.services.room import set_at_station
from tests.room import Room
from tests.services.days import differences, done
from tests.services.test_inspecting import dry


def takes(room: Room, table: str = "table-1", **uses: str) -> None:
    """A button is pressed at a table."""
    with transaction(room.database) as session:
        set_at_station(session, room.station[table], uses=uses)


def used(room: Room, number: str) -> Any:
    """What the last entry of a sheet says of what was used; None where it says nothing."""
    return room.log(number)[-1]["facts"].get("used")


def test_a_table_that_was_never_set_writes_nothing_that_nobody_said(room: Room) -> None:
    assert used(room, room.sheet_mounted()) is None
    assert used(room, room.sheet_mounted(packet="large")) == {"packet": "large"}


def test_the_table_remembers_what_it_takes_until_it_is_changed(room: Room) -> None:
    takes(room, packet="small")
    takes(room, straps="none")
    assert used(room, room.sheet_mounted()) == {"packet": "small", "straps": "none"}
    takes(room, packet="none")
    assert used(room, room.sheet_mounted()) == {"packet": "none", "straps": "none"}
    # The other table has its own.
    assert used(room, room.sheet_mounted("table-2")) is None


def test_what_is_said_of_one_sheet_holds_for_that_one_only(room: Room) -> None:
    takes(room, packet="small", straps="none")
    assert used(room, room.sheet_mounted(packet="large", straps="both")) == {"packet": "large", "straps": "both"}
    assert used(room, room.sheet_mounted()) == {"packet": "small", "straps": "none"}


def test_a_table_takes_nothing_that_there_is_not(room: Room) -> None:
    takes(room, packet="small")
    with pytest.raises(ValueError, match="Load the page again"):
        takes(room, packet="huge")
    assert room.station_row("table-1")["uses"] == {"packet": "small"}


def test_a_mounting_that_is_undone_and_done_again_has_what_was_used_the_second_time(room: Room) -> None:
    takes(room, packet="small")
    number = room.sheet_ready()
    done(room.scans(number, "table-1", step=Step.TAKE_UP))
    first = done(room.scans(number, "table-1", step=Step.MOUNT))
    assert first.entry is not None
    done(room.undoes(first.entry))
    room.wait(minutes=1)
    done(room.scans(number, "table-1", step=Step.MOUNT, facts={"packet": "none"}))
    assert used(room, number) == {"packet": "none"}
    assert differences(room.database) == []


def test_gluing_anew_uses_only_what_was_said_of_it(room: Room) -> None:
    takes(room, packet="small", straps="straps")
    number = dry(room)
    done(room.scans(number, "inspection", step=Step.RE_GLUE, facts={"straps": "thread", "findings": ["loose-part"]}))
    assert used(room, number) == {"straps": "thread"}
    # The packet is on the sheet since it was mounted: mending takes no second one, not even at the table.
    other = dry(room, number=room.sheet_mounted())
    done(room.scans(other, "table-1", step=Step.RE_GLUE))
    assert used(room, other) is None


def test_a_sheet_glued_without_a_scan_has_what_is_said_at_the_press(room: Room) -> None:
    takes(room, packet="small")
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    answer = room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", already_done=True,
                        facts={"glued_by": "W02", "packet": "large"})  # fmt: skip
    assert answer.kind == "done"
    (mount,) = [entry for entry in room.log(number) if entry["step"] == "mount"]
    assert mount["facts"]["used"] == {"packet": "large"}
