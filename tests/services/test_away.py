"""Sheets that are out: sent with a name and a day, back by the next scan, and counted as nobody's work meanwhile."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import select, update

from app.db.engine import reading, transaction
from app.db.models import FreezerLoad, Hold, Sheet, table_of
from app.domain.answer import Answer
from app.domain.stages import Step
from app.services.audit import audit
from app.services.away import send_out
from app.services.deeds import lift_hold
from app.services.desk import ScanRequest
from app.services.room import add_bundle
from app.services.scanning import once
from tests.queries.looking import brought_dry, filed, page_of
from tests.room import Room

SHEET = table_of(Sheet)
HOLD = table_of(Hold)


def sends(room: Room, number: str, whom: str = "N. Varley", due: date | None = date(2026, 12, 4), *, who: str = "rosamund",
          why: str = "to be named") -> Answer:  # fmt: skip
    """Somebody sends a sheet out from its page."""
    asked = ScanRequest(room.next_id(), number, worker_ids=(room.worker[who],), reason=why, manages=who == "hedda")
    with transaction(room.database) as session:
        return once(session, asked, room.occasion, lambda desk: send_out(desk, whom, due), f"out {whom}")


def lifts(room: Room, number: str, kind: str) -> Answer:
    """The trainer lifts a hold on the sheet's page."""
    asked = ScanRequest(room.next_id(), number, worker_ids=(room.worker["rosamund"],))
    with transaction(room.database) as session:
        return once(session, asked, room.occasion, lambda desk: lift_hold(desk, kind), f"lift {kind}")


def holds_of(room: Room, number: str) -> list[Any]:
    with reading(room.database) as session:
        mine = select(HOLD).where(HOLD.c.sheet_id == room.row(number)["id"]).order_by(HOLD.c.id)
        return list(session.execute(mine).mappings())


def codes(answer: Answer) -> list[str]:
    return [refusal["code"] for refusal in answer.refusals]


def agrees(room: Room) -> bool:
    with reading(room.database) as session:
        return list(audit(session, room.zone)) == []


def test_a_sheet_goes_out_with_a_name_and_a_day_and_its_page_says_so(room: Room) -> None:
    number = room.sheet_ready()
    answer = sends(room, number)
    assert (answer.kind, answer.word, answer.lines) == ("done", "Sent out.", ("It is out with N. Varley.",))
    hold = holds_of(room, number)[0]
    assert (hold["kind"], hold["with_whom"], hold["due_on"], hold["why"]) == (
        "out",
        "N. Varley",
        date(2026, 12, 4),
        "to be named",
    )
    page = page_of(room, number)
    assert page.out is not None and (page.out.with_whom, page.out.due_on, page.out.since) == (
        "N. Varley",
        date(2026, 12, 4),
        room.now,
    )
    assert "sent out to N. Varley" in page.log[-1].sentence and page.log[-1].sentence.endswith(": to be named.")
    assert (page.place, agrees(room)) == ("M1, shelf 1", True)


def test_a_day_need_not_be_named(room: Room) -> None:
    number = room.sheet_ready()
    assert sends(room, number, due=None).kind == "done"
    assert holds_of(room, number)[0]["due_on"] is None and agrees(room)


def test_the_next_scan_here_says_with_whom_it_was_and_since_when(room: Room) -> None:
    number = room.sheet_ready()
    sends(room, number)
    room.wait(days=8)
    answer = room.scans(number, "table-1", step=Step.TAKE_UP)
    assert answer.kind == "done" and answer.lines[0] == "Back. It was out with N. Varley since 25 Nov 09:00."
    assert room.row(number)["holds"] == "" and page_of(room, number).out is None
    hold = holds_of(room, number)[0]
    assert hold["lifted_at"] == room.now and agrees(room)


def test_a_sheet_that_is_not_found_is_found_by_the_next_scan_as_before(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "not-found"}, reason="cabinet check")
    room.wait(days=1)
    answer = room.scans(number, "table-1", step=Step.TAKE_UP)
    assert answer.lines[0].startswith("Found. It was missing") and room.row(number)["holds"] == ""


