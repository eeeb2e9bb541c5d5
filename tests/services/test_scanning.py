"""Scans: each is answered once and for good, at the right place and time, by somebody who is there."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import func, select, update

from app.db.engine import reading, transaction
from app.db.models import Base, RefusedScan, Sheet, Sighting, table_of
from app.domain.errors import Refused
from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from tests.room import Room
from tests.services.days import card, codes, differences, done


def table_sizes(room: Room) -> dict[str, int]:
    """How many rows every table holds."""
    with reading(room.database) as session:
        return {
            name: session.execute(select(func.count()).select_from(table)).scalar_one()
            for name, table in Base.metadata.tables.items()
        }


def refusals_kept(room: Room) -> list[Any]:
    with reading(room.database) as session:
        return list(session.execute(select(table_of(RefusedScan)).order_by(table_of(RefusedScan).c.id)).mappings())


# -- once ---------------------------------------------------------------------------------------------------------
def test_the_same_scan_again_gets_the_same_answer_and_writes_nothing(room: Room) -> None:
    number = room.sheet_ready()
    first = room.scans(number, "table-1", scan_id="a", step=Step.TAKE_UP)
    before, log = table_sizes(room), room.log(number)
    room.wait(days=3)
    assert room.scans(number, "table-1", scan_id="a", step=Step.TAKE_UP) == first
    assert table_sizes(room) == before and room.log(number) == log


def test_a_refusal_too_is_given_again(room: Room) -> None:
    number = room.sheet_ready()
    first = room.scans(number, "filing", scan_id="a")
    assert first.status == 422 and codes(first) == ["wrong-stage"]
    before = table_sizes(room)
    assert room.scans(number, "filing", scan_id="a") == first and table_sizes(room) == before


@pytest.mark.parametrize(
    "other", [{"code": "TQX000002L"}, {"step": Step.MOUNT}, {"reason": "x"}, {"facts": {"label": True}}, {"early": True},
              {"already_done": True}, {"stack": "P1"}],
)  # fmt: skip
def test_one_scan_id_with_another_content_is_a_conflict(room: Room, other: dict[str, Any]) -> None:
    number = room.sheet_ready()
    sent = {"code": number, "step": Step.TAKE_UP}
    room.scans(sent["code"], "table-1", scan_id="a", step=sent["step"])
    changed = {**sent, **other}
    with pytest.raises(Refused) as refused:
        room.scans(changed.pop("code"), "table-1", scan_id="a", **changed)
    assert [refusal.code for refusal in refused.value.refusals] == ["scan-id-reused"]


# A scanner's double read within 20 seconds: common practice, no source.
@pytest.mark.parametrize(("seconds", "steps"), [(0, 1), (19, 1), (20, 2), (21, 2)])
def test_the_same_code_again_within_twenty_seconds_is_the_scanners_double_read(
    room: Room, seconds: int, steps: int
) -> None:
    number = room.sheet_ready()
    first = done(room.scans(number, "table-1"))
    room.wait(seconds=seconds)
    second = room.scans(number, "table-1")
    assert len(room.log(number)) == 2 + steps
    assert (second == first) is (steps == 1)


def test_after_an_undo_the_same_sheet_can_be_scanned_at_once(room: Room) -> None:
    number = room.sheet_ready()
    entry = done(room.scans(number, "table-1")).entry
    done(room.undoes(entry))
    assert done(room.scans(number, "table-1")).word == "Taken up."


def test_two_stations_each_read_their_own_code(room: Room) -> None:
    number = room.sheet_ready()
    done(room.scans(number, "table-1"))
    assert codes(room.scans(number, "table-2")) == ["on-another-table"]


# -- what is refused is kept --------------------------------------------------------------------------------------
def test_a_refused_scan_is_kept_without_the_person_and_is_a_sighting(room: Room) -> None:
    number = room.sheet_ready()
    room.wait(hours=2)
    room.scans(number, "filing")
    kept = refusals_kept(room)[-1]
    assert (kept["codes"], kept["sheet_id"], kept["kept"]) == ("wrong-stage", room.row(number)["id"], None)
    assert "worker_id" not in kept
    with reading(room.database) as session:
        seen = session.execute(select(table_of(Sighting))).mappings().one()
    assert (seen["seen_at"], seen["station_id"]) == (room.now, room.station["filing"])


def test_a_question_is_a_sighting_too(room: Room) -> None:
    number = room.sheet_ready()
    room.wait(hours=2)
    assert room.scans(number, "press").kind == "which-one"
    with reading(room.database) as session:
        assert session.execute(select(Sighting.seen_at)).scalar_one() == room.now


@pytest.mark.parametrize(
    ("text", "kept"), [("correct horse battery", None), ("hunter2!", None), ("E00123456", "E00123456")]
)
def test_what_cannot_be_read_is_kept_by_length_and_its_text_only_if_it_looks_like_a_code(
    room: Room, text: str, kept: str | None
) -> None:
    assert codes(room.scans(text, "press")) == ["misread-number"]
    row = refusals_kept(room)[-1]
    assert (row["length"], row["kept"]) == (len(text), kept)


# -- when ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("seconds", "may"), [(-1, False), (0, True), (1, True)])
def test_a_station_cannot_backdate_past_its_last_contact_with_nothing_held(room: Room, seconds: int, may: bool) -> None:
    number = room.sheet_ready()
    room.wait(minutes=30)
    clear: datetime = room.now
    room.scans(card("help"), "table-1")
    room.wait(hours=1)
    answer = room.scans(number, "table-1", step=Step.TAKE_UP, happened_at=clear + timedelta(seconds=seconds), held=1)
    assert (answer.kind == "done") is may
    assert codes(answer) == ([] if may else ["too-old"])
    if may:
        entry = room.log(number)[-1]
        assert entry["time_from"] == "station" and not entry["is_late"] and entry["happened_at"] < entry["recorded_at"]
        room.wait(hours=1)
        again = room.scans(number, "table-1", step=Step.MOUNT, happened_at=clear + timedelta(minutes=10), held=0)
        assert again.kind == "done", "while it still held scans, its last clear contact stays what it was"


def test_a_station_that_was_never_heard_of_believes_nothing_late(room: Room) -> None:
    number = room.sheet_ready()
    assert codes(room.scans(number, "table-2", step=Step.TAKE_UP, happened_at=room.now)) == ["too-old"]


@pytest.mark.parametrize("who", ["olwen", "hedda"])
def test_what_has_not_happened_yet_is_refused_from_anybody(room: Room, who: str) -> None:
    number = room.sheet_ready()
    room.scans(card("help"), "table-1")
    soon = room.now + timedelta(seconds=1)
    assert codes(
        room.scans(number, "table-1", step=Step.TAKE_UP, happened_at=soon, who=who, manages=who == "hedda")
    ) == ["too-old"]


def test_a_time_without_a_zone_is_refused(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(card("help"), "table-1")
    assert codes(room.scans(number, "table-1", step=Step.TAKE_UP, happened_at=room.now.replace(tzinfo=None))) == [
        "too-old"
    ]


def test_a_computer_whose_clock_stands_before_the_last_entry_writes_nothing(room: Room) -> None:
    number = room.sheet_ready()
    room.wait(seconds=-1)
    assert codes(room.scans(number, "table-1", step=Step.TAKE_UP)) == ["clock-behind"]
    room.wait(seconds=1)
    assert room.scans(number, "table-1", step=Step.TAKE_UP).kind == "done"


def test_no_door_writes_before_the_last_entry(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(card("help"), "table-1")
    told = room.now
    room.wait(hours=1)
    done(room.scans(number, "table-1", step=Step.TAKE_UP))
    late = {"happened_at": told, "manages": True, "who": "hedda"}
    assert codes(room.scans(number, "table-1", step=Step.MOUNT, **late)) == ["out-of-order"]
    assert codes(room.scans(room.code("shelf", "M1/2"), "table-1", **late)) == ["out-of-order"]
    assert room.steps(number)[-1] == "take-up" and differences(room.database) == []


def test_the_manager_writes_up_what_the_paper_log_has(room: Room) -> None:
    room.weights("off", "P1")
    room.wait(minutes=5)
    number = room.sheet_mounted()
    began = room.now
    room.wait(days=1, hours=6)
    late = {"manages": True, "who": "hedda"}
    lay = {"step": Step.PUT_UNDER_WEIGHT, "stack": "P1"}
    done(room.scans(number, "press", happened_at=began + timedelta(minutes=10), **lay, **late))
    done(room.scans(room.code("on", "P1"), "press", happened_at=began + timedelta(minutes=15), **late))
    done(room.scans(room.code("off", "P1"), "press", happened_at=began + timedelta(hours=25), **late))
    out = {"step": Step.TAKE_OUT, "happened_at": began + timedelta(hours=24, minutes=14)}
    assert codes(room.scans(number, "press", **out, **late)) == ["too-early", "weights-on"], (
        "judged as of when it happened"
    )
    out["happened_at"] = began + timedelta(hours=25)
    done(room.scans(number, "press", **out, **late))
    assert all(entry["is_late"] for entry in room.log(number)[-2:]) and differences(room.database) == []


def test_a_sheet_that_stays_unmounted_is_said_by_card(room: Room) -> None:
    number = room.sheet_ready()
    card = COMMANDS["unmounted"]
    assert room.scans(card, "table-1").refusals[0]["code"] == "out-of-order"
    room.scans(number, "table-1")
    asked = room.scans(card, "table-1")
    assert asked.kind == "which-one" and asked.choices[0].value == "step=goes-unmounted&facts.unmounted=packet"
    answer = room.scans(asked.carry["code"], "table-1", step=Step.GOES_UNMOUNTED, facts={"unmounted": "packet"})
    assert (
        answer.word == "Kept unmounted." and room.row(number)["unmounted"] == "packet" and room.stage(number) == "dry"
    )


def test_a_worker_is_told_once_what_is_kept_about_them(room: Room) -> None:
    first = room.scans(room.code("badge", "piet"), "table-2")
    assert len(first.lines) == 5 and "kept about you" in first.lines[0]
    room.wait(minutes=1)
    assert room.scans(room.code("badge", "piet"), "table-1").lines == ("You are signed in here.",)


def test_taking_up_tells_the_collectors_notes_and_which_sheet_of_how_many_it_is(room: Room) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        session.execute(
            update(table_of(Sheet))
            .where(table_of(Sheet).c.number == number)
            .values(notes="rhizome in a bag of its own")
        )
    assert room.scans(number, "table-1").lines == ("The collector's notes: rhizome in a bag of its own",)
    more = room.scans(number, "table-1", step=Step.ANOTHER_SHEET)
    assert more.kind == "done" and "2 of 2" in more.lines[0]
    room.wait(minutes=1)
    room.scans(room.code("shelf", "M1/2"), "table-1")
    room.wait(minutes=1)
    assert room.scans(number, "table-1", step=Step.TAKE_UP).lines[0] == "Sheet 1 of 2 of this specimen."
