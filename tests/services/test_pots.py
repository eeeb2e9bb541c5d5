"""A pot is opened by one scan of its lot's card; undone by the card, put right by the manager, and kept while the line is down."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from app.db.engine import reading, transaction
from app.domain.stages import Step
from app.queries.gluings import spans_now
from app.queries.lots import GluedWith, lots_of_sheet
from app.services.lots import end_lot, lot_numbered, say_of_lot
from app.services.pots import put_opening_right, write_opening
from tests.room import Room
from tests.services.days import card, codes, done
from tests.services.supplied import PASTE, PVA, card_of, kept, lot, openings, told


@pytest.fixture
def glue(room: Room) -> tuple[int, int, int]:
    """Two lots of PVA and one of paste, by their ids."""
    pva, paste = (
        kept(room, "adhesive", "PVA", adhesive_id=PVA, holds=1000),
        kept(room, "adhesive", "Paste", adhesive_id=PASTE),
    )
    return lot(room, pva, "B 117"), lot(room, pva, "B 118"), lot(room, paste, "S 9")


def opens(room: Room, lot_id: int, at: str = "table-1", **more: Any) -> Any:
    return room.scans(card_of(room, lot_id), at, **more)


def glued_with(room: Room, number: str) -> list[str]:
    """The lots of a sheet's gluings, as its page says them."""
    return [each.lot for each in gluings(room, number)]


def gluings(room: Room, number: str) -> tuple[GluedWith, ...]:
    with reading(room.database) as session:
        return lots_of_sheet(session, room.row(number)["id"])


def right(room: Room, opening_id: int, lot_id: int | None, why: str = "looked at the pot", **more: Any) -> None:
    with transaction(room.database) as session:
        put_opening_right(session, opening_id, lot_id, told(room, **more), why)


def test_one_scan_opens_a_pot_and_every_gluing_there_has_its_lot(room: Room, glue: tuple[int, int, int]) -> None:
    before = room.sheet_mounted()
    room.wait(minutes=1)
    answer = done(opens(room, glue[0]))
    assert answer.word == "PVA, acid-free, lot B 117." and "Open at Mounting table 1" in answer.lines[0]
    first, elsewhere = room.sheet_mounted(), room.sheet_mounted("table-2")
    room.wait(minutes=1)
    answer = done(opens(room, glue[1]))
    assert answer.lines[1] == "Lot B 117 is put away."
    second = room.sheet_mounted()
    told_of = [glued_with(room, each) for each in (before, first, elsewhere, second)]
    assert told_of == [["lot not known"], ["lot B 117"], ["lot not known"], ["lot B 118"]]


def test_the_pot_says_what_the_table_glues_with(room: Room, glue: tuple[int, int, int]) -> None:
    done(opens(room, glue[0]))
    room.wait(minutes=1)
    done(opens(room, glue[2]))
    assert room.station_row("table-1")["adhesive_id"] == PASTE
    pasted = room.sheet_mounted()
    assert glued_with(room, pasted) == ["lot S 9"] and room.row(pasted)["adhesive_id"] == PASTE
    # A sheet of which another adhesive is said has the lot of that one's pot, which stands open beside it.
    said, unheard = room.sheet_mounted(adhesive="pva"), room.sheet_mounted(adhesive="mc")
    assert glued_with(room, said) == ["lot B 117"] and glued_with(room, unheard) == ["lot not known"]


def test_the_same_pot_again_writes_nothing(room: Room, glue: tuple[int, int, int]) -> None:
    done(opens(room, glue[0]))
    room.wait(hours=1)
    assert "the pot that is open" in done(opens(room, glue[0])).lines[0] and len(openings(room)) == 1


def test_undo_takes_back_the_pot_that_was_opened_last(room: Room, glue: tuple[int, int, int]) -> None:
    done(opens(room, glue[0]))
    room.wait(minutes=1)
    number = room.sheet_mounted()
    room.wait(minutes=1)
    done(opens(room, glue[2]))
    room.wait(minutes=1)
    answer = done(room.scans(card("undo"), "table-1"))
    assert answer.lines[0] == "Taken back: a pot opened." and room.stage(number) == "mounted"
    # The table glues as before, with the pot as before.
    assert room.station_row("table-1")["adhesive_id"] == PVA
    room.wait(minutes=1)
    assert glued_with(room, room.sheet_mounted()) == ["lot B 117"]
    # Next it is the sheet's turn, as ever.
    assert "Taken back: mounted" in done(room.scans(card("undo"), "table-1")).lines[0]


