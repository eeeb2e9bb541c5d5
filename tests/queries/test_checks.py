"""Cabinet checks as they are read: lines and pages, last hands with and without names, the table, and what needs a person."""

from __future__ import annotations

from datetime import datetime

from app.db.engine import reading, transaction
from app.domain.checking import Fate
from app.domain.stages import Step
from app.queries.check_page import CheckPage, check_page, check_rows, drawn_ids
from app.queries.checks import CheckLine, check_here, checks, last_check
from app.queries.picks import picks_of
from app.services.room import set_house_rule
from tests.queries.looking import board_of, label
from tests.room import Room
from tests.services.counted import begins, breaks_off, card, closes, draws, newest, says_done

MISSED, TO_CLOSE, LEFT = "check-missed", "check-to-close", "check-left"


def page_of_check(room: Room, *, names: bool = True, now: datetime | None = None) -> CheckPage:
    with reading(room.database) as session:
        found = check_page(session, newest(room).id, now or room.now, room.zone, names=names)
    assert found is not None
    return found


def lines(room: Room, *, names: bool = True, cabinet: str = "") -> tuple[CheckLine, ...]:
    with reading(room.database) as session:
        return checks(session, names=names, cabinet=cabinet)


def needs(room: Room, kind: str) -> list[str]:
    return [f"{need.subject}: {need.what}" for need in board_of(room).needs if need.kind == kind]


def through(room: Room) -> None:
    card(room, "check", "filing", facts={"check": "all"})


def test_a_page_tells_how_far_it_has_come_and_calls_nothing_missing_yet(room: Room) -> None:
    first, _ = room.sheet_ready(), room.sheet_ready()
    begins(room, "M1")
    room.scans(first, "filing")
    found = page_of_check(room)
    assert (found.line.state, found.line.expected, found.line.seen) == ("open", 2, 1)
    assert (found.found, found.to_see, found.missing, found.groups, found.named) == (1, 1, 0, (), 0)
    assert found.stations == ("Filing",) and found.line.begun_by == "Piet Lindqvist"


def test_what_is_missing_is_named_with_its_last_place_and_hands(room: Room) -> None:
    gone = room.sheet_ready()
    label(room, gone, plant="Carex nigra")
    room.scans(gone, "table-1", step=Step.TAKE_UP)
    room.wait(minutes=5)
    room.scans(gone, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="2")
    put_back_at = room.now
    room.wait(minutes=5)
    begins(room, "M1")
    through(room)
    (group,) = page_of_check(room).groups
    (line,) = group.lines
    assert (group.fate, line.number, line.plant, line.belongs) == (Fate.MISSING, gone, "Carex nigra", "M1, shelf 2")
    assert line.last is not None
    assert (line.last.words, line.last.at, line.last.station) == ("put back", put_back_at, "Mounting table 1")
    assert line.last.by == ("Olwen Tarrant",)
    (unnamed,) = page_of_check(room, names=False).groups[0].lines
    assert unnamed.last is not None and unnamed.last.by == () and page_of_check(room, names=False).line.begun_by == ""


def test_what_moved_is_told_as_the_log_has_it(room: Room) -> None:
    left, came = room.sheet_ready(), room.sheet_ready()
    room.scans(came, "table-1", step=Step.TAKE_UP)
    begins(room, "M1")
    room.wait(minutes=100)
    room.scans(left, "table-2", step=Step.TAKE_UP)
    room.wait(minutes=10)
    room.scans(came, "table-1", step=Step.PUT_BACK, cabinet="M1", shelf="1")
    told = {group.fate: (group.lines[0].number, group.lines[0].told) for group in page_of_check(room).groups}
    assert told == {
        Fate.LEFT: (left, "left 10:40 for Mounting table 2"),
        Fate.CAME: (came, "came 10:50, to M1, shelf 1"),
    }


def test_a_sheet_that_turns_up_after_the_closing_is_found_later(room: Room) -> None:
    gone, lost = room.sheet_ready(), room.sheet_ready()
    begins(room, "M1")
    through(room)
    room.wait(minutes=1)
    closes(room)
    assert (lines(room)[0].missing, lines(room)[0].still_missing) == (2, 2)
    assert needs(room, MISSED) == ["Check of M1: 2 sheets not found by it"]
    room.wait(hours=2)
    room.scans(gone, "table-1", step=Step.TAKE_UP)
    found = {line.number: line for line in page_of_check(room).groups[0].lines}
    assert (found[gone].lifted_at, found[gone].lifted_where) == (room.now, "Mounting table 1")
    assert found[lost].lifted_at is None and page_of_check(room).missing == 2, "the result stays as it was closed"
    assert (lines(room)[0].missing, lines(room)[0].still_missing) == (2, 1)
    assert needs(room, MISSED) == ["Check of M1: 1 sheet not found by it"]


