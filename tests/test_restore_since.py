"""What a room that was put back missed: the old right is tried, the old card is scanned, and no code is given out twice."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Bundle, Cabinet, FreezerLoad, Lot, Shelf, SignOff, Stack, Station, Worker, table_of
from app.domain.numbers import COMMANDS
from app.domain.stages import Stage, Step
from app.domain.supplies import ADHESIVE
from app.services.backup_list import FILE_NAME, bring_list_up
from app.services.given_list import FILE_NAME as GIVEN
from app.services.hand_over import call_back_hand_over
from app.services.loads import make_load
from app.services.people import add_worker, log_in, pin_fits, set_password, set_pin
from app.services.room import add_bundle, add_cabinet, add_hazard, add_stack, add_station, set_house_rule
from app.services.sign_offs import end, sign_off
from app.services.suspected import leave_off, name_for
from tests.queries.looking import filed
from tests.room import TQX, Room
from tests.services.days import differences
from tests.services.going_out import hands_over
from tests.services.supplied import PVA, kept, lot
from tests.test_restore import backed_up, restores, room_again

pytestmark = pytest.mark.sqlite_only("a room on a server is put back by the server's own tools")

TABLES = (Bundle, Cabinet, FreezerLoad, Lot, Shelf, Station)


def listed(room: Room, folder: Path) -> None:
    """The served room brought its lists up, and was stopped."""
    with reading(room.database) as session:
        bring_list_up(session, folder / "backups")
    room.database.engine.dispose()


def again(room: Room, folder: Path, backup: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """The room is put back from this backup an hour later; what the command says."""
    room.wait(hours=1)
    status, out, wrong = restores(capsys, folder, backup, "--yes", at=room.now)
    assert status == 0, wrong
    room_again(room, folder)
    room.wait(minutes=5)
    return out


def codes(room: Room) -> set[str]:
    with reading(room.database) as session:
        found = {code for model in TABLES for code in session.execute(select(table_of(model).c.code)).scalars()}
        return found | {code for row in session.execute(select(Stack.code_on, Stack.code_off)) for code in row}


def one_of_each(room: Room, name: str) -> None:
    """One more of everything that has a card."""
    with transaction(room.database) as session:
        add_cabinet(session, f"cabinet {name}", Stage.READY, room.now, shelves=2)
        add_stack(session, f"stack {name}", room.now)
        add_station(session, f"station-{name}", f"station {name}", [Step.TAKE_UP], room.now)
        add_bundle(session, f"tray {name}")
        make_load(session, room.now)
    lot(room, kept(room, ADHESIVE, f"glue {name}", adhesive_id=PVA if name == "one" else PVA + 1), f"L-{name}")


# -- what somebody may no longer do -----------------------------------------------------------------------------
def test_a_sign_off_that_was_ended_since_opens_nothing_again(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheets = [room.sheet_ready() for _ in range(4)]
    hedda = room.worker["hedda"]
    with transaction(room.database) as session:
        set_house_rule(session, "sign_offs", 1, "we teach by steps", room.now)
        for who in ("olwen", "piet"):
            sign_off(session, room.worker[who], Step.TAKE_UP, "ordinary", room.now, hedda)
    room.wait(minutes=1)
    backup = backed_up(room, tmp_path)
    room.wait(days=1)
    with transaction(room.database) as session:
        mine = select(SignOff.id).where(SignOff.worker_id == room.worker["olwen"])
        end(session, session.execute(mine).scalar_one(), "glue on the label", room.now, hedda)
    listed(room, tmp_path)
    out = again(room, tmp_path, backup, capsys)
    assert "Taken away once more: 1 sign-off." in out
    for who, table, may in (("olwen", "table-1", False), ("piet", "table-2", True)):
        room.scans(room.code("badge", who), table)
        answer = room.scans(sheets.pop(), table, step=Step.TAKE_UP)
        assert (answer.kind == "done") == may, answer
        assert may or [each["code"] for each in answer.refusals] == ["not-signed-off"]
    assert differences(room.database) == []
    # Known by the restored room itself from now on: a backup of it, put back, takes nothing away a second time.
    assert "Nothing had been taken away since." in again(room, tmp_path, backed_up(room, tmp_path), capsys)


def test_whoever_was_left_off_the_list_for_suspected_sheets_since_opens_none(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, sheet_id=room.row(number)["id"])
        name_for(session, room.now, None, worker_id=room.worker["olwen"])
        name_for(session, room.now, None, station_id=room.station["table-1"])
    backup = backed_up(room, tmp_path)
    room.wait(days=1)
    with transaction(room.database) as session:
        leave_off(session, room.now, None, worker_id=room.worker["olwen"])
    listed(room, tmp_path)
    assert "1 name for suspected sheets" in again(room, tmp_path, backup, capsys)
    room.scans(room.code("badge", "olwen"), "table-1")
    answer = room.scans(number, "table-1", step=Step.TAKE_UP)
    assert answer.kind != "done" and room.stage(number) == Stage.READY


def test_a_password_and_a_pin_that_were_replaced_since_fit_no_more_than_the_new_ones(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    hedda, olwen = room.worker["hedda"], room.worker["olwen"]
    with transaction(room.database) as session:
        set_password(session, hedda, "the-old-password", room.now)
        set_pin(session, olwen, "4711", room.now, by=hedda)
        assert log_in(session, "Hedda Brackwater", "the-old-password") == hedda
    backup = backed_up(room, tmp_path)
    room.wait(days=1)
    with transaction(room.database) as session:
        set_password(session, hedda, "the-new-password", room.now)
        set_pin(session, olwen, "1174", room.now, by=hedda)
    listed(room, tmp_path)
    assert "1 PIN, 1 password" in again(room, tmp_path, backup, capsys)
    with reading(room.database) as session:
        assert [log_in(session, "Hedda Brackwater", f"the-{each}-password") for each in ("old", "new")] == [None, None]
        assert not pin_fits(session, olwen, "4711") and not pin_fits(session, olwen, "1174")


def test_what_no_list_told_yet_is_told_by_the_room_that_is_there(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], "the-old-password", room.now)
    backup = backed_up(room, tmp_path)
    room.wait(days=1)
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], "the-new-password", room.now)
    room.database.engine.dispose()
    assert "1 password" in again(room, tmp_path, backup, capsys)


# -- cards that were made since ---------------------------------------------------------------------------------
WHERE: dict[str, tuple[str, ...]] = {
    "list and room": (),
    "room alone": (FILE_NAME, GIVEN),
    "list alone": ("blotter.sqlite3",),
}


@pytest.mark.parametrize("left", WHERE, ids=str)
def test_no_code_on_a_card_that_was_made_since_is_given_out_again(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], left: str
) -> None:
    backup = backed_up(room, tmp_path)
    before = codes(room)
    room.wait(days=1)
    one_of_each(room, "one")
    vanished = codes(room) - before
    assert len(vanished) == 10
    listed(room, tmp_path)
    for name in WHERE[left]:
        for path in (tmp_path / name, tmp_path / "backups" / name):
            path.unlink(missing_ok=True)
    assert "cards given out since are passed over" in again(room, tmp_path, backup, capsys)
    assert codes(room) == before
    one_of_each(room, "two")
    made = codes(room) - before
    assert len(made) == 10 and not made & vanished
    # Put back once more, both are known.
    listed(room, tmp_path)
    again(room, tmp_path, backup, capsys)
    one_of_each(room, "three")
    assert not (codes(room) - before) & (made | vanished)


def test_a_card_that_was_made_since_is_told_from_one_that_never_was(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    backup = backed_up(room, tmp_path)
    before = codes(room)
    one_of_each(room, "one")
    vanished = sorted(codes(room) - before)
    listed(room, tmp_path)
    again(room, tmp_path, backup, capsys)
    room.scans(room.code("badge", "olwen"), "press")
    room.scans(room.code("badge", "piet"), "table-2")
    for code in vanished:
        answer = room.scans(code, "table-2" if code.startswith("VG") else "press")
        assert answer.kind != "done" and "was made after the backup" in answer.refusals[0]["words"], (code, answer)
    other = room.scans("KB0099938", "press")
    assert "after the backup" not in str(other)
    assert room.scans(COMMANDS["help"], "press").kind == "done"


# -- numbers that are on slips by now ---------------------------------------------------------------------------
def new_number(room: Room) -> str:
    """A sheet without a number gets the next of the room."""
    facts = {"on_label": "Geum urbanum", "is": "new"}
    answer = room.scans(COMMANDS["no-number"], "intake", facts=facts)
    assert answer.kind == "done", answer
    return answer.slip


@pytest.mark.parametrize("left", WHERE, ids=str)
def test_a_number_on_a_slip_that_was_printed_since_is_nobody_else_s_and_is_taken_in_again(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], left: str
) -> None:
    first = new_number(room)
    room.wait(minutes=1)
    backup = backed_up(room, tmp_path)
    vanished = [new_number(room) for _ in range(3)]
    listed(room, tmp_path)
    for name in WHERE[left]:
        for path in (tmp_path / name, tmp_path / "backups" / name):
            path.unlink(missing_ok=True)
    assert "sheet numbers given out since are passed over" in again(room, tmp_path, backup, capsys)
    room.scans(room.code("badge", "rosamund"), "intake")
    assert new_number(room) not in {first, *vanished}
    room.scans(room.code("badge", "olwen"), "table-1")
    answer = room.scans(vanished[0], "table-1")
    assert answer.refusals[0]["code"] == "unknown-number" and "after the backup" in answer.refusals[0]["words"]
    assert "Take it in again" in answer.next
    for number, was_here in ((vanished[0], True), (_never_given(), False)):
        taken = room.scans(number, "intake", step=Step.TAKE_IN)
        assert taken.kind == "done" and ("before the room was put back" in str(taken.lines)) == was_here
    assert differences(room.database) == []


# -- numbers of workers and of hand-overs -----------------------------------------------------------------------
def comes(room: Room, name: str) -> str:
    """Somebody new comes; the number that they get."""
    with transaction(room.database) as session:
        worker_id = add_worker(session, name, ["volunteer"], room.now)[0]
        return str(session.execute(select(Worker.number).where(Worker.id == worker_id)).scalar_one())


@pytest.mark.parametrize("left", WHERE, ids=str)
def test_no_number_of_a_worker_or_a_hand_over_that_was_given_since_is_given_again(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], left: str
) -> None:
    sheets = [filed(room) for _ in range(3)]
    backup = backed_up(room, tmp_path)
    room.wait(days=1)
    assert (comes(room, "Aldous Penhallow"), comes(room, "Bryony Thackeray")) == ("W06", "W07")
    assert hands_over(room) == 1
    listed(room, tmp_path)
    for name in WHERE[left]:
        for path in (tmp_path / name, tmp_path / "backups" / name):
            path.unlink(missing_ok=True)
    again(room, tmp_path, backup, capsys)
    assert (comes(room, "Cosmo Ravensworth"), comes(room, "Delia Ormerod")) == ("W08", "W09")
    assert hands_over(room) == 2 and room.stage(sheets[0]) == Stage.FILED
    # Put back once more, both are known.
    listed(room, tmp_path)
    again(room, tmp_path, backup, capsys)
    assert comes(room, "Edwin Tolliver") == "W10" and hands_over(room) == 3
    with transaction(room.database) as session:
        call_back_hand_over(session, 3, "the wrong disk", room.now, room.worker["hedda"])
    assert hands_over(room) == 4


def _never_given() -> str:
    return next(TQX.spell(serial) for serial in range(900, 950) if TQX.spell(serial)[-1] not in "*IO")


def test_where_nothing_tells_how_many_were_given_out_that_is_said(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    backup = backed_up(room, tmp_path)
    room.database.engine.dispose()
    carried = tmp_path / "carried"
    carried.mkdir()
    shutil.copy(backup, carried)
    out = restores(capsys, tmp_path / "new", carried / backup.name, "--yes", at=room.now)[1]
    assert "How many numbers and cards were given out since is not known" in out
    shutil.copy(tmp_path / "backups" / GIVEN, carried)
    out = restores(capsys, tmp_path / "newer", carried / backup.name, "--yes", at=room.now)[1]
    assert "is not known" not in out and "passed over" not in out
