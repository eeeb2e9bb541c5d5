"""Not me: the run of a station is credited to the hands that did it, and nothing else of it changes."""

from __future__ import annotations

from typing import Any

from sqlalchemy import func, select

from app.db.engine import reading, transaction
from app.db.models import Inspection
from app.domain.answer import Answer
from app.domain.stages import Step
from app.services.crediting import credit_to
from app.services.desk import Desk, ScanRequest, workers_named
from app.services.scanning import once
from tests.room import Room
from tests.services.days import codes, differences, done, minutes_left, pressed


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


def says_not_me(room: Room, at: str) -> None:
    """The button under the last scan of a station: the next badge says whose it really was."""
    request = ScanRequest(room.next_id(), "", room.station[at])

    def act(desk: Desk) -> Any:
        desk.keep(pending={"not_me": 1})
        return Answer("which-one", "Whose?", (), "")

    with transaction(room.database) as session:
        once(session, request, room.occasion, act, "not me")


def test_whoever_only_reads_is_credited_with_nothing_and_the_question_stands(room: Room) -> None:
    number = room.sheet_ready()
    done(room.scans(number, "table-1", step=Step.TAKE_UP))
    says_not_me(room, "table-1")
    refused = room.scans(room.code("badge", "ines"), "table-1")
    assert refused.kind == "stop" and codes(refused) == ["unknown-worker"]
    assert room.steps(number)[-1] == "take-up"
    done(room.scans(room.code("badge", "piet"), "table-1"))
    assert room.steps(number)[-2:] == ["correct", "take-up"]


def test_a_later_mending_by_others_keeps_nothing_of_whom_the_earlier_was_taken_from(room: Room) -> None:
    """Olwen glued it anew at the press, by the log, then Rosamund; the first of them was Piet."""
    number = pressed(room)
    room.wait(hours=25)
    room.weights("off", "P1")
    for hands in ("W02", "W04"):
        done(room.takes_out(number))
        facts = {"glued_by": hands, "adhesive": "straps"}
        done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P2", already_done=True, facts=facts))
        room.weights("on", "P2")
        room.wait(hours=3)
        room.weights("off", "P2")
    assert set(room.row(number)["mended_by"]) == {room.worker["olwen"], room.worker["rosamund"]}
    done(not_me(room, "press", "piet"))
    assert set(room.row(number)["mended_by"]) == {room.worker["piet"], room.worker["rosamund"]}
    assert differences(room.database) == []


def test_only_what_was_theirs_is_counted_as_credited(room: Room) -> None:
    number = room.sheet_ready()
    room.weights("off", "P1")
    facts = {"glued_by": "W04"}
    done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", already_done=True, facts=facts))
    # The laying in was hers, the gluing was not.
    assert done(not_me(room, "press", "piet")).lines == ("1 scan is credited to Piet Lindqvist now.",)


def test_what_a_station_told_late_leaves_its_mark_on_its_own_entries_only(room: Room) -> None:
    late, other = room.sheet_ready(), room.sheet_ready()
    room.scans("nothing", "table-1")
    made_at = room.now
    room.wait(minutes=5)
    done(room.scans(late, "table-1", step=Step.TAKE_UP, happened_at=made_at, held=1))
    done(room.scans(other, "table-1", step=Step.TAKE_UP))
    done(not_me(room, "table-1", "piet"))
    assert [each["time_from"] for each in room.log(late)[-3:]] == ["station", "server", "station"]
    assert [each["time_from"] for each in room.log(other)[-3:]] == ["server", "server", "server"]