def test_undo_after_a_sheet_is_about_the_sheet(room: Room, glue: tuple[int, int, int]) -> None:
    done(opens(room, glue[0]))
    number = room.sheet_mounted()
    room.wait(minutes=1)
    done(room.scans(card("undo"), "table-1"))
    assert room.stage(number) == "ready-for-mounting" and len(openings(room)) == 1


def test_somebody_elses_pot_is_not_taken_back(room: Room, glue: tuple[int, int, int]) -> None:
    done(opens(room, glue[0]))
    room.wait(minutes=1)
    room.scans(room.code("badge", "piet"), "table-1")
    room.wait(minutes=1)
    assert codes(room.scans(card("undo"), "table-1")) == ["manager-only"] and len(openings(room)) == 1


def test_re_gluing_has_a_lot_of_its_own_and_mending_where_one_pot_alone_is_open(
    room: Room, glue: tuple[int, int, int]
) -> None:
    done(opens(room, glue[0]))
    numbers = [room.sheet_mounted() for _ in range(3)]
    for number in numbers:
        done(room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1"))
    done(room.weights("on", "P1"))
    room.wait(hours=25)
    done(room.weights("off", "P1"))
    room.wait(minutes=1)
    for number in numbers:
        done(room.takes_out(number))
    done(opens(room, glue[1], "inspection"))
    done(room.scans(numbers[0], "inspection", step=Step.RE_GLUE, facts={"findings": ["loose-part"]}))
    mends = {"step": Step.INSPECT, "facts": {"outcome": "mended-here"}}
    done(room.scans(numbers[1], "inspection", **mends))
    room.wait(minutes=1)
    done(opens(room, glue[2], "inspection"))
    done(room.scans(numbers[2], "inspection", **mends))
    assert [glued_with(room, each) for each in numbers] == [
        ["lot B 117", "lot B 118"], ["lot B 117", "lot B 118"], ["lot B 117", "lot not known"]]  # fmt: skip
    assert [each.words for each in gluings(room, numbers[1])] == ["mounted", "mended at the inspection"]


def test_what_was_undone_was_not_glued_and_mounted_again_is_glued_again(room: Room, glue: tuple[int, int, int]) -> None:
    done(opens(room, glue[0]))
    number = room.sheet_mounted()
    room.wait(minutes=1)
    done(room.undoes(room.log(number)[-1]["id"]))
    assert gluings(room, number) == ()
    done(opens(room, glue[1]))
    done(room.scans(number, "table-1", step=Step.MOUNT))
    assert glued_with(room, number) == ["lot B 118"]


def test_the_manager_puts_right_which_lot_it_was(room: Room, glue: tuple[int, int, int]) -> None:
    done(opens(room, glue[0]))
    number = room.sheet_mounted()
    room.wait(minutes=1)
    right(room, 1, glue[1])
    assert glued_with(room, number) == ["lot B 118"]
    assert [(row["lot_id"], row["corrects"], row["is_void"]) for row in openings(room)] == [
        (glue[0], None, False), (glue[1], 1, False)]  # fmt: skip
    right(room, 2, None)
    assert glued_with(room, number) == ["lot not known"]
    with pytest.raises(ValueError, match="no longer stands"):
        right(room, 1, glue[0])


def test_what_is_put_right_needs_a_reason_and_a_lot_of_the_same_adhesive(
    room: Room, glue: tuple[int, int, int]
) -> None:
    done(opens(room, glue[0]))
    with pytest.raises(ValueError, match="Say why"):
        right(room, 1, glue[1], " ")
    with pytest.raises(ValueError, match="of another adhesive"):
        right(room, 1, glue[2])
    with pytest.raises(ValueError, match="not come yet"):
        right(room, 1, glue[1], at=room.now + timedelta(seconds=1))
    assert len(openings(room)) == 1


def test_what_nobody_scanned_is_written_up_and_ends_where_it_was_put_away(
    room: Room, glue: tuple[int, int, int]
) -> None:
    numbers = []
    for _ in range(3):
        numbers.append(room.sheet_mounted())
        room.wait(hours=1)
    with transaction(room.database) as session:
        at = lambda hours: told(room, room.now - timedelta(hours=hours))  # noqa: E731
        write_opening(session, glue[0], room.station["table-1"], at(2.5), "Olwen's notebook")
        write_opening(session, glue[0], room.station["table-1"], at(1.5), "Olwen's notebook", away=True)
        with pytest.raises(ValueError, match="must have come"):
            write_opening(session, glue[0], room.station["table-1"], at(-1), "a guess")
    assert [glued_with(room, each) for each in numbers] == [["lot not known"], ["lot B 117"], ["lot not known"]]


def test_a_lot_out_of_use_is_refused_and_an_old_label_is_said(room: Room, glue: tuple[int, int, int]) -> None:
    with transaction(room.database) as session:
        end_lot(session, glue[0], told(room), "it lifts")
        say_of_lot(session, glue[1], told(room), "B 118", date(2026, 11, 24), "read again")
    answer = opens(room, glue[0])
    assert answer.kind == "stop" and "out of use" in answer.lines[0] and openings(room) == []
    assert "past: 24 Nov 2026" in done(opens(room, glue[1])).lines[1]
    with transaction(room.database) as session:
        end_lot(session, glue[0], told(room), "it was the humidity", again=True)
    done(opens(room, glue[0]))


@pytest.mark.parametrize(
    ("at", "code"), [("press", "unknown-station"), ("filing", "unknown-station"), (None, "not-signed-in")]
)
def test_nothing_is_opened_where_nothing_is_glued(
    room: Room, glue: tuple[int, int, int], at: str | None, code: str
) -> None:
    assert codes(room.scans(card_of(room, glue[0]), at)) == [code] and openings(room) == []


def test_a_card_that_is_no_lots_is_refused(room: Room, glue: tuple[int, int, int]) -> None:
    from app.domain.numbers import CODES, Kind

    assert codes(room.scans(CODES[Kind.LOT].spell(77), "table-1")) == ["unknown-number"]


def test_a_pot_opened_while_the_line_was_down_is_open_since_then(room: Room, glue: tuple[int, int, int]) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    began = room.now
    room.wait(minutes=40)
    done(opens(room, glue[0], happened_at=began + timedelta(minutes=5), held=1))
    done(room.scans(number, "table-1", step=Step.MOUNT, happened_at=began + timedelta(minutes=20)))
    assert glued_with(room, number) == ["lot B 117"]


def test_a_lot_is_made_once_for_its_number(room: Room, glue: tuple[int, int, int]) -> None:
    assert lot(room, 1, "b117") == glue[0] and len({card_of(room, each) for each in glue}) == 3
    sheets = kept(room)
    for wrong, supply, match in (
        (" ", 1, "Type the number"),
        ("X", sheets, "Only an adhesive"),
        ("X", 99, "no such supply"),
    ):
        with pytest.raises(ValueError, match=match), transaction(room.database) as session:
            lot_numbered(session, supply, wrong, told(room))
    with pytest.raises(ValueError, match="another lot with this number"), transaction(room.database) as session:
        say_of_lot(session, glue[0], told(room), "B118", None, "read again")


@pytest.mark.parametrize("statement", ["UPDATE lot_opening SET lot_id = 2", "DELETE FROM lot_opening"])
def test_what_was_open_is_never_changed(room: Room, glue: tuple[int, int, int], statement: str) -> None:
    done(opens(room, glue[0]))
    with (
        pytest.raises(DatabaseError, match="the log is never changed: lot_opening"),
        room.database.engine.begin() as connection,
    ):
        connection.execute(text(statement))
    with reading(room.database) as session:
        assert [span.lot_id for span in spans_now(session)] == [glue[0]]
