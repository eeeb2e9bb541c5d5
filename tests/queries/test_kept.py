"""What is kept about one worker: all of it, and nobody else by name."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from app.db.engine import reading, transaction
from app.db.models import Base, table_of
from app.domain.stages import Step
from app.queries.kept import Kept, kept_about
from app.queries.kept_elsewhere import NAMED
from app.services.people import make_token, set_rights
from app.services.room import set_house_rule
from app.services.wanted import want
from tests.room import Room


def kept(room: Room, who: str) -> Kept:
    with reading(room.database) as session:
        found = kept_about(session, room.worker[who], room.zone)
    assert found is not None
    return found


def test_everything_that_bears_the_name_is_there(room: Room) -> None:
    number = room.sheet_mounted("table-1")
    room.wait(minutes=5)
    room.scans(number, who="hedda", step=Step.PUT_HOLD, reason="to look at", facts={"hold": "name-query"})
    room.scans(number, "table-1")  # refused or asked: only seen, by Olwen
    with transaction(room.database) as session:
        want(session, room.row(number)["id"], "a visit", room.now, by=room.worker["hedda"])
        set_house_rule(session, "run_sheets", 5, "small trolley", room.now, by=room.worker["hedda"])
        set_rights(session, room.worker["olwen"], ("volunteer", "reader"), room.now, by=room.worker["hedda"])
        make_token(session, "manage", "night script", room.now, worker_id=room.worker["hedda"])
    olwen, hedda = kept(room, "olwen"), kept(room, "hedda")
    assert (olwen.worker.name, olwen.worker.rights) == ("Olwen Tarrant", ("volunteer", "reader"))
    assert [time.station for time in olwen.times] == ["Press", "Mounting table 1"] and olwen.times[0].until is None
    assert olwen.by_month == (("2026-11", (("mounted", 1), ("taken up", 1))),)
    assert [(line.what.split(" ")[0], line.words) for line in olwen.entries.shown] == [
        ("mounted", "at Mounting table 1"), ("taken", "at Mounting table 1")]  # fmt: skip
    assert (olwen.entries.in_all, olwen.entries.others, olwen.sightings.in_all) == (2, 0, 1)
    assert [line.what for line in olwen.changes_about.shown] == ["worker: rights", "worker: added"]
    assert olwen.changes_about.shown[0].words == "from volunteer, to volunteer reader"
    assert olwen.changes_by.in_all == 0 and ("sums of sheets by day and step", 2) in olwen.elsewhere
    assert [line.words for line in hedda.wanted.shown] == ["a visit"]
    assert [line.words for line in hedda.holds.shown] == ["to look at"] and "name" in hedda.holds.shown[0].what
    assert any(line.words == "from 6, to 5, small trolley" for line in hedda.changes_by.shown)
    assert ("keys for scripts that act for them", 1) in hedda.elsewhere


def test_nobody_else_is_named_and_no_secret_is_in_it(room: Room) -> None:
    badge, number = room.code("badge", "olwen"), room.sheet_mounted("table-1")
    room.signs_in("piet", "table-1", "beside")
    room.scans(room.sheet_ready(), "table-1", step=Step.TAKE_UP)
    room.scans(number, who="hedda", step=Step.PUT_HOLD, reason="to look at", facts={"hold": "name-query"})
    for who, own in (("olwen", "Olwen"), ("piet", "Piet")):
        told = repr(kept(room, who))
        assert not [name for name in ("Hedda", "Rosamund", "Olwen", "Piet") if name != own and name in told]
        assert badge not in told and "argon2" not in told
    assert [time.beside for time in kept(room, "piet").times if time.station == "Mounting table 1"] == [True]
    assert ("times at a station of somebody who learned beside them", 1) in kept(room, "olwen").elsewhere
    # The sheet is the learner's; whoever taught stood beside.
    assert kept(room, "olwen").entries.shown[0].words == "at Mounting table 1, stood beside"
    assert kept(room, "piet").entries.shown[0].words == "at Mounting table 1"


def test_an_entry_that_was_taken_back_is_still_kept_and_said_so(room: Room) -> None:
    number = room.sheet_mounted("table-1")
    room.undoes(room.log(number)[-1]["id"])
    found = kept(room, "olwen")
    assert "taken back" in found.entries.shown[1].words
    assert dict(found.by_month[0][1])["mounted"] == 1 and found.entries.in_all == len(found.entries.shown) == 3


def test_the_last_two_hundred_are_listed_and_the_rest_counted(room: Room) -> None:
    number = room.sheet_ready()
    for _ in range(101):
        room.wait(seconds=30)
        room.scans(number, "table-1", step=Step.TAKE_UP)
        room.wait(seconds=30)
        room.scans(number, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1")
    found = kept(room, "olwen")
    assert (len(found.entries.shown), found.entries.in_all, found.entries.others) == (200, 202, 2)
    assert found.entries.shown[0].what.startswith("put back") and sum(many for _, many in found.by_month[0][1]) == 202


@pytest.mark.parametrize(("minute", "month"), [(29, "2026-11"), (30, "2026-12")])
def test_months_are_those_of_the_room(room: Room, minute: int, month: str) -> None:
    from zoneinfo import ZoneInfo

    room.now = datetime(2026, 11, 30, 18, minute, tzinfo=UTC)  # midnight in Kolkata is 18:30 UTC
    room.sheet_ready()
    with reading(room.database) as session:
        found = kept_about(session, room.worker["rosamund"], ZoneInfo("Asia/Kolkata"))
    assert found is not None and [each for each, _ in found.by_month] == [month]


def test_there_is_nothing_about_somebody_who_is_not_there(room: Room) -> None:
    with reading(room.database) as session:
        assert kept_about(session, 999, room.zone) is None


def test_no_table_that_names_a_worker_is_forgotten(room: Room) -> None:
    """Whoever adds a column that names a worker comes here: is it on the page of what is kept?"""
    named = {f"{table.name}.{column.name}" for table in Base.metadata.sorted_tables for column in table.c
             for key in column.foreign_keys if key.column.table.name == "worker"}  # fmt: skip
    assert named == {
        "attendance.worker_id", "attendance.beside_id", "sign_off.worker_id", "sign_off.signed_by", "sign_off.ended_by",
        "entry_worker.worker_id", "sighting.worker_id", "change.changed_by", "wanted.asked_by", "wanted.ended_by",
        "tally_day.worker_id", "hazard.said_by", "hazard.cleared_by", "put_aside.aside_by", "put_aside.ended_by",
        "doubt.settled_by", "token.worker_id", "station.enrolled_by", "named_for.worker_id", "named_for.named_by",
        "named_for.ended_by", "pest_seen.seen_by", "pest_seen.closed_by", "cabinet_check.begun_by", "cabinet_check.closed_by",
        "hand_over.made_by", "hand_over_word.said_by",
        "check_seen.worker_id", "temperature.read_by", "supply_entry.entered_by", "lot_opening.opened_by", "taken_file.sent_by", "column_map.kept_by",
        "house_rule.set_by",  # beside each such row a change is written by the same worker
    }  # fmt: skip


def test_every_column_that_names_a_worker_is_listed_or_counted() -> None:
    listed = {"attendance.worker_id", "entry_worker.worker_id", "sign_off.worker_id", "sighting.worker_id", "change.changed_by",
              "wanted.asked_by", "wanted.ended_by", "house_rule.set_by"}  # fmt: skip
    counted = {f"{table_of(model).name}.{column}" for _, model, columns in NAMED for column in columns}
    named = {f"{table.name}.{column.name}" for table in Base.metadata.sorted_tables for column in table.c
             for key in column.foreign_keys if key.column.table.name == "worker"}  # fmt: skip
    assert listed | counted == named and not listed & counted
