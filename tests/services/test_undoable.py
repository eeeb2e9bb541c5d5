"""What a station offers to take back is what it would take back: asked ahead and done, one rule."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from app.db.engine import reading
from app.domain.stages import Step
from app.queries.last_scans import last_scans
from app.services.undoable import newest_undoable
from tests.room import Room
from tests.services.days import card, done, pressed


def offered(room: Room, at: str = "table-1") -> int | None:
    """What this station offers of its last scans."""
    with reading(room.database) as session:
        shown = last_scans(session, room.station[at], room.now, room.zone)
        entries = [scan.entry for scan in shown if scan.entry is not None]
        return newest_undoable(session, room.station[at], entries, room.occasion)


def offered_of(room: Room, entry: int, at: str) -> int | None:
    """Whether this one would be offered, were it among the last scans."""
    with reading(room.database) as session:
        return newest_undoable(session, room.station[at], [entry], room.occasion)


def own(room: Room) -> tuple[int, str]:
    return int(room.log(room.sheet_mounted())[-1]["id"]), "table-1"


def of_somebody_who_left(room: Room) -> tuple[int, str]:
    entry, at = own(room)
    room.signs_in("piet", at)
    return entry, at


def with_a_learner_beside(room: Room) -> tuple[int, str]:
    number = room.sheet_ready()
    room.signs_in("rosamund", "table-1")
    room.signs_in("piet", "table-1", with_others="beside")
    return int(done(room.scans(number, "table-1", step=Step.TAKE_UP)).entry), "table-1"


def with_nobody_there(room: Room) -> tuple[int, str]:
    entry, at = own(room)
    done(room.scans(card("done"), at))
    return entry, at


def an_hour_before_midnight(room: Room) -> tuple[int, str]:
    found = own(room)
    room.wait(hours=14.99)
    return found


def of_yesterday(room: Room) -> tuple[int, str]:
    found = own(room)
    room.wait(hours=15)
    return found


def gone_on(room: Room) -> tuple[int, str]:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    return int(room.log(number)[-2]["id"]), "table-1"


def weights_on(room: Room) -> tuple[int, str]:
    room.weights("off", "P1")
    room.wait(hours=1)
    return int(done(room.weights("on", "P1")).entry), "press"


def weights_on_too_long(room: Room) -> tuple[int, str]:
    found = weights_on(room)
    room.wait(seconds=121)
    return found


def what_was_undone(room: Room) -> tuple[int, str]:
    entry, at = own(room)
    done(room.undoes(entry))
    return entry, at


def an_undo(room: Room) -> tuple[int, str]:
    entry, at = own(room)
    return int(done(room.undoes(entry)).entry), at


CASES: dict[Callable[[Room], tuple[int, str]], bool] = {
    own: True, of_somebody_who_left: False, with_a_learner_beside: True, with_nobody_there: False,
    an_hour_before_midnight: True, of_yesterday: False, gone_on: False, weights_on: True, weights_on_too_long: False,
    what_was_undone: False, an_undo: False,
}  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.__name__)
def test_what_is_offered_is_taken_back_and_nothing_else_would_be(
    room: Room, case: Callable[[Room], tuple[int, str]]
) -> None:
    entry, at = case(room)
    assert (offered_of(room, entry, at) == entry) is CASES[case]
    assert (room.undoes(entry, at).kind == "done") is CASES[case]


def test_of_the_last_scans_it_is_the_newest_that_wrote_something_and_stands(room: Room) -> None:
    assert offered(room) is None
    first, second = room.sheet_ready(), room.sheet_ready()
    entries = [done(room.scans(number, "table-1", step=Step.TAKE_UP)).entry for number in (first, second)]
    assert offered(room) == entries[1]
    assert room.scans("TQX 999999 9", "table-1").kind == "stop"
    done(room.scans(card("help"), "table-1"))
    assert offered(room) == entries[1]
    done(room.undoes(int(entries[1])))
    assert offered(room) == entries[0]
    done(room.undoes(int(entries[0])))
    assert offered(room) is None


def test_what_another_station_scanned_is_not_offered_and_an_older_one_does_not_stand_in_for_it(room: Room) -> None:
    first, second = room.sheet_mounted(), room.sheet_mounted()
    room.weights("off", "P1")
    done(room.scans(second, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
    assert offered(room) is None, "the mounting of the second went on at the press"
    assert offered(room, "press") == room.log(second)[-1]["id"] and offered(room, "table-2") is None
    assert room.undoes(int(room.log(first)[-1]["id"])).kind == "done", (
        "the first may be taken back by its entry all the same"
    )


def test_a_scan_that_moved_several_is_offered_and_undone_as_one(room: Room) -> None:
    number = room.sheet_ready()
    room.weights("off", "P1")
    facts = {"glued_by": "W02"}
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", already_done=True, facts=facts))
    entry = offered(room, "press")
    assert entry == room.log(number)[-1]["id"]
    done(room.undoes(int(entry or 0), "press"))
    assert (
        room.stage(number) == "ready-for-mounting" and offered(room, "press") is None or offered(room, "press") != entry
    )


def test_asking_writes_nothing(room: Room) -> None:
    number = pressed(room)
    before, log = room.row(number), room.log(number)
    for slug in room.station:
        offered(room, slug)
    assert room.row(number) == before and room.log(number) == log
