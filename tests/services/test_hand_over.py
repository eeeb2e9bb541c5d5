"""Hand-overs to the catalogue: what was filed since the last, once and for good, and what has changed since, said so."""

from __future__ import annotations

import csv
import io
import zipfile
from pathlib import Path

import pytest
from sqlalchemy import func, select, text
from sqlalchemy.exc import DatabaseError

from app.db.engine import reading, transaction
from app.db.hand_over_due import HANDED
from app.db.models import Change, table_of
from app.domain.stages import Step
from app.queries.out_hand_overs import Ready, hand_over, hand_overs, handed
from app.services.forgetting_names import replace_name
from app.services.hand_over import call_back_hand_over, receive_hand_over
from app.services.people import retire_worker
from app.services.room import set_house_rule
from tests.queries.looking import brought_dry, filed, label, page_of
from tests.room import Room
from tests.services.going_out import hands_over, lies_ready, renumbers, told_in
from tests.services.test_numbers_given import joins

NOTHING = Ready(0, 0, more=False)


def lines_in(room: Room, number: int) -> dict[str, dict[str, str]]:
    """The lines of a hand-over's table by their sheets."""
    rows = csv.DictReader(io.StringIO(told_in(room, number)[0].removeprefix("\ufeff")))
    return {row["catalogNumber"]: row for row in rows}


def brings_back(room: Room, number: str) -> None:
    assert room.scans(number, step=Step.BRING_BACK, who="hedda", reason="damage was seen", manages=True).kind == "done"


def withdraws(room: Room, number: str) -> None:
    assert (
        room.scans(number, step=Step.WITHDRAW, who="hedda", reason="sent in exchange to Oslo", manages=True).kind
        == "done"
    )


def files(room: Room, number: str, shelf: str) -> None:
    room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})
    assert room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf=shelf).kind == "done"


def calls_back(room: Room, number: int, why: str = "the wrong folder") -> None:
    with transaction(room.database) as session:
        call_back_hand_over(session, number, why, room.now, room.worker["hedda"])


def receives(room: Room, number: int, who: str = "Ida Thwaite") -> None:
    with transaction(room.database) as session:
        receive_hand_over(session, number, who, room.now, room.worker["hedda"])


# -- what is told ---------------------------------------------------------------------------------------------------
def test_what_was_filed_is_told_once_and_what_waits_is_not(room: Room) -> None:
    first, second, waits = filed(room), filed(room), brought_dry(room)
    assert (lies_ready(room).filed, lies_ready(room).corrections) == (2, 0)
    assert hands_over(room) == 1 and set(lines_in(room, 1)) == {first, second}
    line = lines_in(room, 1)[first]
    assert (line["blotter:line"], line["blotter:hand-over"], line["blotter:cabinet"], line["blotter:shelf"]) == (
        "filed",
        "1",
        "F1",
        "1",
    )
    assert line["blotter:since"] == "2026-11-25T09:00:00+00:00" and line["blotter:mounted-by"] == ""
    assert lies_ready(room).filed == 0
    with pytest.raises(ValueError, match="Nothing was filed or changed"):
        hands_over(room)
    third = filed(room)
    files(room, waits, "2")
    assert hands_over(room) == 2 and set(lines_in(room, 2)) == {third, waits}


def test_what_has_changed_since_is_told_as_a_correction_of_what_was_said(room: Room) -> None:
    moved, back, gone, called, alike, joined = (filed(room) for _ in range(6))
    hands_over(room)
    room.scans(moved, "filing", step=Step.SHELVE, cabinet="F1", shelf="3")
    brings_back(room, back)
    brings_back(room, gone)
    withdraws(room, gone)
    new = room.new_number()
    renumbers(room, called, new)
    joins(room, alike, joined)
    # An entry that changes nothing that was told: looked at again, and put back where it lay.
    brings_back(room, alike)
    files(room, alike, "1")
    assert (lies_ready(room).filed, lies_ready(room).corrections) == (0, 5)
    hands_over(room)
    found = lines_in(room, 2)
    assert {number: line["blotter:changed"] for number, line in found.items()} == {
        moved: "shelf", back: "standing shelf", gone: "standing shelf", new: "number", joined: "standing shelf"}  # fmt: skip
    assert {line["blotter:corrects"] for line in found.values()} == {"1"} and {
        line["blotter:line"] for line in found.values()
    } == {"correction"}
    assert (
        found[gone]["blotter:withdrawn"] == "sent in exchange to Oslo"
        and "put together" in found[joined]["blotter:withdrawn"]
    )
    # What was told anew is corrected by the next, and only then.
    files(room, back, "4")
    hands_over(room)
    assert {
        number: (line["blotter:corrects"], line["blotter:shelf"]) for number, line in lines_in(room, 3).items()
    } == {back: ("2", "4")}