def test_it_is_said_to_be_back_on_its_page(room: Room) -> None:
    number = room.sheet_ready()
    sends(room, number)
    room.wait(days=1)
    answer = lifts(room, number, "out")
    assert answer.lines == ("Back. It was out with N. Varley since Wednesday 09:00.",)
    assert room.row(number)["holds"] == "" and agrees(room)


def test_another_hold_on_its_page_shows_nobody_the_sheet(room: Room) -> None:
    number = room.sheet_ready()
    sends(room, number)
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "name-query"}, reason="two names")
    assert room.row(number)["holds"] == "name-query out"
    lifts(room, number, "name-query")
    assert room.row(number)["holds"] == "out" and agrees(room)


def test_a_hold_put_at_a_station_is_put_on_the_sheet_in_the_hand(room: Room) -> None:
    number = room.sheet_ready()
    sends(room, number)
    answer = room.scans(number, "table-1", step=Step.PUT_HOLD, facts={"hold": "name-query"}, reason="two names")
    assert answer.lines[0].startswith("Back.") and room.row(number)["holds"] == "name-query"


def test_its_bundles_card_does_not_bring_it_back(room: Room) -> None:
    here, away = room.new_number(), room.new_number()
    with transaction(room.database) as session:
        tray = add_bundle(session, "Tray 1")
    for number in (here, away):
        room.scans(room.code("bundle", "Tray 1"), "intake")
        room.scans(number, "intake", step=Step.TAKE_IN)
    assert room.row(away)["bundle_id"] == tray
    sends(room, away)
    answer = room.scans(room.code("bundle", "Tray 1"), "intake", step=Step.LAY_TO_DRY, facts={"all": True})
    assert answer.moved == (here,) and [each["number"] for each in answer.left] == [away]
    assert "by the log it is out" in answer.left[0]["why"] and room.row(away)["holds"] == "out"


def test_taken_back_it_was_never_out_and_a_scan_taken_back_leaves_it_out(room: Room) -> None:
    number = room.sheet_ready()
    sends(room, number)
    entry = room.scans(number, "table-1", step=Step.TAKE_UP).entry
    assert entry is not None
    room.undoes(entry, at="table-1")
    assert room.row(number)["holds"] == "out" and holds_of(room, number)[0]["lifted_at"] is None and agrees(room)
    put = next(line["id"] for line in room.log(number) if line["step"] == "put-hold")
    room.takes_back(put, "it never left")
    assert room.row(number)["holds"] == "" and holds_of(room, number) == [] and agrees(room)


def test_the_audit_sees_another_name_beside_the_log(room: Room) -> None:
    number = room.sheet_ready()
    sends(room, number)
    with transaction(room.database) as session:
        session.execute(update(HOLD).values(with_whom="somebody else"))
    assert not agrees(room)


def test_what_is_out_already_is_said_to_be_with_whom(room: Room) -> None:
    number = room.sheet_ready()
    sends(room, number)
    room.wait(hours=1)
    answer = sends(room, number, "L. Ormside")
    assert codes(answer) == ["on-hold"] and answer.lines == ("It is out already, with N. Varley, since 09:00.",)
    assert holds_of(room, number)[0]["with_whom"] == "N. Varley"


def _mounted(room: Room) -> str:
    return room.sheet_mounted()


def _pressed(room: Room) -> str:
    return room.sheet_in("P1")


def _taken_up(room: Room) -> str:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    return number


def _in_quarantine(room: Room) -> str:
    number = room.sheet_ready()
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "quarantine"}, reason="beetle")
    return number


def _frozen(room: Room) -> str:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        bundle = add_bundle(session, "Bag 1")
        session.add(FreezerLoad(code="L1", name="Load 1", bundle_id=bundle, put_in_at=room.now))
        session.execute(update(SHEET).where(SHEET.c.number == number).values(bundle_id=bundle))
    return number


