"""Numbers that are given, given up and put together: the old one always finds the sheet."""

from __future__ import annotations

from app.db.engine import reading, transaction
from app.domain.stages import Step
from app.services.audit import audit
from app.services.desk import ScanRequest
from app.services.facts import sheet_by_number
from app.services.joining import put_together
from app.services.registering import mint_number, renumber
from app.services.scanning import once
from tests.room import Room


def as_trainer(room: Room, act, what: str, who: str = "rosamund"):  # type: ignore[no-untyped-def]
    request = ScanRequest(room.next_id(), "", worker_ids=(room.worker[who],), reason="seen on the sheet")
    with transaction(room.database) as session:
        return once(session, request, room.occasion, act, what)


def joins(room: Room, kept: str, other: str, who: str = "rosamund"):  # type: ignore[no-untyped-def]
    return as_trainer(
        room, lambda desk: put_together(desk, sheet_by_number(desk.session, kept), other), f"{kept}+{other}", who
    )


def test_two_numbers_that_are_one_sheet_are_put_together(room: Room) -> None:
    kept, other = room.sheet_ready(), room.sheet_ready()
    answer = joins(room, kept, other)
    assert answer.kind == "done" and "from now on" in answer.lines[-1]
    assert room.row(other)["closed_as"].startswith("put together with") and not room.row(other)["in_queue"]
    taken = room.scans(other, "table-1")
    assert taken.word == "Taken up." and taken.sheet is not None and taken.sheet.number == kept
    with reading(room.database) as session:
        assert list(audit(session, room.zone)) == []


def test_putting_together_is_the_trainers_and_undone_like_any_entry(room: Room) -> None:
    kept, other = room.sheet_ready(), room.sheet_ready()
    assert joins(room, kept, other, who="olwen").refusals[0]["code"] == "manager-only"
    joins(room, kept, other)
    room.takes_back(room.log(other)[-1]["id"], "they are two after all")
    assert room.row(other)["closed_as"] is None
    taken = room.scans(other, "table-1")
    assert taken.sheet is not None and taken.sheet.number == other


def test_a_sheet_is_not_put_together_with_itself_or_with_nothing(room: Room) -> None:
    kept = room.sheet_ready()
    assert joins(room, kept, kept).refusals[0]["code"] == "number-taken"
    assert joins(room, kept, room.new_number()).refusals[0]["code"] == "unknown-number"


def test_the_old_number_finds_the_sheet_and_can_be_given_back(room: Room) -> None:
    old, new = room.sheet_ready(), room.new_number()
    as_trainer(room, lambda desk: _renumbered(desk, old, new), "new")
    with reading(room.database) as session:
        found = sheet_by_number(session, old)
        assert found is not None and found["number"] == new
    as_trainer(room, lambda desk: _renumbered(desk, new, old), "old")
    assert room.row(old)["stage"] == "ready-for-mounting"
    assert room.steps(old).count(Step.RENUMBER) == 2


def test_minting_passes_over_what_was_imported_and_what_was_given_up(room: Room) -> None:
    taken = [room.sheet_ready() for _ in range(150)]
    with transaction(room.database) as session:
        from app.services.opening import open_desk

        desk, _ = open_desk(session, ScanRequest("mint", "", worker_ids=(room.worker["hedda"],)), room.occasion)
        first, second = mint_number(desk), mint_number(desk)
    assert first not in taken and second not in taken and first != second
    assert first == room.new_number()


def _renumbered(desk, old: str, new: str):  # type: ignore[no-untyped-def]
    from app.domain.answer import Answer

    return Answer("done", "Done.", entry=renumber(desk, sheet_by_number(desk.session, old), new))