def test_what_comes_and_goes_between_two_hand_overs_is_not_told(room: Room) -> None:
    number, other = filed(room), filed(room)
    hands_over(room)
    brings_back(room, number)
    files(room, number, "1")
    late = filed(room)
    brings_back(room, late)
    assert lies_ready(room) == NOTHING
    room.takes_back(room.log(other)[-1]["id"], "it lies on the table still")
    assert lies_ready(room).corrections == 1
    hands_over(room)
    assert {number: line["blotter:stage"] for number, line in lines_in(room, 2).items()} == {other: "dry"}


def test_a_sheet_that_is_missing_or_found_is_told(room: Room) -> None:
    number = filed(room)
    hands_over(room)
    room.scans(number, step=Step.PUT_HOLD, who="hedda", reason="looked for", facts={"hold": "not-found"}, manages=True)
    hands_over(room)
    assert (
        lines_in(room, 2)[number]["blotter:changed"] == "standing"
        and lines_in(room, 2)[number]["blotter:holds"] == "not-found"
    )


@pytest.mark.parametrize("most", [1, 2, 3, 5, 6])
def test_no_sheet_is_told_twice_or_never_however_many_go_at_once(
    room: Room, most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.services.hand_over.MOST", most)
    numbers = [filed(room) for _ in range(5)]
    brings_back(room, numbers[0])
    files(room, numbers[0], "2")
    told: list[str] = []
    while lies_ready(room) != NOTHING:
        found = lines_in(room, hands_over(room))
        assert 0 < len(found) <= most and {line["blotter:line"] for line in found.values()} == {"filed"}
        told += found
    assert sorted(told) == sorted(numbers)


@pytest.mark.parametrize("most", [1, 2, 3])
def test_no_correction_is_left_out_where_few_go_at_once(room: Room, most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    numbers = [filed(room) for _ in range(4)]
    hands_over(room)
    # One entry each, and none after it.
    for number in numbers:
        room.scans(number, "filing", step=Step.SHELVE, cabinet="F1", shelf="3")
    monkeypatch.setattr("app.services.hand_over.MOST", most)
    told: list[str] = []
    while lies_ready(room) != NOTHING:
        told += lines_in(room, hands_over(room))
    assert told == numbers


# -- it stays as it is ----------------------------------------------------------------------------------------------
def test_a_hand_over_is_the_same_to_the_byte_whatever_happens_afterwards(room: Room) -> None:
    number = filed(room)
    label(
        room,
        number,
        "Caltha palustris",
        "M. Fenwick",
        kept={"MeasurementOrFact 1: measurementType": "height", "Van": "=7"},
    )
    hands_over(room)
    before = told_in(room, 1)
    with zipfile.ZipFile(io.BytesIO(before[1])) as archive:
        assert archive.namelist() == ["meta.xml", "eml.xml", "occurrence.txt", "measurementorfact.txt"]
        assert {each.compress_type for each in archive.infolist()} == {zipfile.ZIP_STORED}
        assert {each.date_time for each in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    room.wait(days=400)
    label(room, number, "Caltha minor", "Somebody else", locality="elsewhere", is_sensitive=True)
    brings_back(room, number)
    renumbers(room, number, room.new_number())
    filed(room)
    hands_over(room)
    receives(room, 1)
    assert told_in(room, 1) == before


def test_names_are_told_only_where_the_house_says_so(room: Room) -> None:
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=30)
    room.weights("off", "P1")
    room.takes_out(number)
    files(room, number, "1")
    hands_over(room)
    assert "Olwen" not in told_in(room, 1)[0]
    calls_back(room, 1)
    with transaction(room.database) as session:
        set_house_rule(session, "hand_over_names", 1, "asked for by the catalogue", room.now, by=room.worker["hedda"])
    hands_over(room)
    assert lines_in(room, 2)[number]["blotter:mounted-by"] == "Olwen Tarrant" and "Olwen" not in told_in(room, 1)[0]
    # Whose name is replaced by a number is named by it in what was handed over, too.
    with transaction(room.database) as session:
        retire_worker(session, room.worker["olwen"], room.now, by=room.worker["hedda"])
        replace_name(session, room.worker["olwen"], room.now, room.worker["hedda"])
    assert lines_in(room, 2)[number]["blotter:mounted-by"].startswith("W")


def test_the_place_of_a_sensitive_plant_goes_only_where_it_was_said(room: Room) -> None:
    number = filed(room)
    label(room, number, locality="by the well", is_sensitive=True)
    hands_over(room)
    assert b"the well" not in b"".join((told_in(room, 1)[0].encode(), told_in(room, 1)[1]))
    calls_back(room, 1)
    hands_over(room, exact_places=True)
    assert lines_in(room, 2)[number]["locality"] == "by the well" and b"the well" in told_in(room, 2)[1]


@pytest.mark.parametrize("statement", [
    "UPDATE handed_sheet SET told = '{}'", "DELETE FROM handed_sheet", pytest.param("REPLACE INTO handed_sheet SELECT * FROM handed_sheet", marks=pytest.mark.sqlite_only("REPLACE is a statement of SQLite only")),
    "UPDATE hand_over SET sheets = 7", "DELETE FROM hand_over", pytest.param("REPLACE INTO hand_over SELECT * FROM hand_over", marks=pytest.mark.sqlite_only("REPLACE is a statement of SQLite only"))])  # fmt: skip
def test_nothing_changes_what_was_handed_over(room: Room, statement: str) -> None:
    filed(room)
    hands_over(room)
    before = told_in(room, 1)
    with pytest.raises(DatabaseError, match="never changed"), room.database.engine.begin() as connection:
        connection.execute(text(statement))
    assert told_in(room, 1) == before


# -- received, called back -------------------------------------------------------------------------------------------
def test_who_took_and_received_it_stands_with_it_and_in_the_history(room: Room) -> None:
    filed(room)
    hands_over(room, "  Ida   Thwaite ")
    room.wait(days=2)
    receives(room, 1, "The keeper")
    with reading(room.database) as session:
        line = hand_over(session, 1)
        changes = (
            session.execute(select(table_of(Change)).where(Change.subject == "hand-over").order_by(Change.id))
            .mappings()
            .all()
        )
    assert line is not None and (line.to_whom, line.received_by, line.received_at, line.by) == (
        "Ida Thwaite", "The keeper", room.now, "Hedda Brackwater")  # fmt: skip
    assert [(row["what"], row["why"]) for row in changes] == [("made", "Ida Thwaite"), ("received", "The keeper")]


def test_what_is_called_back_is_due_again_and_its_number_is_not_given_twice(room: Room) -> None:
    number = filed(room)
    hands_over(room)
    with reading(room.database) as session:
        assert [each.number for each in handed(session, page_of(room, number).sheet_id)] == [1]
    calls_back(room, 1)
    with reading(room.database) as session:
        assert handed(session, page_of(room, number).sheet_id) == ()
        assert [(line.number, line.why, line.is_open) for line in hand_overs(session)] == [
            (1, "the wrong folder", False)
        ]
    assert lies_ready(room).filed == 1 and hands_over(room) == 2
    assert lines_in(room, 2)[number]["blotter:line"] == "filed"


def test_what_a_called_back_one_would_have_corrected_is_still_to_be_corrected(room: Room) -> None:
    number = filed(room)
    hands_over(room)
    brings_back(room, number)
    hands_over(room)
    calls_back(room, 2)
    files(room, number, "1")
    assert lies_ready(room) == NOTHING
    brings_back(room, number)
    hands_over(room)
    assert lines_in(room, 3)[number]["blotter:corrects"] == "1"


def test_what_cannot_be_is_refused_with_a_sentence(room: Room) -> None:
    filed(room)
    with pytest.raises(ValueError, match="Say who takes it"):
        hands_over(room, " ")
    hands_over(room)
    filed(room)
    hands_over(room)
    for act, words in ((lambda: calls_back(room, 1), "Only the last"), (lambda: calls_back(room, 2, " "), "Say why"),
                       (lambda: receives(room, 2, " "), "Say who received"), (lambda: calls_back(room, 9), "no hand-over 9"),
                       (lambda: receives(room, 9), "no hand-over 9")):  # fmt: skip
        with pytest.raises(ValueError, match=words):
            act()
    receives(room, 2)
    for act in (lambda: calls_back(room, 2), lambda: receives(room, 2)):
        with pytest.raises(ValueError, match="received already"):
            act()
    receives(room, 1)


def test_nothing_is_written_where_nothing_is_due(room: Room, tmp_path: Path) -> None:
    room.sheet_ready()
    with pytest.raises(ValueError):
        hands_over(room)
    with reading(room.database) as session:
        assert session.execute(select(func.count()).select_from(HANDED)).scalar_one() == 0 and hand_overs(session) == ()
