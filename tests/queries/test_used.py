"""What mounting used up between two moments: counted by hand, and only what still stands."""

from __future__ import annotations

from datetime import timedelta

from app.db.engine import reading, transaction
from app.domain.stages import Step
from app.queries.used import table_takes, used_between, used_on_day
from app.services.room import set_at_station
from tests.queries.looking import page_of
from tests.room import Room
from tests.services.days import done


def counted(room: Room, **more: object) -> dict[tuple[str, str], int]:
    """What was used in the hour around now, by kind and which."""
    with reading(room.database) as session:
        found = used_between(session, room.now - timedelta(hours=1), room.now + timedelta(minutes=1), **more)  # type: ignore[arg-type]
    return {(each.kind, each.what): each.sheets for each in found}


def test_packets_straps_and_adhesives_are_counted_by_the_sheets_that_took_them(room: Room) -> None:
    assert counted(room) == {}
    room.sheet_mounted(packet="small", straps="none")
    room.sheet_mounted(packet="small", straps="both")
    room.sheet_mounted(packet="none", straps="thread", adhesive="paste")
    room.sheet_mounted("table-2", packet="large")
    assert counted(room) == {("packet", "small"): 2, ("packet", "large"): 1, ("straps", "straps"): 1, ("straps", "thread"): 2,
                             ("adhesive", "pva"): 3, ("adhesive", "paste"): 1}  # fmt: skip
    here = counted(room, station_id=room.station["table-2"])
    assert here == {("packet", "large"): 1, ("adhesive", "pva"): 1}


def test_what_was_taken_back_used_nothing(room: Room) -> None:
    room.sheet_mounted(packet="small")
    number = room.sheet_mounted(packet="small")
    done(room.undoes(room.log(number)[-1]["id"]))
    assert counted(room) == {("packet", "small"): 1, ("adhesive", "pva"): 1}


def test_gluing_anew_counts_its_adhesive_and_no_packet(room: Room) -> None:
    with transaction(room.database) as session:
        set_at_station(session, room.station["table-1"], uses={"packet": "small"})
    number = room.new_number()
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.scans(number, "intake", step=Step.ARRIVE_MOUNTED, facts={"dryness": True})
    done(room.scans(number, "table-1", step=Step.RE_GLUE, facts={"straps": "straps"}))
    assert counted(room) == {("straps", "straps"): 1, ("adhesive", "pva"): 1}


def test_from_the_first_moment_on_and_before_the_last(room: Room) -> None:
    room.sheet_mounted(packet="small")
    with reading(room.database) as session:
        assert used_between(session, room.now, room.now + timedelta(seconds=1))
        assert not used_between(session, room.now - timedelta(hours=1), room.now)
        assert not used_between(session, room.now + timedelta(seconds=1), room.now + timedelta(hours=1))


def test_today_ends_at_the_rooms_own_midnight(room: Room) -> None:
    room.sheet_mounted(packet="large")
    with reading(room.database) as session:
        # The room opened at nine in London: fifteen hours later it is tomorrow there.
        for hours, some in ((0, True), (14, True), (15, False)):
            found = used_on_day(session, room.now + timedelta(hours=hours), room.zone)
            assert bool(found) is some, hours
        assert [each.words for each in used_on_day(session, room.now, room.zone)] == ["large packet", "PVA, acid-free"]


def test_a_table_says_what_it_takes_and_leaves_out_what_is_no_longer_known(room: Room) -> None:
    with transaction(room.database) as session:
        assert table_takes(session, room.station["table-1"]) == {}
        set_at_station(session, room.station["table-1"], uses={"packet": "small", "straps": "both"})
    with reading(room.database) as session:
        assert table_takes(session, room.station["table-1"]) == {"packet": "small", "straps": "both"}


def test_the_log_says_what_a_sheet_was_mounted_with(room: Room) -> None:
    number = room.sheet_mounted(packet="small", straps="both")
    assert page_of(room, number).log[-1].sentence.endswith("With small packet, straps and thread.")
    assert "With" not in page_of(room, room.sheet_mounted()).log[-1].sentence
