"""Files on their way in: whole or not at all, whatever stops them, and nobody else's number meanwhile."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import select

from app.bringing_in import BadList, Bringer
from app.db.engine import reading, transaction
from app.db.models import Sheet, TakenRow, table_of
from app.domain.errors import Refused
from app.domain.stages import Step
from app.services.audit import audit
from app.services.column_maps import remember_ways
from app.services.desk import ScanRequest
from app.services.intake import digest
from app.services.opening import open_desk
from app.services.pace import Pace
from app.services.registering import mint_number
from tests.room import Room
from tests.services.bringing import bring, bringer, file, killed_after, last_file, sent, withdraws
from tests.services.parcels import EXAMPLE, consign, content, counts, listed, number, plan, rows, run

LIST = listed(rows(1300))
WRITTEN = ("sheet", "entry", "entry_worker", "plant_name", "collector", "tally_day")


@pytest.fixture
def receiving(room: Room) -> Room:
    consign(room)
    return room


def differences(room: Room) -> list[str]:
    with reading(room.database) as session:
        return [each.sentence for each in audit(session, room.zone)]


def staged(room: Room) -> int:
    return counts(room.database)["taken_row"]


def goes_on(room: Room, uploads: Path = Path("/nowhere")) -> None:
    """Another program serves the room from now on: it looks twice before it takes a file in hand."""
    program = bringer(room)
    program.go_on(uploads)
    program.go_on(uploads)


def test_a_file_is_taken_in_as_a_small_list_is_and_leaves_nothing_lying_about(receiving: Room) -> None:
    assert bring(receiving, LIST).said == "1,300 new, 0 already here."
    shown = file(receiving)
    assert (shown.state, shown.rows, shown.done, shown.by, staged(receiving)) == (
        "in",
        1300,
        1300,
        "Hedda Brackwater",
        0,
    )
    assert differences(receiving) == []


def test_both_ways_of_taking_in_write_the_same(room: Room, receiving: Room) -> None:
    """In one transaction, and checked first and then in several: the same rows but for whose consignment they are."""
    consign(receiving, "GIFT-2")
    run(receiving, listed(rows(700)))
    but = ("id", "consignment_id", "subject_id", "entry_id", "number")
    alone = content(receiving.database, *WRITTEN, but=but)
    with transaction(receiving.database) as session:
        session.execute(table_of(Sheet).update().values(number=table_of(Sheet).c.number + "-old"))
    bring(receiving, listed(rows(700)), "GIFT-2")
    both = content(receiving.database, *WRITTEN, but=but)
    for name in ("sheet", "entry", "entry_worker"):
        half = len(both[name]) // 2
        told = [{**row, "facts": {**row["facts"], "file": ""}} if "facts" in row else row for row in both[name]]
        assert len(alone[name]) == half and all(told.count(row) % 2 == 0 for row in told[:20]), name
    assert (both["plant_name"], both["collector"]) == (alone["plant_name"], alone["collector"])


def test_the_same_file_twice_changes_nothing(receiving: Room) -> None:
    bring(receiving, LIST)
    before = content(receiving.database, *WRITTEN)
    receiving.wait(hours=2)
    assert bring(receiving, LIST).said == "0 new, 1,300 already here."
    assert content(receiving.database, *WRITTEN) == before and staged(receiving) == 0


def test_a_longer_list_brings_in_what_is_new_of_it(receiving: Room) -> None:
    bring(receiving, listed(rows(600)))
    assert bring(receiving, LIST).said == "700 new, 600 already here."
    assert differences(receiving) == [] and file(receiving).rows == 700


@pytest.mark.parametrize("turns", [1, 2])
def test_killed_while_it_is_checked_nothing_is_in_and_it_can_be_sent_again(receiving: Room, turns: int) -> None:
    before = counts(receiving.database)
    killed_after(receiving, LIST, turns)
    goes_on(receiving)
    after = counts(receiving.database)
    assert {name for name in after if after[name] != before[name]} == {"taken_file"}
    assert file(receiving).state == "withdrawn" and "choose it again" in file(receiving).why
    assert bring(receiving, LIST).new == 1300


def test_killed_while_it_is_checked_it_goes_on_where_the_file_is_still_held(receiving: Room, tmp_path: Path) -> None:
    file_id = killed_after(receiving, LIST, 2)
    held = tmp_path / file_digest(LIST)
    held.write_bytes(LIST)
    goes_on(receiving, tmp_path)
    assert file(receiving, file_id).state == "in" and counts(receiving.database)["sheet"] == 1300
    assert not held.exists() and differences(receiving) == []


@pytest.mark.parametrize("turns", [3, 4])
def test_killed_in_the_middle_it_goes_on_to_the_end_in_the_next_program(receiving: Room, turns: int) -> None:
    file_id = killed_after(receiving, LIST, turns)
    assert file(receiving, file_id).state == "going"
    assert 0 < counts(receiving.database)["sheet"] == file(receiving, file_id).done < 1300
    assert differences(receiving) == []
    receiving.wait(minutes=3)
    goes_on(receiving)
    assert file(receiving, file_id).state == "in"
    assert counts(receiving.database)["sheet"] == counts(receiving.database)["entry"] == 1300 and staged(receiving) == 0
    assert differences(receiving) == []
    assert bring(receiving, LIST).said == "0 new, 1,300 already here."


def test_a_file_that_another_program_moves_is_left_to_it(receiving: Room) -> None:
    looker = bringer(receiving)
    killed_after(receiving, LIST, 4, before=lambda: looker.go_on(Path("/nowhere")))
    assert file(receiving).state == "going" and file(receiving).done == 1000
    with transaction(receiving.database) as session:
        from app.services.files_in import take_in_some
        from app.services.naming import Names

        take_in_some(session, last_file(receiving), receiving.occasion, Names(), many=100)
    looker.go_on(Path("/nowhere"))
    assert file(receiving).done == 1100
    looker.go_on(Path("/nowhere"))
    assert file(receiving).state == "in"


# -- whose numbers they are -----------------------------------------------------------------------------------------
def test_a_number_on_its_way_in_is_nobody_else_s(receiving: Room) -> None:
    killed_after(receiving, LIST, 4)
    waiting = number(1200)
    answer = receiving.scans(waiting, "intake")
    assert answer.kind == "stop" and "being taken in with the file list.csv" in " ".join(answer.lines), answer
    with reading(receiving.database) as session:
        assert session.execute(select(table_of(Sheet).c.id).where(Sheet.number == waiting)).first() is None
    goes_on(receiving)
    receiving.wait(minutes=1)
    facts = {"dryness": True, "label": True}
    assert receiving.scans(waiting, "intake", step=Step.ARRIVE_DRY, facts=facts, cabinet="M1", shelf="1").kind == "done"
    assert differences(receiving) == []


def test_no_number_is_minted_that_is_on_its_way_in(receiving: Room) -> None:
    own = [receiving.new_number() for _ in range(600)]
    killed_after(receiving, listed([[each, *row[1:]] for each, row in zip(own, rows(600), strict=True)]), 2)
    assert counts(receiving.database)["sheet"] < 600
    with transaction(receiving.database) as session:
        desk, _ = open_desk(session, ScanRequest("", ""), receiving.occasion)
        assert mint_number(desk) not in own


def test_two_files_never_take_the_same_number_in(receiving: Room) -> None:
    killed_after(receiving, LIST, 4)
    consign(receiving, "GIFT-2")
    other = listed(rows(3, first=1299))
    assert "is being taken in with the file “list.csv”" in plan(receiving, other, "GIFT-2").bad[0].reason
    with pytest.raises(BadList):
        bring(receiving, other, "GIFT-2")
    with pytest.raises(Refused, match="number-taken"):
        bring(receiving, LIST)


def test_a_number_scanned_in_while_the_file_is_checked_stops_all_of_it(receiving: Room) -> None:
    scanned: list[str] = []

    def somebody_scans(seconds: float) -> None:
        if not scanned:
            scanned.append(number(1100))
            receiving.scans(scanned[0], "intake")

    with pytest.raises(BadList) as raised:
        bringer(receiving, somebody_scans).bring(sent(receiving, LIST), LIST)
    assert [each.line for each in raised.value.bad] == [1102]
    after = counts(receiving.database)
    assert (after["sheet"], after["taken_file"], after["taken_row"]) == (1, 0, 0)


# -- taken back -----------------------------------------------------------------------------------------------------
def test_a_file_withdrawn_in_the_middle_is_taken_back_whole_and_can_come_again(receiving: Room) -> None:
    file_id = killed_after(receiving, LIST, 4)
    withdraws(receiving, file_id)
    goes_on(receiving)
    shown = file(receiving, file_id)
    assert (shown.state, shown.done, shown.why, staged(receiving)) == ("withdrawn", 0, "the wrong parcel", 0)
    assert {receiving.row(number(place))["stage"] for place in (0, 500, 999)} == {None}
    assert differences(receiving) == []
    assert {row["sheets"] for row in content(receiving.database, "tally_day")["tally_day"]} == {0}
    receiving.wait(minutes=5)
    planned = plan(receiving, LIST)
    assert (planned.new, planned.bad) == (1300, ())
    assert bring(receiving, LIST).new == 1300
    assert receiving.stage(number(3)) == "intake" and counts(receiving.database)["sheet"] == 1300
    assert differences(receiving) == []


def test_killed_while_it_is_taken_back_it_is_taken_back_to_the_end(receiving: Room) -> None:
    file_id = killed_after(receiving, listed(rows(600)), 2)
    withdraws(receiving, file_id)
    turns = iter([0, 0])

    def dies(seconds: float) -> None:
        if next(turns, None) is None:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        bringer(receiving, dies).take_back(file_id)
    assert 0 < file(receiving, file_id).done < 500 and differences(receiving) == []
    goes_on(receiving)
    assert file(receiving, file_id).done == 0 and differences(receiving) == []


def test_a_file_is_not_withdrawn_once_somebody_has_a_sheet_of_it_in_hand(receiving: Room) -> None:
    file_id = killed_after(receiving, LIST, 4)
    receiving.wait(minutes=1)
    receiving.scans(
        number(3), "intake", step=Step.ARRIVE_DRY, facts={"dryness": True, "label": True}, cabinet="M1", shelf="1"
    )
    with pytest.raises(Refused) as raised:
        withdraws(receiving, file_id)
    assert raised.value.refusals[0].words == "1 of its sheets have gone on since: somebody has them in hand."
    assert file(receiving, file_id).state == "going"


@pytest.mark.parametrize(("why", "code"), [("", "reason-needed"), ("late", "out-of-order")])
def test_without_a_reason_or_when_it_is_in_nothing_is_withdrawn(receiving: Room, why: str, code: str) -> None:
    bring(receiving, EXAMPLE)
    with pytest.raises(Refused, match=code):
        withdraws(receiving, last_file(receiving), why)
    assert file(receiving).state == "in"


# -- columns --------------------------------------------------------------------------------------------------------
def test_columns_of_other_names_are_read_as_somebody_said_and_what_is_left_out_is_not_kept(receiving: Room) -> None:
    data = b"Barcode;Name;Van;Price\n" + f"{number(0)};Carex nigra;7;12\n".encode()
    ways = ("catalogNumber", "scientificName", "keep", "leave")
    assert bring(receiving, data, ways=ways).new == 1
    row = receiving.row(number(0))
    assert row["kept"] == {"Van": "7"} and row["plant_name_id"] is not None


def test_how_columns_were_read_is_remembered_by_the_source_and_the_headings(receiving: Room) -> None:
    from app.queries.files import remembered_ways

    ways = ("catalogNumber", "keep")
    for told in (("keep", "catalogNumber"), ways):
        with transaction(receiving.database) as session:
            remember_ways(session, "GIFT-1", ("Barcode", "Van"), told, receiving.now, None)
    with reading(receiving.database) as session:
        assert remembered_ways(session, "GIFT-1", (" Barcode", "Van ")) == ways
        assert remembered_ways(session, "GIFT-1", ("Barcode", "Boat")) is None
        assert remembered_ways(session, "NOT-THERE", ("Barcode", "Van")) is None
    assert counts(receiving.database)["column_map"] == 1


def test_no_row_that_waits_is_left_by_a_file_that_cannot_come_in(receiving: Room) -> None:
    some = rows(1200)
    some[1100][0] = some[3][0]
    before = counts(receiving.database)
    with pytest.raises(BadList) as raised:
        bring(receiving, listed(some))
    assert [each.said for each in raised.value.bad][0].startswith("Line 1102, catalogNumber: ")
    assert "stands in line 5 already" in raised.value.bad[0].reason
    assert counts(receiving.database) == before and table_of(TakenRow).name == "taken_row"


def file_digest(data: bytes) -> str:
    return digest(data)


@pytest.mark.parametrize(("took", "next_"), [(0.01, 500), (0.02, 250), (0.5, 50), (0.0, 500)])
def test_while_others_write_a_turn_takes_fewer_sheets_on_a_slow_machine(took: float, next_: int) -> None:
    pace = Pace(longest_turn_s=0.010)
    for mark in (7, 8):
        pace.looks(mark)
    pace.took(500, took)
    assert pace.many == next_


def test_while_nobody_else_writes_every_turn_takes_most() -> None:
    pace = Pace(longest_turn_s=0.010)
    for _ in range(2):
        pace.looks(7)
        pace.took(500, 0.5)
    assert pace.many == 500
    pace.looks(None)
    pace.took(500, 0.5)
    assert pace.many == 50


@pytest.mark.parametrize(("somebody_scans", "few", "many"), [(False, 5, 5), (True, 30, 60)])
def test_whether_others_write_is_seen_in_the_room_itself(
    receiving: Room, somebody_scans: bool, few: int, many: int
) -> None:
    """Nobody else writes: two rests while it is checked, two while it comes in, one while the checked rows are swept away.
    Somebody scans in every rest: from the second turn on they are as short as may be.
    """
    rests: list[float] = []

    def rest(seconds: float) -> None:
        rests.append(seconds)
        if somebody_scans:
            receiving.scans(receiving.new_number(), "intake")

    program = Bringer(receiving.database, lambda: receiving.now, receiving.zone, rest=rest, longest_turn_s=1e-9)
    program.bring(sent(receiving, LIST), LIST)
    assert few <= len(rests) <= many and differences(receiving) == []
