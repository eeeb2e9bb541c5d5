"""Sheets that somebody wants: asked for once, by whoever it is for, until they are filed, withdrawn or let go."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Change, Wanted, table_of
from app.domain.errors import Refused
from app.domain.stages import Step
from app.queries.wanted import Wish, wishes_of
from app.services.audit import audit
from app.services.deeds import join_number
from app.services.desk import ScanRequest
from app.services.scanning import once
from app.services.wanted import ask_for, give_up
from tests.queries.looking import brought_dry, filed, page_of, passed
from tests.room import Room

WANTED = table_of(Wanted)
TODAY = date(2026, 11, 25)


def asks(room: Room, number: str, why: str = "a visit", who: str = "ines", *, needed_on: date | None = None,
         teaches: bool = False, today: date = TODAY) -> str:  # fmt: skip
    with transaction(room.database) as session:
        return ask_for(
            session,
            room.row(number)["id"],
            why,
            room.now,
            today,
            needed_on=needed_on,
            by=room.worker[who],
            teaches=teaches,
        )


def lets_go(
    room: Room, number: str, how: str = "the visit is off", who: str = "ines", *, teaches: bool = False
) -> bool:
    with transaction(room.database) as session:
        return give_up(session, room.row(number)["id"], how, room.now, by=room.worker[who], teaches=teaches)


def wishes(room: Room, number: str) -> list[Any]:
    with reading(room.database) as session:
        mine = select(WANTED).where(WANTED.c.sheet_id == room.row(number)["id"]).order_by(WANTED.c.id)
        return list(session.execute(mine).mappings())


def wish(room: Room, number: str) -> Wish | None:
    sheet_id = room.row(number)["id"]
    with reading(room.database) as session:
        return wishes_of(session, [sheet_id]).get(sheet_id)


def files(room: Room, number: str) -> int:
    entry = room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="3").entry
    assert entry is not None
    return entry


def test_a_sheet_is_asked_for_with_a_reason_and_a_day(room: Room) -> None:
    number = room.sheet_ready()
    assert asks(room, number, "  the  open day ", needed_on=date(2026, 12, 4)) == ""
    found = wish(room, number)
    assert found == Wish("the open day", date(2026, 12, 4), room.now, "Ines Caldwell", room.worker["ines"])
    assert room.row(number)["wanted_at"] == room.now
    with reading(room.database) as session:
        change = session.execute(select(Change).order_by(Change.id.desc())).scalars().first()
    assert change is not None and (change.what, change.new, change.why) == ("wanted", "2026-12-04", "the open day")


@pytest.mark.parametrize(
    ("needed_on", "fits"), [(date(2026, 11, 24), False), (TODAY, True), (date(2026, 11, 26), True)]
)
def test_nothing_is_needed_by_a_day_that_has_passed(room: Room, needed_on: date, fits: bool) -> None:
    number = room.sheet_ready()
    if fits:
        assert asks(room, number, needed_on=needed_on) == ""
    else:
        with pytest.raises(ValueError, match="That day has passed"):
            asks(room, number, needed_on=needed_on)
    assert (wish(room, number) is not None) is fits


def test_a_filed_sheet_is_answered_with_its_place_and_nothing_is_written(room: Room) -> None:
    number = passed(room)
    files(room, number)
    assert asks(room, number) == "It is filed in F1, shelf 3."
    assert wishes(room, number) == [] and room.row(number)["wanted_at"] is None


def test_a_closed_sheet_is_not_asked_for(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, who="hedda", manages=True, step=Step.WITHDRAW, reason="sent in exchange")
    assert asks(room, number) == "It was closed: sent in exchange." and wishes(room, number) == []


def test_only_whoever_asked_or_a_trainer_asks_for_it_otherwise(room: Room) -> None:
    number = room.sheet_ready()
    asks(room, number, "a visit")
    assert (
        asks(room, number, "a photograph", who="olwen")
        == "It is wanted already: a visit. Ask a trainer if it is needed otherwise."
    )
    assert (
        asks(room, number, "a visit, on Friday") == ""
        and asks(room, number, "the loan", who="rosamund", teaches=True) == ""
    )
    assert [(each["why"], each["how"]) for each in wishes(room, number)] == [
        ("a visit", "asked for anew"), ("a visit, on Friday", "asked for anew"), ("the loan", None),
    ]  # fmt: skip


def test_only_whoever_asked_or_a_trainer_lets_it_go_and_says_what_became_of_it(room: Room) -> None:
    number = room.sheet_ready()
    asks(room, number)
    with pytest.raises(Refused, match="manager-only"):
        lets_go(room, number, who="olwen")
    with pytest.raises(ValueError, match="what became of it"):
        lets_go(room, number, "  ")
    assert wish(room, number) is not None
    assert lets_go(room, number) and not lets_go(room, number)
    assert wish(room, number) is None and room.row(number)["wanted_at"] is None
    asks(room, number)
    assert lets_go(room, number, who="rosamund", teaches=True)
    assert [each["how"] for each in wishes(room, number)] == ["the visit is off"] * 2


def test_a_wanted_sheet_that_is_filed_is_done(room: Room) -> None:
    number = passed(room)
    asks(room, number)
    room.wait(hours=3)
    files(room, number)
    ended = wishes(room, number)[0]
    assert (ended["how"], ended["ended_at"], ended["ended_by"]) == ("filed", room.now, room.worker["piet"])
    assert room.row(number)["wanted_at"] is None and page_of(room, number).wish is None


def test_a_filing_that_is_refused_leaves_it_wanted(room: Room) -> None:
    number = brought_dry(room)
    asks(room, number)
    assert room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="3").refusals
    assert wish(room, number) is not None


@pytest.mark.parametrize("step", [Step.FILE, Step.WITHDRAW])
def test_what_ended_a_wish_is_taken_back_and_it_is_wanted_again(room: Room, step: Step) -> None:
    number, asked_at = passed(room), room.now
    asks(room, number, "a visit", needed_on=date(2026, 12, 4))
    room.wait(hours=3)
    if step is Step.FILE:
        entry = files(room, number)
    else:
        answer = room.scans(number, who="hedda", manages=True, step=step, reason="given away")
        assert answer.entry is not None and wishes(room, number)[0]["how"] == "withdrawn"
        entry = answer.entry
    room.wait(hours=1)
    room.takes_back(entry, "wrong sheet")
    found = wish(room, number)
    assert found is not None and (found.why, found.needed_on, found.asked_at) == (
        "a visit",
        date(2026, 12, 4),
        asked_at,
    )
    assert room.row(number)["wanted_at"] == asked_at
    with reading(room.database) as session:
        assert list(audit(session, room.zone)) == []


def test_a_wish_that_was_let_go_before_is_not_opened_by_taking_a_filing_back(room: Room) -> None:
    number = passed(room)
    asks(room, number)
    lets_go(room, number)
    entry = files(room, number)
    room.takes_back(entry, "wrong shelf")
    assert wish(room, number) is None and room.row(number)["wanted_at"] is None


def test_never_are_two_wishes_open_at_once(room: Room) -> None:
    number = passed(room)
    asks(room, number, "a visit")
    entry = files(room, number)
    room.wait(days=1)
    room.scans(number, "filing", step=Step.BRING_BACK, cabinet="D1", shelf="1", reason="damage seen")
    assert asks(room, number, "the loan", today=TODAY + timedelta(days=1)) == ""
    room.takes_back(entry, "never filed")
    assert [each["why"] for each in wishes(room, number) if each["ended_at"] is None] == ["the loan"]


def test_what_was_asked_for_one_of_two_numbers_is_asked_for_the_sheet(room: Room) -> None:
    kept, other = room.sheet_ready(), room.sheet_ready()
    asks(room, other, "the loan", needed_on=date(2026, 12, 4))
    asked = ScanRequest(room.next_id(), kept, worker_ids=(room.worker["hedda"],), reason="one sheet", manages=True)
    with transaction(room.database) as session:
        answer = once(session, asked, room.occasion, lambda desk: join_number(desk, other), "together")
    assert answer.kind == "done", answer
    found = wish(room, kept)
    assert found is not None and (found.why, found.needed_on, found.by) == (
        "the loan",
        date(2026, 12, 4),
        "Ines Caldwell",
    )


def test_filed_sheets_that_nobody_wants_end_nothing(room: Room) -> None:
    assert wishes(room, filed(room)) == []
