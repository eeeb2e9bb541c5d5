"""What is printed: which sheets get a slip and what stands on it, and the codes of shelves, stacks and people."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import insert, update

from app.db.engine import reading, transaction
from app.db.models import Cabinet, Sheet, Stack, Worker, table_of
from app.domain.hazards import CAUTIONS
from app.domain.stages import Step
from app.queries.printed import (
    ALL_THAT_WAIT,
    SlipsAsked,
    badges,
    shelf_labels,
    slips,
    stack_cards,
)
from app.queries.sieve import Sieve
from app.services.people import retire_worker
from app.services.room import add_hazard, add_stack
from tests.queries.looking import filed, label
from tests.room import Room

SHEET = table_of(Sheet)


def slips_of(room: Room, asked: SlipsAsked, **more: Any) -> list[str]:
    with reading(room.database) as session:
        return [each.code for each in slips(session, asked, room.now, room.zone, **more).slips]


def announced(room: Room) -> str:
    number = room.new_number()
    with transaction(room.database) as session:
        session.execute(insert(SHEET).values(number=number, added_at=room.now))
    return number


def test_a_slip_says_what_the_label_says_and_nothing_of_where_it_grew(room: Room) -> None:
    number = room.sheet_ready()
    label(room, number, plant="Cypripedium calceolus", collector="M. Fenwick", consignment="Quillmoor Fells",
          record_number="217", locality="the third gully north of the hut", is_sensitive=True, notes="one of nine")  # fmt: skip
    with reading(room.database) as session:
        (slip,) = slips(session, SlipsAsked(numbers=number), room.now, room.zone).slips
    assert (slip.code, slip.shown) == (number, f"TQX {number[3:9]}·{number[9]}")
    assert (slip.plant, slip.collected) == ("Cypripedium calceolus", "M. Fenwick no. 217")
    assert slip.consignment == "QUI · Quillmoor Fells"
    assert "gully" not in str(slip) and "nine" not in str(slip)


def test_the_cautions_of_sheet_and_consignment_are_on_the_slip_each_once(room: Room) -> None:
    one, other = room.sheet_ready(), room.sheet_ready()
    label(room, one, consignment="Old press")
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, consignment_id=room.row(one)["consignment_id"])
        for kind in ("historic", "pins"):
            add_hazard(session, kind, room.now, sheet_id=room.row(one)["id"])
    with reading(room.database) as session:
        found = slips(session, ALL_THAT_WAIT, room.now, room.zone).slips
    assert {each.code: each.cautions for each in found} == {one: (CAUTIONS["historic"], CAUTIONS["pins"]), other: ()}


def test_a_consignment_gives_slips_for_what_is_announced_and_what_waits_not_for_what_is_done(room: Room) -> None:
    to_come, waits, done, gone, elsewhere = (
        announced(room),
        room.sheet_ready(),
        filed(room),
        room.sheet_ready(),
        announced(room),
    )
    for number in (to_come, waits, done, gone):
        label(room, number, consignment="Quillmoor Fells")
    room.scans(gone, step=Step.WITHDRAW, who="hedda", reason="sent in exchange", manages=True)
    assert room.row(gone)["closed_as"] is not None
    assert slips_of(room, SlipsAsked("QUI")) == sorted([to_come, waits])
    with pytest.raises(ValueError, match="No sheet with the number"):
        slips_of(room, SlipsAsked(numbers=gone))
    assert slips_of(room, SlipsAsked(numbers=done)) == [done]
    assert slips_of(room, ALL_THAT_WAIT) == sorted([to_come, waits, elsewhere])


def test_a_sieve_narrows_them(room: Room) -> None:
    ready, glued, done = room.sheet_ready(), room.sheet_mounted(), filed(room)
    label(room, ready, plant="Drosera rotundifolia")
    assert slips_of(room, SlipsAsked(sieve=Sieve(stage="mounted"))) == [glued]
    assert slips_of(room, SlipsAsked(sieve=Sieve(cabinet="M1", shelf="1"))) == [ready]
    assert slips_of(room, SlipsAsked(sieve=Sieve(q="drosera"))) == [ready]
    assert slips_of(room, SlipsAsked(sieve=Sieve(stage="filed", cabinet="F1"))) == [done]


def test_numbers_are_read_as_people_write_them(room: Room) -> None:
    one, other = room.sheet_ready(), room.sheet_ready()
    typed = f"TQX {other[3:9]}·{other[9]}\n\n {one.lower()} ,{one};"
    assert slips_of(room, SlipsAsked(numbers=typed)) == [one, other]


def test_no_more_than_the_most_are_given_and_all_are_counted(room: Room) -> None:
    numbers = sorted(room.sheet_ready() for _ in range(3))
    with reading(room.database) as session:
        found = slips(session, ALL_THAT_WAIT, room.now, room.zone, most=2)
    assert [each.code for each in found.slips] == numbers[:2] and found.matching == 3


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (SlipsAsked(), "Say for which sheets"),
        (SlipsAsked(sieve=Sieve(stage="filed")), "Say for which sheets"),
        (SlipsAsked("NOWHERE"), "no consignment called NOWHERE"),
        (SlipsAsked(numbers="TQX 000001·A"), "is not a sheet's number here"),
        (SlipsAsked(numbers="VC 0001·D"), "is not a sheet's number here"),
        (SlipsAsked(numbers=" , ;"), "Type 1 to 2,000 numbers"),
        (SlipsAsked(sieve=Sieve(cabinet="Z9")), "no cabinet called Z9"),
    ],
)
def test_what_makes_no_sense_is_refused_in_a_sentence(room: Room, asked: SlipsAsked, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        slips_of(room, asked)


def test_a_number_that_no_sheet_has_is_named(room: Room) -> None:
    number = room.new_number()
    with pytest.raises(ValueError, match=f"No sheet with the number TQX {number[3:9]}·{number[9]} is here"):
        slips_of(room, SlipsAsked(numbers=f"{room.sheet_ready()}\n{number}"))


def test_every_cabinet_has_a_label_and_each_of_its_shelves_one_with_its_own_code(room: Room) -> None:
    with transaction(room.database) as session:
        mine = update(table_of(Cabinet)).where(table_of(Cabinet).c.name == "F1")
        session.execute(mine.values(is_clean=True, note="Mercury: gloves."))
    with reading(room.database) as session:
        labels = shelf_labels(session)
        of_one = shelf_labels(session, "M1")
    assert len(labels) == len({each.code for each in labels}) == 4 * 5
    assert [each.shelf for each in of_one] == ["", "1", "2", "3", "4"]
    assert of_one[2].code == room.code("shelf", "M1/2") and of_one[2].stage_words == "Ready for mounting"
    assert {each.cabinet for each in labels if each.is_clean and each.sign == "Mercury: gloves."} == {"F1"}


def test_a_stack_has_a_card_with_two_codes_until_it_is_closed(room: Room) -> None:
    with transaction(room.database) as session:
        add_stack(session, "P10", room.now)
        session.execute(update(table_of(Stack)).where(table_of(Stack).c.name == "P2").values(closed_at=room.now))
    with reading(room.database) as session:
        cards = stack_cards(session)
    assert [each.name for each in cards] == ["P1", "P3", "P10"]
    assert (cards[0].code_on, cards[0].code_off) == (room.code("on", "P1"), room.code("off", "P1"))
    with reading(room.database) as session, pytest.raises(ValueError, match="no stack called P2"):
        stack_cards(session, "P2")


def test_who_has_left_or_has_no_badge_gets_none(room: Room) -> None:
    with transaction(room.database) as session:
        retire_worker(session, room.worker["piet"], room.now, by=room.worker["hedda"])
        session.execute(
            update(table_of(Worker)).where(table_of(Worker).c.id == room.worker["ines"]).values(badge_code=None)
        )
    with reading(room.database) as session:
        names = [each.name for each in badges(session)]
        (mine,) = badges(session, room.worker["olwen"])
    assert names == ["Hedda Brackwater", "Olwen Tarrant", "Rosamund Ashgill"]
    assert mine.code == room.code("badge", "olwen")
    with reading(room.database) as session, pytest.raises(ValueError, match="no badge for this person"):
        badges(session, room.worker["piet"])
