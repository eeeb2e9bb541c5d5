"""Taking in at the table: one plant with what its label says, several sheets of one, and a run of numbers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy import func, select

from app.db.engine import reading, transaction
from app.db.models import Collector, Hazard, PlantName, Sheet, Specimen, table_of
from app.domain.answer import Answer
from app.domain.errors import Refused
from app.domain.stages import Stage, Step
from app.services import room as setting_up
from app.services.desk import ScanRequest
from app.services.scanning import once
from app.services.taking_in import Run, Told, take_in, take_in_run
from tests.room import Room
from tests.services.days import codes, differences, done

SHEET = table_of(Sheet)
ORCHID = Told(name="Dactylorhiza maculata", family="Orchidaceae", collector="A. Birkrigg", record_number="212",
              event_date="2026-07-03", locality="Quillmoor Fells, wet heath", consignment="QF")  # fmt: skip


@pytest.fixture(autouse=True)
def whole(room: Room) -> Iterator[None]:
    """A consignment that has come; and afterwards log and sheets agree."""
    with transaction(room.database) as session:
        setting_up.add_consignment(session, "QF", "Quillmoor Fells survey")
    yield
    assert differences(room.database) == []


def takes_in(room: Room, told: Told, at: str | None = "intake", scan_id: str = "", **facts: Any) -> Answer:
    where = {"station_id": room.station[at]} if at else {"worker_ids": (room.worker["rosamund"],)}
    request = ScanRequest(scan_id or room.next_id(), "", facts=facts, **where)  # type: ignore[arg-type]
    with transaction(room.database) as session:
        return once(session, request, room.occasion, lambda desk: take_in(desk, told), f"take in {told}")


def runs(room: Room, run: Run) -> Answer:
    request = ScanRequest(room.next_id(), "", room.station["intake"])
    with transaction(room.database) as session:
        return once(session, request, room.occasion, lambda desk: take_in_run(desk, run), f"run {run}")


def said(room: Room, number: str) -> Any:
    with reading(room.database) as session:
        found = (
            select(SHEET, PlantName.name.label("plant"), Collector.name.label("by"))
            .outerjoin(PlantName, PlantName.id == SHEET.c.plant_name_id)
            .outerjoin(Collector, Collector.id == SHEET.c.collector_id)
        )
        return session.execute(found.where(SHEET.c.number == number)).mappings().one()


def count(room: Room, model: Any) -> int:
    with reading(room.database) as session:
        return int(session.execute(select(func.count()).select_from(model)).scalar_one())


def test_a_plant_is_taken_in_with_all_that_its_label_says(room: Room) -> None:
    answer = done(takes_in(room, ORCHID, label=True, bulk="bulky", hazards=["irritant"], pressed_on="2026-11-23"))
    (number,) = answer.moved
    row = said(room, number)
    assert (row["plant"], row["by"], row["record_number"], row["event_date"], row["locality"]) == (
        "Dactylorhiza maculata", "A. Birkrigg", "212", "2026-07-03", "Quillmoor Fells, wet heath")  # fmt: skip
    assert (row["stage"], row["fresh"], row["bulk"], row["has_label"], row["holds"]) == (
        "intake",
        True,
        "bulky",
        True,
        "",
    )
    assert row["pressed_at"].isoformat() == "2026-11-23T12:00:00+00:00"
    assert count(room, Hazard) == 1 and answer.slip == number


def test_a_number_on_its_slip_is_kept_and_needs_no_other_slip(room: Room) -> None:
    number = room.new_number()
    answer = done(takes_in(room, replace(ORCHID, number=number)))
    assert answer.moved == (number,) and answer.slip == "" and said(room, number)["plant"] == "Dactylorhiza maculata"


def test_what_came_dry_or_mounted_goes_on_at_once(room: Room) -> None:
    dry = done(takes_in(room, replace(ORCHID, came="dry"), label=True)).moved[0]
    mounted = done(takes_in(room, replace(ORCHID, came="mounted"), label=True)).moved[0]
    assert (room.stage(dry), room.stage(mounted)) == (Stage.READY, Stage.DRY)
    assert room.steps(dry) == ["take-in", "arrive-dry"] and room.steps(mounted) == ["take-in", "arrive-mounted"]
    assert room.row(dry)["fresh"] is False


def test_without_its_label_it_waits_for_it(room: Room) -> None:
    fresh = done(takes_in(room, ORCHID, label=False)).moved[0]
    dry = done(takes_in(room, replace(ORCHID, came="dry"), label=False)).moved[0]
    for number in (fresh, dry):
        assert (room.row(number)["holds"], room.row(number)["has_label"]) == ("label-to-come", False)


def test_a_specimen_on_three_sheets_gets_three_numbers_and_is_filed_together(room: Room) -> None:
    answer = done(takes_in(room, replace(ORCHID, came="mounted", parts=3), label=True))
    rows = [room.row(number) for number in answer.moved]
    assert [row["part"] for row in rows] == [1, 2, 3] and len({row["specimen_id"] for row in rows}) == 1
    assert answer.slip == ",".join(answer.moved) and "write “2 of 3” on it." in answer.lines[-2]
    first, second, third = answer.moved
    room.wait(minutes=1)
    # The second is not ready to be filed while it is not even dry: here it is sent back, and the others wait for it.
    done(room.scans(second, "inspection", step=Step.BACK_TO_TABLE, reason="a leaf is loose"))
    done(room.scans(first, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}))
    assert codes(room.scans(first, "filing", step=Step.FILE, cabinet="F1", shelf="1")) == ["specimen-incomplete"]
    assert room.row(third)["specimen_id"] == room.row(first)["specimen_id"]


def test_taking_back_one_part_closes_up_the_others(room: Room) -> None:
    first, second, third = done(takes_in(room, replace(ORCHID, parts=3))).moved
    room.takes_back(room.log(second)[0]["id"], "there were only two")
    assert [room.row(each)["part"] for each in (first, third)] == [1, 2]
    assert room.row(second)["specimen_id"] is None and room.row(second)["stage"] is None
    with reading(room.database) as session:
        assert session.execute(select(table_of(Specimen).c.sheets)).scalar_one() == 2


def test_taking_back_what_is_one_sheet_changes_no_other(room: Room) -> None:
    beside = done(takes_in(room, replace(ORCHID, parts=2))).moved
    number = done(takes_in(room, ORCHID)).moved[0]
    room.takes_back(room.log(number)[0]["id"], "it is not ours")
    assert [room.row(each)["part"] for each in beside] == [1, 2]


def test_the_same_page_sent_twice_takes_in_once(room: Room) -> None:
    first, again = (takes_in(room, ORCHID, scan_id="once-only") for _ in range(2))
    assert first.moved == again.moved and count(room, Sheet) == 1


def test_a_number_that_is_in_use_is_not_taken_again(room: Room) -> None:
    number = room.sheet_ready()
    answer = takes_in(room, replace(ORCHID, number=number))
    assert codes(answer) == ["number-taken"] and said(room, number)["plant"] is None


def test_what_was_taken_in_by_its_number_alone_is_told_afterwards(room: Room) -> None:
    number = room.new_number()
    done(room.scans(number, "intake", step=Step.TAKE_IN))
    room.wait(minutes=1)
    answer = done(takes_in(room, replace(ORCHID, number=number), label=True))
    assert said(room, number)["plant"] == "Dactylorhiza maculata" and answer.word == "Told."
    assert room.steps(number) == ["take-in"]
    assert codes(takes_in(room, replace(ORCHID, number=number, name="Erica tetralix"))) == ["number-taken"]


@pytest.mark.parametrize("told, code, words", [
    (replace(ORCHID, number="TQX 000001 0"), "misread-number", "not a sheet's number"),
    (replace(ORCHID, event_date="2026-11-26"), "misread-number", "still to come"),
    (replace(ORCHID, event_date="2026-02-30"), "misread-number", "no day of any calendar"),
    (replace(ORCHID, consignment="nowhere"), "unknown-consignment", "no consignment"),
    (replace(ORCHID, parts=21), "misread-number", "1 to 20"), (replace(ORCHID, parts=0), "misread-number", "1 to 20"),
])  # fmt: skip
def test_what_cannot_be_is_refused_before_anything_is_written(room: Room, told: Told, code: str, words: str) -> None:
    answer = takes_in(room, told)
    assert codes(answer) == [code] and words in answer.lines[0] and count(room, Sheet) == 0


def test_a_refusal_after_the_first_sheet_takes_all_of_them_back(room: Room) -> None:
    with pytest.raises(Refused):
        takes_in(room, replace(ORCHID, parts=2, came="dry"), dryness=False, at=None)
    assert count(room, Sheet) == 0


def test_nobody_signed_in_takes_nothing_in(room: Room) -> None:
    with transaction(room.database) as session:
        request = ScanRequest(room.next_id(), "", worker_ids=())
        answer = once(session, request, room.occasion, lambda desk: take_in(desk, ORCHID), "take in")
    assert codes(answer) == ["not-signed-in"]


def test_a_run_of_numbers_is_taken_in_at_once_into_a_bundle(room: Room) -> None:
    with transaction(room.database) as session:
        bundle = setting_up.add_bundle(session, "Plant press 12", "plant press")
    answer = done(runs(room, Run(25, "QF", bundle_id=bundle)))
    rows = [room.row(number) for number in answer.moved]
    assert len(set(answer.moved)) == 25 and list(answer.moved) == sorted(answer.moved)
    assert {(row["stage"], row["fresh"], row["bundle_id"]) for row in rows} == {("intake", True, bundle)}
    assert {len(room.log(number)) for number in answer.moved[:3]} == {1}
    number = room.new_number()
    while number in answer.moved:
        number = room.new_number()
    room.wait(minutes=1)
    told = done(takes_in(room, replace(ORCHID, number=answer.moved[7])))
    assert told.word == "Told." and said(room, answer.moved[7])["by"] == "A. Birkrigg"


def test_a_run_is_undone_as_one(room: Room) -> None:
    answer = done(runs(room, Run(4, "QF")))
    assert answer.entry is not None
    room.wait(minutes=1)
    done(room.undoes(answer.entry, "intake", worker_ids=(room.worker["rosamund"],)))
    assert {room.row(number)["stage"] for number in answer.moved} == {None}


@pytest.mark.parametrize("run, code", [(Run(0, "QF"), "misread-number"), (Run(201, "QF"), "misread-number"),
                                       (Run(3, "?"), "unknown-consignment")])  # fmt: skip
def test_a_run_of_none_or_too_many_is_refused(room: Room, run: Run, code: str) -> None:
    assert codes(runs(room, run)) == [code] and count(room, Sheet) == 0


def test_after_a_scan_at_intake_it_is_said_with_one_touch_how_it_came(room: Room) -> None:
    number = room.new_number()
    answer = done(room.scans(number, "intake"))
    assert [(each.label, each.value) for each in answer.choices] == [
        ("It is fresh: lay it to dry now", "lay-to-dry"), ("It came dry", "arrive-dry"), ("It came mounted", "arrive-mounted")]  # fmt: skip
    room.wait(minutes=1)
    asked = room.scans(answer.carry["code"], "intake", step=Step.ARRIVE_DRY)
    assert asked.kind == "which-one" and "Feel it" in asked.lines[0]
    assert done(room.scans(room.new_number(), step=Step.TAKE_IN, who="rosamund")).choices == (), (
        "a script is asked nothing"
    )
