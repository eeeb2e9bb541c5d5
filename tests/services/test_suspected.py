"""Suspected sheets: who opens them, at every door; and that they start as such by every way in."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Change, Hazard, NamedFor
from app.domain.answer import Answer
from app.domain.house import House
from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from app.queries.fetching import fetch_next
from app.services.deeds import join_number
from app.services.desk import ScanRequest
from app.services.hazards import clear_hazard, put_hazard
from app.services.intake import run_import
from app.services.opening import open_desk
from app.services.registering import register
from app.services.room import add_consignment, add_hazard, set_at_station
from app.services.scanning import once
from app.services.suspected import leave_off, name_for
from tests.queries.looking import brought_dry, filed
from tests.room import Room
from tests.services.days import differences

FOLDER = "Keep the folder closed. Put it back {where}, and tell the manager."


def suspect(room: Room, number: str) -> None:
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, sheet_id=room.row(number)["id"])


def named(room: Room, *who: str) -> None:
    """These workers and stations are named."""
    with transaction(room.database) as session:
        for each in who:
            of = {"worker_id": room.worker[each]} if each in room.worker else {"station_id": room.station[each]}
            name_for(session, room.now, room.worker["hedda"], **of)


def suspicions(room: Room, number: str) -> list[str]:
    with reading(room.database) as session:
        mine = (Hazard.sheet_id == room.row(number)["id"], Hazard.kind == "historic", Hazard.cleared_at.is_(None))
        return list(session.execute(select(Hazard.why).where(*mine)).scalars())


def codes(answer: Answer) -> list[str]:
    return [each["code"] for each in answer.refusals]


Deed = Callable[[Room, str], Answer]
TAKES_UP: Deed = lambda room, number: room.scans(number, "table-1", step=Step.TAKE_UP)  # noqa: E731
INSPECTS: Deed = lambda room, number: room.scans(number, "inspection", step=Step.INSPECT, facts={"outcome": "passed"})  # noqa: E731
BRINGS_BACK: Deed = lambda room, number: room.scans(number, "filing", step=Step.BRING_BACK, reason="to be re-mounted")  # noqa: E731
DEEDS: list[tuple[Callable[[Room], str], Deed, str, str, str]] = [
    (lambda room: room.sheet_ready(), TAKES_UP, "olwen", "table-1", "in M1, shelf 1"),
    (brought_dry, INSPECTS, "rosamund", "inspection", "on its shelf"),
    (filed, BRINGS_BACK, "piet", "filing", "in F1, shelf 1"),
]


@pytest.mark.parametrize(("make", "does", "who", "station", "where"), DEEDS)
def test_both_worker_and_station_must_be_named(
    room: Room, make: Callable[[Room], str], does: Deed, who: str, station: str, where: str
) -> None:
    number = make(room)
    suspect(room, number)
    before = room.steps(number)
    answer = does(room, number)
    assert codes(answer) == ["not-named", "not-named"] and answer.next == FOLDER.format(where=where)
    named(room, who)
    answer = does(room, number)
    assert codes(answer) == ["not-named"] and "is not named" in answer.lines[0]
    assert answer.next == FOLDER.format(where=where)
    with transaction(room.database) as session:
        assert leave_off(session, room.now, None, worker_id=room.worker[who])
    named(room, station)
    room.wait(seconds=1)
    assert codes(does(room, number)) == ["not-named"]
    assert room.steps(number) == before
    named(room, who)
    assert does(room, number).kind == "done"
    assert differences(room.database) == []


def test_whoever_stands_beside_must_be_named_too(room: Room) -> None:
    number = room.sheet_ready()
    suspect(room, number)
    named(room, "piet", "table-1")
    room.signs_in("piet", "table-1", with_others="learning")
    answer = room.scans(number, "table-1", step=Step.TAKE_UP)
    assert codes(answer) == ["not-named"] and "Olwen Tarrant" in answer.lines[0]


def test_a_script_and_a_late_entry_are_asked_the_same(room: Room) -> None:
    number = filed(room)
    suspect(room, number)
    named(room, "hedda")
    room.wait(hours=1)
    answer = room.scans(number, who="hedda", step=Step.BRING_BACK, reason="damage")
    assert codes(answer) == ["not-named"] and "no station is named" in answer.lines[0]
    # Named since an hour ago: what is told of before that was not allowed then.
    ready = room.sheet_ready()
    suspect(room, ready)
    named(room, "table-1")
    room.wait(hours=1)
    late = room.scans(ready, "table-1", who="hedda", manages=True, step=Step.TAKE_UP, happened_at=room.now)
    assert late.kind == "done"


def test_what_this_very_scan_says_counts(room: Room) -> None:
    number = room.sheet_ready()
    answer = room.scans(number, "table-1", step=Step.TAKE_UP, facts={"hazards": ["historic"]})
    assert "not-named" in codes(answer)


def test_glue_that_is_on_is_written_and_held(room: Room) -> None:
    number = room.sheet_ready()
    suspect(room, number)
    refused = TAKES_UP(room, number)
    assert refused.already_done
    answer = room.scans(number, "table-1", step=Step.MOUNT, already_done=True)
    assert answer.kind == "done" and room.row(number)["holds"] == "against-a-rule" and room.stage(number) == "mounted"
    assert "not-named" in room.log(number)[-1]["facts"]["broke"]


def test_one_that_became_suspected_on_the_table_is_held_when_it_is_glued(room: Room) -> None:
    number, other = room.sheet_ready(), room.sheet_ready()
    TAKES_UP(room, number)
    suspect(room, number)
    assert room.scans(number, "table-1", step=Step.MOUNT).kind == "done"
    assert room.row(number)["holds"] == "against-a-rule" and room.log(number)[-1]["facts"]["broke"] == ["not-named"]
    suspect(room, other)
    answer = room.scans(other, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1", already_done=True)
    assert answer.kind == "done" and room.row(other)["holds"] == "against-a-rule"
    assert differences(room.database) == []


def test_it_is_never_in_fetch_next(room: Room) -> None:
    number, free = room.sheet_ready(), room.sheet_ready()
    suspect(room, number)
    named(room, "olwen", "table-1")
    with reading(room.database) as session:
        found = fetch_next(session, room.station["table-1"], room.now, room.zone, House())
        fetched = [line.number for line in found]
    assert fetched == [free]


def test_all_other_sheets_are_opened_by_anybody(room: Room) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        add_hazard(session, "irritant", room.now, sheet_id=room.row(number)["id"])
    assert TAKES_UP(room, number).kind == "done"


# -- how they start -------------------------------------------------------------------------------------------------
def consignment(room: Room, kind: str) -> int:
    with transaction(room.database) as session:
        return add_consignment(session, f"X-{kind}".upper(), f"A {kind}", kind=kind)


@pytest.mark.parametrize(("kind", "why"), [("bequest", ["came with a bequest"]), ("backlog", ["found in the backlog"]),
                                           ("fieldwork", []), ("gift", [])])  # fmt: skip
def test_one_by_one(room: Room, kind: str, why: list[str]) -> None:
    with transaction(room.database) as session:
        set_at_station(session, room.station["intake"], consignment_id=None)
    made = consignment(room, kind)
    with transaction(room.database) as session:
        set_at_station(session, room.station["intake"], consignment_id=made)
    number = room.new_number()
    assert room.scans(number, "intake").kind == "done"
    assert suspicions(room, number) == why


@pytest.mark.parametrize("kind", ["bequest", "fieldwork"])
def test_from_a_list(room: Room, kind: str) -> None:
    consignment(room, kind)
    old, young = room.new_number(), room.new_number()
    data = f"catalogNumber,eventDate\n{old},1932-06-01\n{young},2024-06-01\n".encode()
    with transaction(room.database) as session:
        run_import(session, data, f"X-{kind}".upper(), room.occasion, (room.worker["hedda"],))
    if kind == "bequest":
        assert suspicions(room, old) == suspicions(room, young) == ["came with a bequest"]
    else:
        assert suspicions(room, old) == ["collected 1932, before 1985"] and suspicions(room, young) == []


def test_one_that_was_announced_and_is_taken_in_later(room: Room) -> None:
    number = room.new_number()
    with transaction(room.database) as session:
        desk, _ = open_desk(session, ScanRequest("", "", room.station["intake"]), room.occasion)
        register(desk, number, event_date="1901")
    assert suspicions(room, number) == []
    entry = room.scans(number, "intake", step=Step.TAKE_IN).entry
    assert entry is not None and suspicions(room, number) == ["collected 1901, before 1985"]
    # Taken back and taken in again: it is said once.
    room.undoes(entry, "intake")
    room.scans(number, "intake", step=Step.TAKE_IN)
    assert len(suspicions(room, number)) == 1


def test_one_without_a_number(room: Room) -> None:
    card = COMMANDS["no-number"]
    room.scans(card, "intake")
    answer = room.scans(card, "intake", facts={"on_label": "-", "is": "new"})
    assert answer.kind == "done" and answer.sheet is not None
    assert suspicions(room, answer.sheet.number) == ["found without a number"]


@pytest.mark.parametrize("is_cleared", [False, True])
def test_another_sheet_is_suspected_where_the_first_still_is(room: Room, is_cleared: bool) -> None:
    named(room, "olwen", "table-1")
    number = room.sheet_ready()
    suspect(room, number)
    if is_cleared:
        clears(room, number, "hedda", "tested, none found")
    assert TAKES_UP(room, number).kind == "done"
    assert room.scans(number, "table-1", step=Step.ANOTHER_SHEET).kind == "done"
    further = str(room.log(number)[-1]["facts"]["new_number"])
    assert bool(suspicions(room, further)) is not is_cleared


def test_put_together_the_suspicion_goes_along(room: Room) -> None:
    kept, other = room.sheet_ready(), room.sheet_ready()
    suspect(room, other)
    request = ScanRequest(room.next_id(), kept, worker_ids=(room.worker["hedda"],), reason="one sheet", manages=True)
    with transaction(room.database) as session:
        assert once(session, request, room.occasion, lambda desk: join_number(desk, other), "together").kind == "done"
    assert len(suspicions(room, kept)) == 1


# -- clearing -------------------------------------------------------------------------------------------------------
def clears(room: Room, number: str, who: str, why: str) -> bool:
    with transaction(room.database) as session:
        hazard_id = (
            session.execute(select(Hazard.id).where(Hazard.sheet_id == room.row(number)["id"])).scalars().first()
        )
        assert hazard_id is not None
        return clear_hazard(session, hazard_id, why, room.now, room.worker[who])


def test_it_is_cleared_with_a_reason_and_the_history_tells_both(room: Room) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        put_hazard(session, "historic", "smells of it", room.now, room.worker["olwen"], sheet_id=room.row(number)["id"])
    with pytest.raises(ValueError, match="Say why"):
        clears(room, number, "rosamund", " ")
    assert clears(room, number, "rosamund", "tested, none found")
    assert not clears(room, number, "rosamund", "once more")
    assert TAKES_UP(room, number).kind == "done"
    with reading(room.database) as session:
        told = session.execute(
            select(Change.what, Change.why, Change.changed_by).where(Change.subject == "hazard")
        ).all()
    assert [(row.why, row.changed_by) for row in told] == [
        ("smells of it", room.worker["olwen"]), ("tested, none found", room.worker["rosamund"])
    ]  # fmt: skip


def test_naming_keeps_since_when_and_until_when_and_no_reason(room: Room) -> None:
    named(room, "olwen")
    with transaction(room.database) as session:
        assert not name_for(session, room.now, None, worker_id=room.worker["olwen"])
        with pytest.raises(ValueError, match="no longer here"):
            name_for(session, room.now, None, station_id=999)
    room.wait(days=1)
    with transaction(room.database) as session:
        assert leave_off(session, room.now, room.worker["hedda"], worker_id=room.worker["olwen"])
        assert not leave_off(session, room.now, room.worker["hedda"], worker_id=room.worker["olwen"])
    with reading(room.database) as session:
        row = session.execute(select(NamedFor)).scalars().one()
        assert row.ended_at == room.now and row.named_by == room.worker["hedda"]
        assert set(session.execute(select(Change.why).where(Change.what.contains("suspected"))).scalars()) == {None}
    assert "why" not in NamedFor.__table__.columns and "reason" not in NamedFor.__table__.columns
