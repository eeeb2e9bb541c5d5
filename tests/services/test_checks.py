"""Cabinet checks at a station: what each scan says, that none moves a sheet, and how a check is left, shared and ended."""

from __future__ import annotations

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import IntegrityError

from app.db.engine import reading, transaction
from app.domain.checking import Fate
from app.domain.stages import Step
from app.services.audit import audit
from tests.room import Room
from tests.services.counted import (
    SEEN,
    begins,
    breaks_off,
    cabinet_code,
    cabinet_steps,
    card,
    closes,
    draws,
    fates,
    kinds_seen,
    newest,
    says_done,
    shelved,
    told,
    writes_there,
)

HOLD = {"hold": "not-found"}


def clean(room: Room) -> None:
    with reading(room.database) as session:
        assert [difference.sentence for difference in audit(session, room.zone)] == []


def lying(room: Room, many: int, shelf: str = "1") -> list[str]:
    numbers = [room.sheet_ready() for _ in range(many)]
    for number in numbers if shelf != "1" else ():
        assert shelved(room, number, "M1", shelf).kind == "done"
    return numbers


def lost(room: Room, number: str) -> None:
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts=HOLD, reason="not on its shelf")


def test_a_small_check_from_the_card_to_the_closing(room: Room) -> None:
    here, gone = lying(room, 3), lying(room, 1)[0]
    began = begins(room, "M1")
    assert began.word == "Check begun." and began.lines[0] == "M1: 4 sheets are there by the log."
    assert "no sheet is moved" in began.lines[1]
    before = {number: room.row(number) for number in [*here, gone]}
    for nth, number in enumerate(here, 1):
        room.wait(seconds=30)
        answer = room.scans(number, "filing")
        assert (answer.kind, answer.word, answer.lines) == ("done", "Found.", (f"{nth} of 4 seen.",))
    asked = card(room, "done", "filing")
    assert asked.kind == "which-one" and asked.lines == ("1 sheet of 4 is not seen yet.",)
    ended = card(room, "check", "filing", facts={"check": "all"})
    assert ended.word == "Check done." and "3 of 4 seen." in ended.lines[0]
    assert {number: room.row(number) for number in [*here, gone]} == before, (
        "a check moves nothing and touches no stage"
    )
    assert closes(room).lines == ("1 sheet not found, and held so until somebody scans it.",)
    assert fates(room) == {**dict.fromkeys(here, Fate.FOUND), gone: Fate.MISSING}
    assert room.row(gone)["holds"] == "not-found" and room.row(here[0])["holds"] == ""
    reason = room.log(gone)[-1]["reason"]
    assert "check of M1" in reason and "Last place M1, shelf 1" in reason and "Hedda" not in reason
    assert cabinet_steps(room) == ["begin-check", "end-check", "close-check"]
    clean(room)


def test_a_sheet_that_belongs_elsewhere_is_named_with_its_place(room: Room) -> None:
    lying(room, 1)
    stray = room.sheet_ready()
    assert shelved(room, stray, "A1", "2").kind == "stop", "A1 is for intake"
    on_table = room.sheet_ready()
    room.scans(on_table, "table-2", step=Step.TAKE_UP)
    begins(room, "M1")
    answer = room.scans(on_table, "filing")
    assert (answer.kind, answer.word) == ("stop", "Not its place.")
    assert answer.lines[0] == "By the log it is at Mounting table 2." and "trolley" in answer.next
    assert answer.status == 200 and answer.entry is None and room.steps(on_table)[-1] == "take-up"


def test_the_right_cabinet_and_the_wrong_shelf(room: Room) -> None:
    first, second = lying(room, 1)[0], lying(room, 1, "2")[0]
    begins(room, "M1")
    told_where = room.scans(room.code("shelf", "M1/2"), "filing")
    assert told_where.word == "M1, shelf 2." and "0 of 2 seen" in told_where.lines[0]
    wrong = room.scans(first, "filing")
    assert (wrong.kind, wrong.word, wrong.lines[0]) == ("stop", "Wrong shelf.", "It belongs in M1, shelf 1.")
    assert wrong.next == "Put it there."
    assert room.scans(second, "filing").word == "Found."
    assert fates(room) == {first: Fate.WRONG_SHELF, second: Fate.FOUND}
    room.wait(minutes=1)
    room.scans(room.code("shelf", "M1/1"), "filing")
    again = room.scans(first, "filing")
    assert again.word == "Already counted." and again.kind == "done" and fates(room)[first] is Fate.FOUND


