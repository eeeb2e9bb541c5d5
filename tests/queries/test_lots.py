"""A lot and the sheets that were glued from it: from either end the same, and how they fared beside others."""

from __future__ import annotations

import random

import pytest

from app.db.engine import reading, transaction
from app.domain.intervals import wilson_interval
from app.domain.stages import Step
from app.queries.lot_cards import lot_cards, pots_for
from app.queries.lots import LotPage, lot_page, lot_rows, lots_beside, lots_of_sheet
from app.services.lots import end_lot
from app.services.pots import put_opening_right
from app.services.room import set_house_rule
from tests.queries.looking import label
from tests.room import Room
from tests.services.days import done
from tests.services.supplied import PASTE, PVA, card_of, kept, lot, told


@pytest.fixture
def lots(room: Room) -> list[int]:
    """Three lots of PVA and one of paste."""
    pva, paste = (
        kept(room, "adhesive", "PVA", adhesive_id=PVA, holds=1000),
        kept(room, "adhesive", "Paste", adhesive_id=PASTE),
    )
    return [*(lot(room, pva, number) for number in ("B 117", "B 118", "B 119")), lot(room, paste, "S 9")]


def page(room: Room, lot_id: int) -> LotPage:
    with reading(room.database) as session:
        found = lot_page(session, lot_id, room.now, room.zone)
    assert found is not None
    return found


def lots_said(room: Room, number: str) -> list[int | None]:
    with reading(room.database) as session:
        return [each.lot_id for each in lots_of_sheet(session, room.row(number)["id"])]


def opens(room: Room, lot_id: int, at: str = "table-1") -> None:
    room.wait(seconds=30)
    done(room.scans(card_of(room, lot_id), at))
    room.wait(seconds=30)


def glued_from(found: LotPage) -> dict[str, list[str]]:
    return {number: [each.words for each in mine] for number, mine in found.glued.items()}


def dried(room: Room, numbers: list[str]) -> None:
    """All of them through the press, eight to a stack."""
    stacks = [(stack, numbers[first : first + 8]) for stack, first in (("P1", 0), ("P2", 8)) if numbers[first:]]
    for stack, some in stacks:
        room.weights("off", stack)
        for number in some:
            done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack=stack))
        done(room.weights("on", stack))
    room.wait(hours=25)
    for stack, some in stacks:
        done(room.weights("off", stack))
        room.wait(minutes=1)
        assert all(room.takes_out(number).kind == "done" for number in some)


def test_from_either_end_it_is_the_same(room: Room, lots: list[int]) -> None:
    """Many pots at two tables, with undone, glued again and put right: each sheet says the lots that list it, and no other."""
    dice, numbers = random.Random(9), list[str]()
    for _ in range(30):
        table = dice.choice(["table-1", "table-2"])
        deed = dice.random()
        if deed < 0.3:
            opens(room, dice.choice(lots), table)
        elif deed < 0.4 and numbers:
            number = dice.choice(numbers)
            last = room.log(number)[-1]
            if last["step"] == "mount":
                room.undoes(last["id"], "table-1", manages=True, worker_ids=(room.worker["hedda"],))
        else:
            numbers.append(room.sheet_mounted(table, **({"adhesive": "paste"} if dice.random() < 0.3 else {})))
        room.wait(minutes=dice.randrange(1, 9))
    with transaction(room.database) as session:
        put_opening_right(session, 2, lots[2], told(room), "looked at the pot") if _is_pva(room, 2) else None
    said = {number: lots_said(room, number) for number in numbers}
    listed = {lot_id: glued_from(page(room, lot_id)) for lot_id in lots}
    assert sum(len(mine) for mine in listed.values()) >= 8
    for lot_id in lots:
        assert set(listed[lot_id]) == {number for number in numbers if lot_id in said[number]}, lot_id


def _is_pva(room: Room, opening_id: int) -> bool:
    from tests.services.supplied import openings

    return next(row["adhesive_id"] for row in openings(room) if row["id"] == opening_id) == PVA


def test_the_sheets_stand_in_walking_order_and_as_a_table(room: Room, lots: list[int]) -> None:
    opens(room, lots[0])
    on_table, filed = room.sheet_mounted(), room.sheet_mounted()
    label(room, filed, "Bellis perennis")
    dried(room, [filed])
    done(room.scans(filed, "inspection", step=Step.INSPECT, facts={"outcome": "passed"}))
    done(room.scans(filed, "filing", step=Step.FILE, cabinet="F1", shelf="2"))
    found = page(room, lots[0])
    # What lies in a cabinet comes first, what is in no cabinet last.
    assert [[line.number for line in group.lines] for group in found.picks.groups] == [[filed], [on_table]]
    assert found.picks.groups[0].where == "Cabinet F1 · shelf 2"
    rows = list(lot_rows(found))
    assert rows[0][:4] == ("number", "plant", "family", "where") and len(rows) == 3
    assert (
        rows[1][0] == filed
        and rows[1][1] == "Bellis perennis"
        and rows[1][4] == "mounted"
        and rows[1][7:] == ("passed", "")
    )
    assert rows[2][0] == on_table and rows[2][6] == "Mounting table 1"
    assert [(each.station, each.until, each.stands) for each in found.opened] == [("Mounting table 1", None, True)]


