"""Neighbours, found by the program and counted from the whole log by hand; and one action that holds them all."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import insert, select

from app.db.engine import reading, transaction
from app.db.models import Bundle, Change, FreezerLoad, LoadBundle
from app.db.neighbours import neighbours
from app.domain.stages import Step
from tests.databases import Rooms
from tests.queries.looking import filed, label
from tests.room import Room
from tests.services.days import differences
from tests.services.pest_room import (
    PEST,
    all_in_quarantine,
    bundle,
    clean,
    closes,
    counted,
    found,
    is_clean,
    sighting,
)
from tests.services.test_pests import treat

DEEDS = st.lists(
    st.tuples(
        st.integers(0, 4),
        st.sampled_from(["s1", "s2", "loose", "tray", "dry", "table", "undo", "glue", "late"]),
        st.integers(0, 2),
    ),
    max_size=40,
)


def does(room: Room, number: str, deed: str) -> None:
    """One thing that may happen to a sheet; what the rules refuse just does not happen."""
    if deed == "tray":
        room.scans(room.code("bundle", "Tray"), "drying")
    if deed == "undo":
        last = [entry["id"] for entry in room.log(number) if entry["step"] != "correct"][-1]
        room.undoes(last, "intake", manages=True, worker_ids=(room.worker["hedda"],))
        return
    station, more = WAYS[deed]
    if deed == "late":
        more = {**more, "happened_at": room.now - timedelta(minutes=1)}
    room.scans(number, station, **more)


WAYS: dict[str, tuple[str | None, dict[str, Any]]] = {
    "s1": ("intake", {"step": Step.SHELVE, "cabinet": "M1", "shelf": "1"}),
    "s2": ("intake", {"step": Step.SHELVE, "cabinet": "M1", "shelf": "2"}),
    "loose": ("intake", {"step": Step.SHELVE, "cabinet": "M1"}),
    "tray": ("drying", {"step": Step.LAY_TO_DRY}),
    "dry": ("drying", {"step": Step.PASS_AS_DRY, "facts": {"dryness": True, "label": True, "felt_again": True}}),
    "table": ("table-1", {"step": Step.TAKE_UP}),
    "glue": ("press", {"step": Step.PUT_UNDER_WEIGHT, "stack": "P1", "already_done": True}),
    "late": (None, {"step": Step.SHELVE, "cabinet": "M1", "shelf": "3", "who": "hedda", "manages": True}),
}


@settings(max_examples=60)
@given(deeds=DEEDS, since=st.integers(0, 60))
def test_the_neighbours_are_those_that_the_whole_log_tells_of(
    rooms: Rooms, tmp_path_factory: pytest.TempPathFactory, deeds: list[tuple[int, str, int]], since: int
) -> None:
    database = rooms.open(tmp_path_factory.mktemp("history") / "room.sqlite3")
    room = Room(database)
    bundle(room, "Tray")
    begun, numbers = room.now, [room.sheet_ready() for _ in range(5)]
    for who, deed, minutes in deeds:
        room.wait(minutes=minutes)
        does(room, numbers[who], deed)
    room.wait(minutes=1)
    room.scans(numbers[0], "intake", step=Step.QUARANTINE)
    room.wait(minutes=3)
    pest, from_ = sighting(room), begun + timedelta(minutes=since)
    with reading(database) as session:
        told = {each.sheet_id for each in neighbours(session, pest, from_)} - {pest.sheet_id}
    assert told == counted(database, pest, from_)
    assert differences(database) == []
    database.engine.dispose()


def test_filed_ones_and_ones_that_left_long_ago_are_named_with_how(room: Room) -> None:
    sick, left, came_later, filed_one = room.sheet_ready(), room.sheet_ready(), "", filed(room)
    room.wait(days=3)
    room.scans(left, "table-1")
    room.wait(days=3)
    room.scans(sick, "intake", step=Step.SHELVE, cabinet="M1", shelf="2")
    room.wait(hours=1)
    came_later = room.sheet_ready()
    room.wait(hours=1)
    room.scans(sick, "press", step=Step.QUARANTINE)
    assert found(room) == {sick: [], left: ["shelf"]}
    assert came_later not in found(room) and filed_one not in found(room)
    # After it had left, they shared nothing any more.
    assert found(room, room.now - timedelta(days=3)) == {sick: []}
    room.wait(hours=1)
    room.scans(filed_one, "press", step=Step.QUARANTINE)
    assert list(found(room)) == [filed_one]


def test_of_a_cabinet_all_that_lay_in_it_since(room: Room) -> None:
    gone, there = room.sheet_ready(), room.sheet_ready()
    room.wait(days=1)
    room.scans(gone, "table-1")
    room.wait(days=2)
    room.scans(room.code("shelf", "M1/3"), "press", step=Step.QUARANTINE)
    assert set(found(room)) == {gone, there} and set(found(room, room.now - timedelta(days=1))) == {there}


def test_of_a_consignment_those_of_it_and_those_beside_them(room: Room) -> None:
    came, beside = room.sheet_ready(), room.sheet_ready()
    label(room, came, consignment="QMX trip")
    away = filed(room)
    room.wait(hours=1)
    room.scans(PEST, "intake", facts={"pest_with": "QMX"})
    assert found(room) == {came: [], beside: ["shelf"]} and away not in found(room)


def test_a_bundle_shares_its_bag_with_another_in_the_same_load(room: Room) -> None:
    one, other, numbers = bundle(room, "Tray 1"), bundle(room, "Tray 2"), []
    for card in (one, other):
        room.scans(card, "intake")
        numbers.append(room.new_number())
        room.scans(numbers[-1], "intake", step=Step.TAKE_IN)
        room.wait(minutes=5)
    with transaction(room.database) as session:
        load = insert(FreezerLoad).values(code="KL000001", name="Load 1", made_at=room.now).returning(FreezerLoad.id)
        load_id = session.execute(load).scalar_one()
        for bundle_id in session.execute(select(Bundle.id)).scalars().all():
            session.execute(insert(LoadBundle).values(load_id=load_id, bundle_id=bundle_id))
    room.wait(minutes=5)
    room.scans(numbers[0], "press", step=Step.QUARANTINE)
    assert found(room) == {numbers[0]: [], numbers[1]: ["load"]}


def test_one_that_has_left_the_bundle_is_named(room: Room) -> None:
    card, sick, left, others = bundle(room, "Tray 1"), room.sheet_ready(), room.sheet_ready(), room.sheet_ready()
    for number, shelf in ((sick, "1"), (left, "2"), (others, "3")):
        room.scans(number, "intake", step=Step.SHELVE, cabinet="M1", shelf=shelf)
    room.wait(days=1)
    room.scans(card, "drying")
    for number in (sick, left):
        room.scans(number, "drying", step=Step.LAY_TO_DRY)
    room.wait(days=8)
    room.scans(left, "drying", step=Step.PASS_AS_DRY, facts={"dryness": True, "label": True})
    room.wait(days=1)
    room.scans(sick, "press", step=Step.QUARANTINE)
    assert room.row(left)["bundle_id"] is None
    assert found(room, room.now - timedelta(days=5)) == {sick: [], left: ["bundle"]}


def test_one_action_holds_them_all_with_one_reason_and_names_those_left_out(room: Room) -> None:
    sick, beside, spared, gone = (room.sheet_ready() for _ in range(4))
    room.wait(hours=1)
    room.scans(gone, who="hedda", manages=True, step=Step.WITHDRAW, reason="sent in exchange")
    clean(room, "M1", "F1")
    treat(room, beside)
    room.wait(hours=1)
    room.scans(sick, "press", step=Step.QUARANTINE)
    since = room.now - timedelta(days=30)
    answer = all_in_quarantine(room, since, "beetles in M1", {spared: "came back from the freezer closed"})
    assert answer.kind == "done" and answer.moved == (beside,)
    assert {each["number"]: each["why"] for each in answer.left} == {
        gone: "closed: sent in exchange.", spared: "came back from the freezer closed", sick: "in quarantine already."
    }  # fmt: skip
    entry = room.log(beside)[-1]
    assert (entry["step"], entry["reason"], entry["facts"]["pest"]) == (
        "quarantine",
        "beetles in M1",
        sighting(room).id,
    )
    assert room.row(beside)["treated_until"] is None and room.row(spared)["holds"] == ""
    assert is_clean(room, "M1") == (False, True) and is_clean(room, "F1") == (True, False)
    assert (sighting(room).quarantined, sighting(room).since_at) == (1, since)
    with reading(room.database) as session:
        told = session.execute(select(Change.what, Change.why).where(Change.subject == "pest")).all()
    assert (f"{spared} left out", "came back from the freezer closed") in told
    # Once more: nothing is left to hold, and nothing is written twice.
    again = all_in_quarantine(room, since, "beetles in M1", {spared: "as before"})
    assert again.moved == () and room.steps(beside).count("quarantine") == 1
    assert differences(room.database) == []


def test_a_treatment_after_they_parted_still_counts(room: Room) -> None:
    sick, beside = room.sheet_ready(), room.sheet_ready()
    room.wait(days=1)
    room.scans(beside, "intake", step=Step.SHELVE, cabinet="M1", shelf="2")
    room.wait(days=1)
    treat(room, beside)
    room.wait(days=1)
    room.scans(sick, "press", step=Step.QUARANTINE)
    all_in_quarantine(room, room.now - timedelta(days=30))
    assert room.row(beside)["holds"] == "quarantine" and room.row(beside)["treated_until"] is not None


@pytest.mark.parametrize(
    ("who", "reason", "code"), [("rosamund", "beetles", "manager-only"), ("hedda", " ", "reason-needed")]
)
def test_it_is_the_managers_with_a_reason(room: Room, who: str, reason: str, code: str) -> None:
    sick, beside = room.sheet_ready(), room.sheet_ready()
    room.wait(hours=1)
    room.scans(sick, "press", step=Step.QUARANTINE)
    answer = all_in_quarantine(room, room.now - timedelta(days=9), reason, who=who)
    assert [each["code"] for each in answer.refusals] == [code] and room.row(beside)["holds"] == ""
    assert closes(room, reason, who=who).kind in ("stop", "which-one") and sighting(room).closed_at is None


def test_it_is_closed_with_what_was_done_and_then_nothing_more_is(room: Room) -> None:
    room.scans(room.sheet_ready(), "press", step=Step.QUARANTINE)
    assert closes(room, "all frozen, M1 cleaned").kind == "done"
    assert (sighting(room).why, sighting(room).closed_by) == ("all frozen, M1 cleaned", room.worker["hedda"])
    assert [each["code"] for each in closes(room, "again").refusals] == ["already-corrected"]
    assert [each["code"] for each in all_in_quarantine(room, room.now, "again").refusals] == ["already-corrected"]
