"""Consignments, their answers, labels to come and duplicates, as the room reads them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from app.db.engine import reading, transaction
from app.domain.stages import Step
from app.queries.consignments import ConsignmentRow, consignment_list, consignment_page
from app.queries.duplicates import Duplicates, duplicates
from app.queries.given import answer_to_giver
from app.queries.labels import labels_to_come
from app.services.consignments import close_consignment
from app.services.room import add_consignment
from tests.queries.looking import brought_dry, filed, label
from tests.room import Room


@pytest.fixture
def parcel(room: Room) -> Room:
    with transaction(room.database) as session:
        add_consignment(session, "G-1", "Gift", source="M. Thornlea", kind="gift")
    return room


def of_gift(room: Room, number: str, **columns: Any) -> str:
    label(room, number, consignment="Gift", **columns)
    return number


def row_of(room: Room) -> ConsignmentRow:
    with reading(room.database) as session:
        return consignment_list(session, room.now).rows[0]


def duplicates_of(room: Room, code: str = "") -> Duplicates:
    with reading(room.database) as session:
        return duplicates(session, code)


def test_how_far_it_is_by_stage_with_shares_of_one(parcel: Room) -> None:
    of_gift(parcel, filed(parcel))
    of_gift(parcel, brought_dry(parcel))
    first = of_gift(parcel, parcel.sheet_ready())
    parcel.wait(hours=5)
    of_gift(parcel, parcel.sheet_ready())
    gone = of_gift(parcel, parcel.sheet_ready())
    parcel.scans(gone, who="hedda", step=Step.WITHDRAW, manages=True, reason="not to be kept")
    filed(parcel)
    row = row_of(parcel)
    assert [(part.kind, part.count, part.share) for part in row.bar] == [
        ("filed", 1, 0.2), ("work", 1, 0.2), ("ready", 2, 0.4), ("gone", 1, 0.2),
    ]  # fmt: skip
    assert (row.waiting, row.here, row.in_all) == (3, 5, 5)
    assert row.oldest is not None and row.oldest <= parcel.row(first)["came_at"] and row.oldest_age == "5 h"


def test_a_number_that_was_the_same_sheet_as_another_is_no_sheet_of_its_own(parcel: Room) -> None:
    kept, other = (of_gift(parcel, parcel.sheet_ready()) for _ in range(2))
    from app.services.deeds import join_number
    from app.services.desk import ScanRequest
    from app.services.scanning import once

    request = ScanRequest(
        parcel.next_id(), kept, worker_ids=(parcel.worker["hedda"],), reason="two slips", manages=True
    )
    with transaction(parcel.database) as session:
        answer = once(session, request, parcel.occasion, lambda desk: join_number(desk, other), "join")
    assert answer.kind == "done"
    assert (row_of(parcel).here, row_of(parcel).waiting) == (1, 1)
    with reading(parcel.database) as session:
        found = answer_to_giver(session, "G-1")
    assert found is not None and [sheet.number for sheet in found.sheets] == [kept]


def test_its_holds_are_those_of_its_own_sheets_that_stand(parcel: Room) -> None:
    of_gift(parcel, parcel.sheet_ready(label=False))
    lifted = of_gift(parcel, parcel.sheet_ready(label=False))
    parcel.scans(lifted, "table-1", step=Step.LIFT_HOLD, facts={"hold": "label-to-come"})
    parcel.sheet_ready(label=False)
    with reading(parcel.database) as session:
        found = consignment_page(session, "G-1", parcel.now, by_names=True)
        labels = labels_to_come(session, parcel.now)
    assert found is not None and found.holds == (("label-to-come", "label to come", 1),)
    assert labels.count == 2 and {(group.code, group.count) for group in labels.groups} == {("G-1", 1), ("", 1)}


def test_a_withdrawn_sheet_waits_for_no_label(parcel: Room) -> None:
    number = parcel.sheet_ready(label=False)
    parcel.scans(number, who="hedda", step=Step.WITHDRAW, manages=True, reason="not to be kept")
    with reading(parcel.database) as session:
        assert labels_to_come(session, parcel.now).matching == 0


def test_the_list_of_labels_says_that_it_is_cut(parcel: Room) -> None:
    for _ in range(3):
        parcel.sheet_ready(label=False)
    with reading(parcel.database) as session:
        found = labels_to_come(session, parcel.now, most=2)
    assert (len(found.lines), found.matching) == (2, 3)


def test_two_sheets_of_one_specimen_are_no_duplicates(room: Room) -> None:
    one, other = room.sheet_ready(), room.sheet_ready()
    label(room, one, collector="T. Askerdale", record_number="118")
    room.scans(one, "table-1", step=Step.TAKE_UP)
    second = room.scans(one, "table-1", step=Step.ANOTHER_SHEET).slip
    assert duplicates_of(room).gatherings == ()
    label(room, other, collector="T. Askerdale", record_number="118")
    found = duplicates_of(room).gatherings
    assert len(found) == 1
    assert [tuple(sheet[0] for sheet in specimen.sheets) for specimen in found[0].specimens] == [
        (one, second),
        (other,),
    ]


def test_what_has_no_field_number_or_another_collector_is_no_duplicate(room: Room) -> None:
    for collector, record in (("T. Askerdale", "s.n."), ("T. Askerdale", "s.n."), ("T. Askerdale", "5"), ("M. Thornlea", "5"),
                              ("T. Askerdale", None), ("T. Askerdale", None)):  # fmt: skip
        label(room, room.sheet_ready(), collector=collector, record_number=record)
    assert duplicates_of(room).gatherings == ()


def test_a_withdrawn_duplicate_counts_no_more(room: Room) -> None:
    one, two = room.sheet_ready(), room.sheet_ready()
    for number in (one, two):
        label(room, number, collector="T. Askerdale", record_number="118")
    assert len(duplicates_of(room).gatherings) == 1
    room.scans(two, who="hedda", step=Step.WITHDRAW, manages=True, reason="destroyed")
    assert duplicates_of(room).gatherings == ()


def test_the_answer_names_each_sheet_of_a_specimen(parcel: Room) -> None:
    one = of_gift(parcel, parcel.sheet_ready(), record_number="9")
    parcel.scans(one, "table-1", step=Step.TAKE_UP)
    second = parcel.scans(one, "table-1", step=Step.ANOTHER_SHEET).slip
    with reading(parcel.database) as session:
        found = answer_to_giver(session, "G-1")
        assert answer_to_giver(session, "nothing") is None
    assert found is not None
    assert [(sheet.number, sheet.part, sheet.words) for sheet in found.sheets] == [
        (one, "sheet 1 of 2", "being mounted"), (second, "sheet 2 of 2", "being mounted"),
    ]  # fmt: skip


def paged(read: Callable[[str], tuple[list[str], str]]) -> list[list[str]]:
    """What each page holds, from the first to the last."""
    pages, after = list[list[str]](), ""
    while len(pages) < 20:
        found, after = read(after)
        pages.append(found)
        if not after:
            return pages
    pytest.fail("there is no last page")


@pytest.mark.parametrize(("most", "sizes"), [(1, [1] * 5), (2, [2, 2, 1]), (4, [4, 1]), (5, [5]), (6, [5])])
def test_consignments_go_on_page_by_page_those_that_are_open_first(room: Room, most: int, sizes: list[int]) -> None:
    with transaction(room.database) as session:
        for code in ("A", "B", "C", "D", "E"):
            add_consignment(session, code, f"Parcel {code}")
        for code in ("B", "E"):
            close_consignment(session, code, "nothing came", room.now, by=None)

    def read(after: str) -> tuple[list[str], str]:
        with reading(room.database) as session:
            found = consignment_list(session, room.now, after, most)
        return [row.code for row in found.rows], found.next_after

    pages = paged(read)
    assert [len(page) for page in pages] == sizes
    assert sum(pages, []) == ["D", "C", "A", "E", "B"]


@pytest.mark.parametrize(("most", "sizes"), [(1, [1, 1, 1]), (2, [2, 1]), (3, [3]), (4, [3])])
def test_gatherings_in_duplicate_go_on_page_by_page(room: Room, most: int, sizes: list[int]) -> None:
    for collector, record in (("T. Askerdale", "118"), ("T. Askerdale", "2026:5"), ("M. Thornlea", "7")):
        for _ in range(2):
            label(room, room.sheet_ready(), collector=collector, record_number=record)

    def read(after: str) -> tuple[list[str], str]:
        with reading(room.database) as session:
            found = duplicates(session, "", after, most)
        return [line.record_number for line in found.gatherings], found.next_after

    pages = paged(read)
    assert [len(page) for page in pages] == sizes
    assert sum(pages, []) == ["118", "2026:5", "7"]