def test_a_second_scan_counts_nothing_and_says_so(room: Room) -> None:
    number, _ = lying(room, 2)
    begins(room, "M1")
    room.scans(number, "filing")
    again = room.scans(number, "filing")
    assert again.word == "Already counted." and "1 of 2 seen." in again.lines
    stray = room.sheet_mounted("table-2")
    assert room.scans(stray, "filing").word == "Not its place."
    twice = room.scans(stray, "filing")
    assert twice.kind == "stop" and twice.lines[0] == "Not its place." and "Mounting table 2" in twice.lines[1]


def test_what_has_no_row_or_cannot_be_read_is_kept_apart(room: Room) -> None:
    lying(room, 1)
    unknown = room.new_number()
    begins(room, "M1")
    answer = room.scans(unknown, "filing")
    assert (answer.kind, answer.word) == ("stop", "Unknown.") and "slip" in answer.next and answer.status == 200
    assert room.scans(unknown, "filing").word == "Already counted."
    assert card(room, "cannot-be-read", "filing").word == "Not readable."
    room.wait(seconds=1)
    card(room, "cannot-be-read", "filing")
    assert kinds_seen(room) == ["unknown", "unreadable"], "within three seconds it is the scanner's double read"
    room.wait(seconds=8)
    assert "2 sheets in this check could not be read." in card(room, "no-number", "filing").lines
    garbled = room.scans("a smudge", "filing")
    assert garbled.status == 422 and kinds_seen(room) == ["unknown", "unreadable", "unreadable"]


def test_a_misread_number_is_asked_about_and_counted_once_it_is_chosen(room: Room) -> None:
    number = lying(room, 1)[0]
    begins(room, "M1")
    asked = room.scans(number[3:], "filing")
    assert asked.kind == "which-one" and kinds_seen(room) == []
    assert room.scans(number[3:], "filing", facts={"read_as": number}).word == "Found."
    assert fates(room) == {number: Fate.FOUND}


def test_a_missing_sheet_is_found_again_by_the_check(room: Room) -> None:
    number, _ = lying(room, 2)
    lost(room, number)
    began = begins(room, "M1")
    assert began.lines[0] == "M1: 1 sheet is there by the log.", "what is known to be missing is not expected"
    room.wait(minutes=1)
    answer = room.scans(number, "filing")
    assert answer.kind == "done" and answer.lines[0].startswith("Found. It was missing")
    assert room.row(number)["holds"] == "" and room.row(number)["shelf_id"] is not None
    assert room.steps(number)[-1] == "lift-hold" and fates(room)[number] is Fate.FOUND
    clean(room)


def test_a_withdrawn_sheet_that_lies_there_is_named(room: Room) -> None:
    number = lying(room, 1)[0]
    room.scans(number, who="hedda", step=Step.WITHDRAW, reason="sent in exchange", manages=True)
    begins(room, "M1")
    answer = room.scans(number, "filing")
    assert (answer.kind, answer.word) == ("stop", "Withdrawn.") and "sent in exchange" in answer.lines[0]
    assert fates(room) == {number: Fate.CLOSED}


