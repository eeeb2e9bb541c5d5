"""The holds of the room as they are read: by kind, against the house's days at their edge, and as a table."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.db.engine import reading
from app.domain.stages import Step
from app.queries.holds import Held, HoldsAsked, KindLine, held, hold_kinds, hold_rows
from tests.queries.looking import filed, label
from tests.room import Room


def kinds(room: Room) -> dict[str, KindLine]:
    with reading(room.database) as session:
        return {line.kind: line for line in hold_kinds(session, room.now, room.zone)}


def asked(room: Room, *, by_names: bool = True, **more: object) -> Held:
    with reading(room.database) as session:
        return held(session, HoldsAsked(**more), room.now, room.zone, by_names=by_names)  # type: ignore[arg-type]


def hold(room: Room, number: str, kind: str, why: str = "to look at") -> None:
    assert (
        room.scans(number, who="hedda", manages=True, step=Step.PUT_HOLD, facts={"hold": kind}, reason=why).kind
        == "done"
    )


def test_by_kind_with_how_many_and_the_oldest(room: Room) -> None:
    one, two = room.sheet_ready(), filed(room)
    hold(room, one, "name-query")
    begun = room.now
    room.wait(days=1)
    hold(room, two, "name-query")
    hold(room, one, "label-query")
    found = kinds(room)
    assert (found["name-query"].count, found["name-query"].oldest, found["name-query"].stops) == (2, begun, ("file",))
    assert (found["label-query"].count, found["quarantine"].count, found["quarantine"].oldest) == (1, 0, None)
    assert set(found["label-query"].stops) == {"take up", "file"}


def test_too_long_is_past_the_open_days_of_its_kind_and_not_a_second_before(room: Room) -> None:
    number = room.sheet_ready()
    # Wednesday 25 November, 9:00: five open days later is Wednesday 2 December, 9:00; the weekend does not count.
    hold(room, number, "number-query")
    room.wait(days=7, seconds=-1)
    assert kinds(room)["number-query"].late == 0 and asked(room, late=True).lines == ()
    room.wait(seconds=2)
    assert kinds(room)["number-query"].late == 1
    assert [(line.number, line.is_late) for line in asked(room, late=True).lines] == [(number, True)]


def test_it_is_narrowed_by_kind_stage_and_consignment(room: Room) -> None:
    one, two = room.sheet_ready(), filed(room)
    label(room, two, consignment="QMX trip")
    for number in (one, two):
        hold(room, number, "name-query", f"why {number}")
    assert [line.number for line in asked(room, stage="filed").lines] == [two]
    assert [line.number for line in asked(room, consignment="QMX").lines] == [two]
    assert [line.number for line in asked(room, kind="label-query").lines] == []
    line = asked(room, kind="name-query").lines[0]
    assert (line.why, line.by, line.place) == (f"why {one}", "Hedda Brackwater", "M1, shelf 1")
    assert asked(room, kind="name-query", by_names=False).lines[0].by == ""
    for wrong in ({"kind": "nonsense"}, {"consignment": "nowhere"}):
        with pytest.raises(ValueError, match="There is no"):
            asked(room, **wrong)


def test_what_was_lifted_or_withdrawn_is_no_longer_counted(room: Room) -> None:
    one, two = room.sheet_ready(), room.sheet_ready()
    hold(room, one, "name-query")
    hold(room, two, "name-query")
    room.scans(one, who="hedda", step=Step.LIFT_HOLD, facts={"hold": "name-query"}, reason="named")
    room.scans(two, who="hedda", manages=True, step=Step.WITHDRAW, reason="destroyed")
    assert kinds(room)["name-query"].count == 0 and asked(room).matching == 0


def test_as_a_table_without_names(room: Room) -> None:
    number = room.sheet_ready()
    hold(room, number, "quarantine", "frass")
    room.wait(days=30)
    with reading(room.database) as session:
        rows = list(hold_rows(session, HoldsAsked(), room.now, room.zone))
    assert rows[0][:3] == ("catalogNumber", "scientificName", "hold")
    since = (room.now - timedelta(days=30)).astimezone(room.zone).isoformat(timespec="seconds")
    assert rows[1][0] == number and rows[1][2:7] == ("quarantine", since, "10", "yes", "frass")
    assert not any("Hedda" in cell for cell in rows[1])