def test_how_a_lot_fared_beside_the_others(room: Room, lots: list[int]) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, "first_pass_least", 5, "a small room", room.now, by=room.worker["hedda"])
    mine, others = list[str](), list[str]()
    for lot_id, into, many in ((lots[0], mine, 6), (lots[1], others, 7), (lots[3], list[str](), 2)):
        opens(room, lot_id)
        for _ in range(many):
            into.append(room.sheet_mounted())
    unknown = room.sheet_mounted("table-2")
    dried(room, [*mine, *others])
    for number in (*mine[:4], *others):
        loose = number in (*mine[:3], others[0])
        facts = {"outcome": "to-be-mended", "findings": ["loose-part"]} if loose else {"outcome": "passed"}
        done(room.scans(number, "inspection", step=Step.INSPECT, facts=facts))
    room.wait(minutes=1)
    for number in (mine[0], mine[4]):
        done(room.scans(number, "inspection", step=Step.RE_GLUE, facts={"findings": ["loose-part"]}))
    found = page(room, lots[0])
    # By hand: 6 glued; looked at first 4, and one by gluing it anew: 1 of 5 passed; 2 of 6 were glued again. Of the other lot
    # 6 of 7 passed, none was glued again. Paste, and what nobody knows the lot of, is not beside it.
    assert (found.own.glued, found.own.passed.count, found.own.passed.cases) == (6, 1, 5)
    assert (found.own.again.count, found.own.again.cases) == (2, 6)
    assert (found.others.glued, found.others.passed.count, found.others.passed.cases, found.others.again.count) == (
        7,
        6,
        7,
        0,
    )
    assert found.own.passed.interval == wilson_interval(1, 5) and found.own.again.interval == wilson_interval(2, 6)
    assert unknown not in found.glued and found.sheets == 6 and found.glued[mine[0]][0].glued_again
    with transaction(room.database) as session:
        set_house_rule(session, "first_pass_least", 6, "not so small", room.now, by=room.worker["hedda"])
    assert page(room, lots[0]).own.passed.interval is None, "five are too few to tell"


def test_only_lots_in_use_within_a_year_stand_beside_it(room: Room, lots: list[int]) -> None:
    opens(room, lots[0])
    room.sheet_mounted()
    opens(room, lots[1])
    room.sheet_mounted()
    room.wait(days=400)
    opens(room, lots[2])
    room.sheet_mounted()
    # The second was open until the third: both its neighbours stand beside it; the first ended 400 days before the third.
    assert [page(room, lots[at]).others.glued for at in (0, 1, 2)] == [1, 2, 1]


def test_a_lot_that_was_put_right_shows_which_line_no_longer_stands(room: Room, lots: list[int]) -> None:
    opens(room, lots[0])
    number = room.sheet_mounted()
    with transaction(room.database) as session:
        put_opening_right(session, 1, lots[1], told(room), "looked at the pot")
    assert [(each.stands, each.until) for each in page(room, lots[0]).opened] == [(False, None)]
    assert page(room, lots[0]).sheets == 0 and glued_from(page(room, lots[1])) == {number: ["mounted"]}
    assert page(room, lots[1]).opened[0].why == "looked at the pot"


def test_a_table_is_offered_what_is_open_there_and_the_newest_lots(room: Room, lots: list[int]) -> None:
    def offered(at: str) -> list[tuple[str, bool]]:
        with reading(room.database) as session:
            return [(pot.number, pot.is_open) for pot in pots_for(session, room.station[at], room.now)]

    assert offered("table-1") == [("S 9", False), ("B 119", False), ("B 118", False), ("B 117", False)]
    opens(room, lots[0])
    assert offered("table-1")[0] == ("B 117", True) and ("B 117", False) in offered("table-2")
    for number in range(8):
        lot(room, 1, f"C {number}")
    assert len(offered("table-1")) == 6 and offered("table-1")[0] == ("B 117", True) and len(offered("table-2")) == 6
    with transaction(room.database) as session:
        end_lot(session, lots[0], told(room), "it lifts")
    assert "B 117" not in dict(offered("table-1"))


def test_cards_are_made_of_the_lots_in_use(room: Room, lots: list[int]) -> None:
    with transaction(room.database) as session:
        end_lot(session, lots[1], told(room), "it lifts")
    with reading(room.database) as session:
        assert [(each.adhesive, each.number) for each in lot_cards(session)] == [
            ("PVA, acid-free", "B 117"), ("PVA, acid-free", "B 119"), ("Wheat starch paste", "S 9")]  # fmt: skip
        assert [each.number for each in lot_cards(session, card_of(room, lots[3]))] == ["S 9"]
        with pytest.raises(ValueError, match="no lot with the code"):
            lot_cards(session, card_of(room, lots[1]))
        assert lots_beside(session, lots[0]) == ((lots[2], "B 119"), (lots[1], "B 118"))
        assert lot_page(session, 99, room.now, room.zone) is None