def test_sheets_that_move_meanwhile_are_neither_missing_nor_elsewhere(room: Room) -> None:
    left, back, moved, stays = lying(room, 4)
    room.scans(back, "table-1", step=Step.TAKE_UP)
    came = room.sheet_ready()
    room.scans(came, "table-2", step=Step.TAKE_UP)
    begins(room, "M1")
    room.wait(minutes=10)
    room.scans(left, "table-2", step=Step.TAKE_UP)
    room.scans(back, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1")
    shelved(room, moved, "M1", "3")
    room.wait(minutes=1)
    # Laid down, and scanned by the checker a minute before whoever brought it scans it.
    assert room.scans(came, "filing").word == "Not its place."
    room.wait(minutes=1)
    room.scans(came, "table-2", step=Step.PUT_BACK, cabinet="M1", shelf="1")
    found = told(room)
    assert {number: each.fate for number, each in found.items()} == {
        left: Fate.LEFT, back: Fate.CAME, moved: Fate.CAME, came: Fate.CAME, stays: Fate.MISSING,
    }  # fmt: skip
    turn = found[left].turn
    assert turn is not None and turn.lies.where == "Mounting table 2"


def test_a_move_that_was_taken_back_explains_nothing(room: Room) -> None:
    number = lying(room, 1)[0]
    begins(room, "M1")
    room.wait(minutes=5)
    entry = room.scans(number, "table-2", step=Step.TAKE_UP).entry
    assert entry is not None and fates(room) == {number: Fate.LEFT}
    assert room.undoes(entry, "table-2").word == "Undone."
    assert fates(room) == {number: Fate.MISSING}


def test_a_sheet_that_left_and_lies_there_all_the_same_is_elsewhere(room: Room) -> None:
    number = lying(room, 1)[0]
    begins(room, "M1")
    room.wait(minutes=5)
    room.scans(number, "table-2", step=Step.TAKE_UP)
    room.wait(minutes=5)
    answer = room.scans(number, "filing")
    assert answer.lines[0] == "By the log it left at 09:05 for Mounting table 2."
    assert fates(room) == {number: Fate.ELSEWHERE}


def test_a_check_is_left_and_gone_on_with_at_another_station_on_another_day(room: Room) -> None:
    first, second = lying(room, 2)
    begins(room, "M1")
    room.scans(first, "filing")
    assert card(room, "check", "filing", facts={"check": "leave"}).word == "Stopped."
    assert room.station_row("filing")["check_id"] is None
    room.wait(days=1)
    again = begins(room, "M1", "intake")
    assert again.word == "Going on." and "1 of 2 seen." in again.lines[0]
    assert room.scans(second, "intake").word == "Found."
    assert card(room, "done", "intake").word == "Check done.", "all were seen: nothing is asked"
    assert set(fates(room).values()) == {Fate.FOUND}


def test_two_stations_check_one_cabinet_together(room: Room) -> None:
    first, second = lying(room, 2)
    begins(room, "M1")
    assert begins(room, "M1/1", "intake").word == "Going on."
    room.scans(first, "filing")
    room.scans(second, "intake")
    done_here = card(room, "done", "filing")
    assert done_here.word == "Done here." and "At Intake the check goes on" in done_here.lines[0]
    assert newest(room).done_at is None
    assert card(room, "done", "intake").word == "Check done."
    assert newest(room).done_at == room.now


def test_whoever_comes_back_after_hours_is_asked_first(room: Room) -> None:
    number = lying(room, 1)[0]
    begins(room, "M1")
    room.wait(hours=3)
    asked = room.scans(number, "filing")
    assert asked.kind == "which-one" and "Does it go on?" in asked.lines[0] and kinds_seen(room) == []
    assert card(room, "check", "filing", facts={"check": "on"}).word == "Going on."
    assert room.scans(number, "filing").word == "Found."


def test_a_scan_after_the_closing_is_not_counted_and_moves_nothing(room: Room) -> None:
    first, second = lying(room, 2)
    begins(room, "M1")
    room.scans(first, "filing")
    breaks_off(room, "Begun by mistake")
    refused = room.scans(second, "filing")
    assert refused.status == 422 and "closed meanwhile" in refused.lines[0] and "put-hold" not in room.steps(second)
    assert room.station_row("filing")["check_id"] is None
    # The sheet last counted is not taken for one that waits for a shelf.
    room.scans(room.code("shelf", "M1/4"), "filing")
    assert room.steps(first)[-1] == "arrive-dry"
    assert room.row(second)["holds"] == "", "a check that was broken off calls nothing missing"
    clean(room)


@pytest.mark.parametrize("name", ["whole-shelf", "undo", "already-done", "another-sheet", "round"])
def test_cards_that_move_things_wait_until_the_check_is_left(room: Room, name: str) -> None:
    lying(room, 1)
    begins(room, "M1")
    assert card(room, name, "filing").status == 422
    assert room.station_row("filing")["check_id"] is not None and not room.station_row("filing")["in_round"]


def test_another_cabinets_shelf_is_not_scanned_in(room: Room) -> None:
    number = lying(room, 1)[0]
    begins(room, "M1/1")
    refused = room.scans(room.code("shelf", "D1/1"), "filing")
    assert refused.status == 422 and "D1, shelf 1, and M1, shelf 1 is checked" in refused.lines[0]
    assert room.scans(room.code("shelf", "M1/2"), "filing").status == 422
    assert room.scans(number, "filing").word == "Found."


def test_a_cabinet_waits_while_one_of_its_shelves_is_checked(room: Room) -> None:
    lying(room, 1)
    begins(room, "M1/1")
    card(room, "check", "intake")
    refused = room.scans(cabinet_code(room, "M1"), "intake")
    assert refused.status == 422 and "check of M1, shelf 1 is still open" in refused.lines[0]
    assert begins(room, "M1/2", "intake").lines[0].startswith("M1, shelf 2:")


def test_a_sample_asks_only_for_those_drawn(room: Room) -> None:
    numbers = lying(room, 30)
    began = draws(room, "M1", 10, seed=5, at="filing")
    assert began.lines[0] == "M1: 10 sheets drawn by chance are looked for."
    expected = {number for number, each in told(room).items() if each.expected}
    assert len(expected) == 10
    other = next(number for number in numbers if number not in expected)
    assert "not one of those drawn" in room.scans(other, "filing").lines[0]
    assert fates(room)[other] is Fate.NOT_DRAWN
    breaks_off(room, "once more")
    draws(room, "M1", 10, seed=5)
    assert {number for number, each in told(room).items() if each.expected} == expected, (
        "the seed is kept: it draws the same"
    )
    breaks_off(room, "too many asked for")
    refused = draws(room, "M1", 31, seed=5)
    assert refused.kind == "which-one" and "31 cannot be drawn from 30 sheets" in refused.lines[0]


def test_only_the_manager_closes_and_only_what_is_through(room: Room) -> None:
    lying(room, 1)
    begins(room, "M1")
    assert closes(room, who="rosamund").refusals[0]["code"] == "manager-only"
    assert closes(room).refusals[0]["code"] == "out-of-order"
    assert breaks_off(room, "").refusals[0]["code"] == "reason-needed"
    card(room, "check", "filing", facts={"check": "leave"})
    says_done(room)
    assert closes(room).word == "Closed." and closes(room).refusals[0]["code"] == "out-of-order"


def test_what_was_found_elsewhere_is_written_there_by_the_manager(room: Room) -> None:
    wrong, mounted = lying(room, 1)[0], room.sheet_mounted("table-2")
    begins(room, "M1")
    room.scans(room.code("shelf", "M1/3"), "filing")
    room.scans(wrong, "filing")
    room.scans(mounted, "filing")
    room.wait(minutes=1)
    assert writes_there(room, wrong, who="rosamund").refusals[0]["code"] == "manager-only"
    written = writes_there(room, wrong, mounted)
    assert written.moved == (wrong,) and written.left[0]["number"] == mounted and "mounted" in written.left[0]["why"]
    assert fates(room) == {wrong: Fate.FOUND, mounted: Fate.ELSEWHERE}
    assert room.steps(wrong)[-1] == "shelve" and room.steps(mounted)[-1] == "mount"
    clean(room)


def test_a_closed_check_stays_as_it_was_closed(room: Room) -> None:
    here, gone, stray = lying(room, 1)[0], lying(room, 1)[0], room.sheet_mounted("table-2")
    begins(room, "M1")
    room.scans(here, "filing")
    room.scans(stray, "filing")
    card(room, "check", "filing", facts={"check": "all"})
    room.wait(minutes=5)
    closes(room)
    then = fates(room)
    room.wait(hours=1)
    assert "It was missing" in room.scans(gone, "table-1", step=Step.TAKE_UP).lines[0]
    room.scans(here, "table-1", step=Step.TAKE_UP)
    room.scans(stray, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    assert fates(room) == then == {here: Fate.FOUND, gone: Fate.MISSING, stray: Fate.ELSEWHERE}
    clean(room)


def test_the_closing_is_no_scan_to_be_taken_back_but_its_holds_are(room: Room) -> None:
    gone = lying(room, 1)[0]
    begins(room, "M1")
    card(room, "check", "filing", facts={"check": "all"})
    closes(room)
    held = room.log(gone)[-1]["id"]
    assert room.takes_back(held, "It was on loan").kind == "done" and room.row(gone)["holds"] == ""
    begun = newest(room).begun_entry_id
    assert room.takes_back(begun, "wrong cabinet").refusals[0]["code"] == "not-last"
    clean(room)


def test_undoing_one_hold_of_a_closing_takes_back_neither_the_closing_nor_the_other_holds(room: Room) -> None:
    gone = lying(room, 2)
    begins(room, "M1")
    card(room, "check", "filing", facts={"check": "all"})
    closes(room)
    held = room.log(gone[0])[-1]["id"]
    answer = room.undoes(held, "filing", worker_ids=(room.worker["hedda"],), manages=True)
    assert [each["code"] for each in answer.refusals] == ["not-last"]
    assert [room.row(number)["holds"] for number in gone] == ["not-found", "not-found"]
    assert room.takes_back(held, "It was on loan").kind == "done"
    assert [room.row(number)["holds"] for number in gone] == ["", "not-found"]
    clean(room)


def test_nobody_checks_unless_somebody_is_signed_in(room: Room) -> None:
    lying(room, 1)
    begins(room, "M1")
    refused = room.scans(room.sheet_ready(), "filing", worker_ids=())
    assert refused.refusals[0]["code"] == "not-signed-in" and kinds_seen(room) == []


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE check_expected SET shelf_id = NULL", "DELETE FROM check_expected",
        pytest.param("INSERT OR REPLACE INTO check_expected (check_id, sheet_id) SELECT check_id, sheet_id FROM check_expected",
                     marks=pytest.mark.sqlite_only("REPLACE is a statement of SQLite only")),
        "UPDATE check_seen SET kind = 'unknown'", "DELETE FROM check_seen",
    ],
)  # fmt: skip
def test_nobody_edits_what_was_expected_or_seen(room: Room, statement: str) -> None:
    number = lying(room, 2)[0]
    begins(room, "M1")
    room.scans(number, "filing")
    with pytest.raises(IntegrityError, match="never changed"), transaction(room.database) as session:
        session.execute(text(statement))
    assert len(told(room)) == 2 and kinds_seen(room) == ["sheet"]