def test_a_check_that_is_through_waits_for_the_manager(room: Room) -> None:
    room.scans(room.sheet_ready(), "intake")
    begins(room, "M1")
    assert needs(room, TO_CLOSE) == []
    through(room)
    assert needs(room, TO_CLOSE) == ["Check of M1: is through, and not closed yet"]
    closes(room)
    assert needs(room, TO_CLOSE) == []


def test_a_check_that_nobody_goes_on_with_needs_a_person_after_the_house_days(room: Room) -> None:
    room.sheet_ready()
    begins(room, "M1")
    room.wait(days=2)
    assert needs(room, LEFT) == [], "three open days are given: Wednesday to Friday, and the week-end is none"
    room.wait(days=4)
    assert needs(room, LEFT) == ["Check of M1: is not through for more than 3 open days: 0 of 1 seen"]
    with transaction(room.database) as session:
        set_house_rule(session, "check_open_days", 20, "a large cabinet", room.now, by=room.worker["hedda"])
    assert needs(room, LEFT) == []


def test_a_sample_tells_what_may_be_missing_of_all(room: Room) -> None:
    numbers = [room.sheet_ready() for _ in range(25)]
    draws(room, "M1", 20, seed=8, at="filing")
    assert page_of_check(room).share is None
    with reading(room.database) as session:
        drawn = drawn_ids(session, newest(room).id)
        picks = picks_of(session, drawn, room.now, room.zone)
    for number in numbers:
        if room.row(number)["id"] in drawn:
            room.scans(number, "filing")
    through(room)
    found = page_of_check(room)
    # Newcombe, Statistics in Medicine 17 (1998) 857, Table I, method 3: 0 of 20.
    assert found.share is not None and (found.share.low, round(found.share.high, 4)) == (0, 0.1611)
    assert picks.count == 20 and [group.where for group in picks.groups] == ["Cabinet M1 · shelf 1"]
    picked = [line.number for line in picks.groups[0].lines]
    assert picked == sorted(number for number in numbers if room.row(number)["id"] in drawn)


def test_the_table_has_a_line_for_each_sheet_and_names_only_where_they_may_be_shown(room: Room) -> None:
    here, gone, unknown = room.sheet_ready(), room.sheet_ready(), room.new_number()
    begins(room, "M1/1")
    room.wait(minutes=3)
    for code in (here, unknown):
        room.scans(code, "filing")
    card(room, "cannot-be-read", "filing")
    through(room)
    with reading(room.database) as session:
        rows = list(check_rows(session, newest(room).id, room.now, room.zone, names=True))
        plain = list(check_rows(session, newest(room).id, room.now, room.zone, names=False))
    assert rows[0][-1] == "last hands" and "last hands" not in plain[0] and [row[:-1] for row in rows] == plain
    said = {row[0]: (row[3], row[4], row[7], row[-1]) for row in rows[1:]}
    seen_at = "2026-11-25T09:03:00+00:00"
    assert said[here] == ("yes", "found where it belongs", seen_at, "")
    assert said[gone] == ("yes", "expected, but not found", "", "Rosamund Ashgill")
    assert {row[4] for row in rows if row[3] == "no"} == {"number unknown", "could not be read"}


def test_open_checks_come_first_and_a_cabinet_knows_its_last_one(room: Room) -> None:
    room.sheet_ready()
    begins(room, "M1")
    breaks_off(room, "by mistake")
    begins(room, "D1")
    card(room, "check", "filing", facts={"check": "leave"})
    begins(room, "M1/2", "intake")
    says_done(room)
    closes(room)
    assert [(line.place, line.state_words) for line in lines(room)] == [
        ("D1", "open"), ("M1, shelf 2", "closed"), ("M1", "broken off"),
    ]  # fmt: skip
    with reading(room.database) as session:
        last, never = last_check(session, "M1"), last_check(session, "F1")
        here, nowhere = check_here(session, room.station["filing"]), check_here(session, room.station["intake"])
    assert last is not None and last.place == "M1, shelf 2" and never is None
    assert here is None and nowhere is None