@pytest.mark.parametrize(
    ("made", "code", "words"),
    [
        (_mounted, "wrong-stage", "Lay it under weight now."),
        (_pressed, "wrong-stage", "Take it out when its time has come, then send it out."),
        (_taken_up, "on-another-table", "Put it back on its shelf first."),
        (_in_quarantine, "on-hold", "Keep it closed in its bag. The manager decides."),
        (_frozen, "wrong-stage", "Send it out when the load is opened."),
        (filed, "wrong-stage", "bring it back with a reason."),
    ],
    ids=["mounted", "under press", "taken up", "quarantine", "freezer", "filed"],
)
def test_what_cannot_be_away_stays_and_it_is_said_what_to_do(room: Room, made: Any, code: str, words: str) -> None:
    number = made(room)
    before = room.steps(number)
    answer = sends(room, number)
    assert codes(answer) == [code] and words in answer.next
    assert room.steps(number) == before and "out" not in room.row(number)["holds"].split()


@pytest.mark.parametrize("made", [Room.sheet_ready, brought_dry], ids=["ready", "dry"])
def test_what_waits_on_a_shelf_may_go(room: Room, made: Any) -> None:
    assert sends(room, made(room)).kind == "done"


def test_only_trainer_and_manager_send_a_sheet_out_with_a_name_a_reason_and_a_day_to_come(room: Room) -> None:
    number = room.sheet_ready()
    assert codes(sends(room, number, who="olwen")) == ["manager-only"]
    assert codes(sends(room, number, whom="  ")) == ["reason-needed"]
    assert codes(sends(room, number, why="")) == ["reason-needed"]
    assert codes(sends(room, number, due=date(2026, 11, 24))) == ["out-of-order"]
    assert room.row(number)["holds"] == ""
    assert sends(room, number, due=date(2026, 11, 25), who="hedda").kind == "done"


def test_the_day_is_the_rooms_own_and_not_that_of_greenwich(room: Room) -> None:
    # 23:30 UTC on 30 June is half past midnight on 1 July in London, in summer time.
    number = room.sheet_ready()
    room.now = room.now.replace(year=2027, month=6, day=30, hour=23, minute=30)
    assert codes(sends(room, number, due=date(2027, 6, 30))) == ["out-of-order"]
    assert sends(room, number, due=date(2027, 7, 1)).kind == "done"


def test_a_sheet_made_of_one_that_was_missing_is_here(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    room.scans(number, who="hedda", step=Step.PUT_HOLD, facts={"hold": "not-found"}, reason="not on the table")
    room.wait(minutes=5)
    room.scans(number, "table-1", step=Step.ANOTHER_SHEET)
    other = room.log(number)[-1]["facts"]["new_number"]
    assert (room.row(number)["holds"], room.row(other)["holds"]) == ("", "") and agrees(room)


def test_a_withdrawn_sheet_is_not_said_to_be_back(room: Room) -> None:
    number = room.sheet_ready()
    sends(room, number)
    room.wait(days=1)
    answer = room.scans(number, who="hedda", manages=True, step=Step.WITHDRAW, reason="given to them")
    assert answer.kind == "done" and not any("Back" in line for line in answer.lines)
    assert agrees(room) and room.now - timedelta(days=1) == holds_of(room, number)[0]["put_at"]


def test_a_script_sends_a_sheet_out_by_the_same_rules(room: Room) -> None:
    number, facts = room.sheet_ready(), {"hold": "out", "with_whom": "N. Varley", "due_on": "2026-12-04"}
    assert codes(room.scans(number, who="rosamund", step=Step.PUT_HOLD, reason="named", facts={"hold": "out"})) == [
        "reason-needed"
    ]
    assert room.scans(number, who="rosamund", step=Step.PUT_HOLD, reason="named", facts=facts).kind == "done"
    assert holds_of(room, number)[0]["due_on"] == date(2026, 12, 4)
