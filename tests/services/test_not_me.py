"""Not me: the run of a station is credited to the hands that did it, and nothing else of it changes."""

from __future__ import annotations

from typing import Any

from sqlalchemy import func, select

from app.db.engine import reading, transaction
from app.db.models import Inspection
from app.domain.stages import Step
from app.services.crediting import credit_to
from app.services.desk import Desk, ScanRequest, workers_named
from app.services.scanning import once
from tests.room import Room
from tests.services.days import differences, done, minutes_left, pressed


def not_me(room: Room, at: str, who: str) -> Any:
    """The run at this station since sign-in is credited to somebody else."""
    request = ScanRequest(room.next_id(), "", room.station[at])

    def act(desk: Desk) -> Any:
        return credit_to(desk, workers_named(desk.session, (room.worker[who],), desk.house)[0])

    with transaction(room.database) as session:
        return once(session, request, room.occasion, act, f"not me {who}")


def test_a_run_is_credited_to_the_hands_that_did_it(room: Room) -> None:
    numbers = [room.sheet_mounted() for _ in range(3)]
    answer = done(not_me(room, "table-1", "piet"))
    assert "credited to Piet Lindqvist" in answer.lines[0]
    assert all(room.row(number)["mounted_by"] == [room.worker["piet"]] for number in numbers)
    assert all(room.stage(number) == "mounted" for number in numbers)
    assert differences(room.database) == []


def test_not_me_keeps_inspections_and_what_a_stray_sheet_really_lay(room: Room) -> None:
    stray, other = pressed(room), pressed(room, "P2")
    room.wait(hours=24)
    done(room.scans(stray, "press", step=Step.FOUND_OUT))
    room.weights("off", "P2")
    done(room.takes_out(other))
    done(room.scans(other, "inspection", step=Step.INSPECT, facts={"outcome": "mended-here"}))
    done(not_me(room, "press", "piet"))
    done(not_me(room, "inspection", "piet"))
    with reading(room.database) as session:
        assert session.execute(select(func.count()).select_from(Inspection)).scalar_one() == 1
    assert room.row(other)["mended_by"] == [room.worker["piet"]]
    room.weights("off", "P1")
    done(room.scans(stray, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
    assert minutes_left(room.takes_out(stray)) == 24 * 60
    assert differences(room.database) == []


def test_not_me_leaves_to_others_what_they_had_done(room: Room) -> None:
    number = room.sheet_ready()
    room.weights("off", "P1")
    facts = {"glued_by": "W04"}
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", already_done=True, facts=facts))
    done(not_me(room, "press", "piet"))
    assert room.row(number)["mounted_by"] == [room.worker["rosamund"]]
    assert differences(room.database) == []