def test_who_counted_is_not_kept_with_each_sheet(room: Room) -> None:
    number = lying(room, 1)[0]
    begins(room, "M1")
    room.scans(number, "filing")
    with reading(room.database) as session:
        (row,) = session.execute(select(SEEN)).all()
    assert (row.worker_id, row.station_id, row.scan_id is not None) == (None, room.station["filing"], True)


def test_a_scan_sent_twice_counts_once_and_gets_the_same_answer(room: Room) -> None:
    number = lying(room, 1)[0]
    begins(room, "M1")
    first = room.scans(number, "filing", scan_id="once")
    again = room.scans(number, "filing", scan_id="once")
    assert first == again and first.word == "Found." and kinds_seen(room) == ["sheet"]


def test_cards_that_only_tell_are_not_held_up_after_hours(room: Room) -> None:
    lying(room, 1)
    begins(room, "M1")
    room.wait(hours=4)
    room.signs_in("piet", "filing")
    assert "Does it go on" not in " ".join(card(room, "closing", "filing").lines)
    assert card(room, "check", "filing", facts={"check": "leave"}).word == "Stopped."


def test_a_pest_that_is_seen_in_a_check_is_written_and_the_check_goes_on(room: Room) -> None:
    eaten, beside = lying(room, 2)
    begins(room, "M1")
    room.scans(eaten, "filing")
    room.wait(seconds=5)
    card(room, "pest", "filing")
    assert "quarantine" in room.row(eaten)["holds"] and room.row(eaten)["stage"] == "ready-for-mounting"
    room.wait(seconds=5)
    asked = room.scans(beside, "filing")
    assert asked.kind == "which-one" and kinds_seen(room) == ["sheet"]
    assert room.scans(beside, "filing", facts={"pest_on": "no"}).word == "Found."
    assert kinds_seen(room) == ["sheet", "sheet"] and room.steps(beside)[-1] == "arrive-dry"
