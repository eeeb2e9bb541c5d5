"""Consignments: begun, put right with a reason, counted by hand, and closed when nothing of it waits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Consignment, Station, table_of
from app.domain.stages import Step
from app.queries.consignments import ConsignmentPage, consignment_list, consignment_page
from app.services.consignments import (
    Told,
    begin_consignment,
    change_consignment,
    close_consignment,
    confirm_count,
    open_again,
)
from app.services.room import set_at_station
from tests.queries.looking import filed
from tests.room import Room

GIFT = Told(
    "Gift of M. Thornlea", "M. Thornlea", "gift", date(2026, 11, 20), "letter of 3 November", 3, "in her own folders"
)


def done(room: Room, act: Callable[..., Any], *more: Any, who: str = "hedda") -> Any:
    with transaction(room.database) as session:
        return act(session, "G-1", *more, room.now, room.worker[who])


def page(room: Room, by_names: bool = True) -> ConsignmentPage:
    with reading(room.database) as session:
        found = consignment_page(session, "G-1", room.now, by_names=by_names)
    assert found is not None
    return found


@pytest.fixture
def gift(room: Room) -> Room:
    """A gift was announced, and the intake station takes in for it."""
    consignment_id = done(room, begin_consignment, GIFT)
    with transaction(room.database) as session:
        set_at_station(session, room.station["intake"], consignment_id=consignment_id)
    return room


def test_a_parcel_is_begun_with_all_that_is_said_of_it(gift: Room) -> None:
    found = page(gift)
    assert (found.row.name, found.row.source, found.kind, found.row.said) == (GIFT.name, GIFT.source, "gift", 3)
    assert (found.papers, found.note, found.row.arrived_on) == (GIFT.papers, GIFT.note, GIFT.arrived_on)
    assert found.row.difference == "3 said, 0 here: 3 missing or miscounted." and found.row.differs
    assert [(each.what, each.by) for each in found.history] == [("added", "Hedda Brackwater")]


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (replace(GIFT, name="  "), "needs a name"),
        (replace(GIFT, kind="loot"), "is one of"),
        (replace(GIFT, sheets_said=-1), "between 0"),
    ],
)
def test_what_makes_no_sense_is_not_begun(room: Room, told: Told, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        done(room, begin_consignment, told)
    with reading(room.database) as session:
        assert consignment_list(session, room.now).rows == ()


def test_a_code_that_is_taken_is_refused(gift: Room) -> None:
    with pytest.raises(ValueError, match="already"):
        done(gift, begin_consignment, GIFT)


def test_what_is_put_right_says_why_and_only_what_changed_is_written(gift: Room) -> None:
    new = replace(GIFT, sheets_said=4, papers="letter of 3 November, list")
    with pytest.raises(ValueError, match="Say why"):
        done(gift, change_consignment, new, " ")
    assert done(gift, change_consignment, GIFT, "") == ()
    assert done(gift, change_consignment, new, "her list says four") == ("papers", "sheets said")
    last = page(gift).history[0]
    assert (last.what, last.old, last.new, last.why) == ("sheets said", "3", "4", "her list says four")
    assert page(gift).row.said == 4
    with reading(gift.database) as session:
        assert consignment_page(session, "nothing", gift.now, by_names=True) is None


def test_a_count_by_hand_is_kept_with_whoever_counted_and_told_against_what_is_here(gift: Room) -> None:
    for _ in range(2):
        gift.sheet_ready()
    assert done(gift, confirm_count, 3, who="olwen") == "3 counted, 2 here: one missing or miscounted."
    counted = page(gift).counted
    assert counted is not None and counted.differs
    assert (counted.count, counted.by, counted.at) == (3, "Olwen Tarrant", gift.now)
    nameless = page(gift, by_names=False).counted
    assert nameless is not None and nameless.by == ""
    gift.sheet_ready()
    again = page(gift).counted
    assert again is not None and not again.differs
    with pytest.raises(ValueError, match="between 0"):
        done(gift, confirm_count, -1)


def test_a_second_sheet_of_one_plant_and_a_second_plant_of_one_fold_never_came_in_the_parcel(gift: Room) -> None:
    first, second = gift.sheet_ready(), gift.sheet_ready()
    gift.scans(first, "table-1", step=Step.TAKE_UP)
    assert gift.scans(first, "table-1", step=Step.ANOTHER_SHEET).kind == "done"
    assert gift.scans(second, "table-1", step=Step.DIVIDE, facts={"plant": "Poa alpina"}).kind == "done"
    row = page(gift).row
    assert (row.in_all, row.here) == (4, 2)
    assert row.difference == "3 said, 2 here: one missing or miscounted."


def test_it_is_closed_when_nothing_waits_and_leaves_the_stations(gift: Room) -> None:
    done(gift, change_consignment, replace(GIFT, sheets_said=1), "one of three")
    number = gift.sheet_ready()
    with pytest.raises(ValueError, match="1 sheet waits still"):
        done(gift, close_consignment, "all done")
    gift.scans(number, who="hedda", step=Step.WITHDRAW, manages=True, reason="not to be kept")
    done(gift, close_consignment, "")
    assert page(gift).row.closed_at == gift.now
    with reading(gift.database) as session:
        station = table_of(Station)
        assert session.execute(select(station.c.consignment_id).where(station.c.slug == "intake")).scalar() is None
    with pytest.raises(ValueError, match="closed already"):
        done(gift, close_consignment, "")
    with pytest.raises(ValueError, match="Say why"):
        done(gift, open_again, "")
    done(gift, open_again, "one more came")
    assert page(gift).row.closed_at is None


def test_fewer_than_were_said_are_closed_only_with_a_word_about_it(gift: Room) -> None:
    number = filed(gift)
    assert gift.row(number)["consignment_id"] is not None
    with pytest.raises(ValueError, match="3 said, 1 here: 2 missing or miscounted. Say what is known"):
        done(gift, close_consignment, " ")
    done(gift, close_consignment, "two were never in the parcel; she knows")
    assert page(gift).history[0].why == "two were never in the parcel; she knows"


def test_a_closed_one_has_no_place_in_the_order(gift: Room) -> None:
    consignment = table_of(Consignment)
    with transaction(gift.database) as session:
        from app.services.order import set_order

        set_order(session, "G-1", "first", gift.now)
    done(gift, close_consignment, "nothing came")
    with reading(gift.database) as session:
        assert session.execute(select(consignment.c.place_in_order)).scalar() == 0
