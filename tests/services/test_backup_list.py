"""The list beside the backups: every removal and revocation once, without a name or a secret, and whole after a power cut."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select, text, update
from sqlalchemy.orm import Session

from app.db.engine import reading, transaction
from app.db.models import Change, SignOff, Token, Worker, table_of
from app.domain.numbers import CODES, Kind
from app.domain.stages import Step
from app.queries.named_texts import named_texts
from app.services import backup_list
from app.services.backup_list import FILE_NAME, LISTED, Line, bring_list_up, lines_of, read_list, still_to_apply
from app.services.codes_given import given_out, never_make_again, never_mint_again, next_code, was_passed_over
from app.services.forgetting_names import replace_name
from app.services.given_list import FILE_NAME as GIVEN
from app.services.given_list import keep_given, read_given
from app.services.people import (
    enrol_station,
    make_token,
    new_badge,
    retire_worker,
    revoke_token,
    set_password,
    set_pin,
    set_rights,
)
from app.services.restoring import apply_again, end_sessions, tell_restored, texts_again
from app.services.room import add_bundle, close_browser
from app.services.sign_offs import end, sign_off
from app.services.suspected import leave_off, name_for
from app.services.wanted import want
from tests.room import TQX, Room

pytestmark = pytest.mark.sqlite_only("the list belongs to the backups of a room in a file")

WORKER = table_of(Worker)


def everything_taken_away(room: Room) -> None:
    """One thing of each kind."""
    olwen, piet, hedda = (room.worker[who] for who in ("olwen", "piet", "hedda"))
    number = room.sheet_ready()
    with transaction(room.database) as session:
        set_password(session, hedda, "a-long-enough-password", room.now)
        make_token(session, "read", "the wall of Piet Lindqvist", room.now)
        enrol_station(session, room.station["table-1"], hedda, room.now)
        for kind in ("ordinary", "bulky"):
            sign_off(session, olwen, Step.TAKE_UP, kind, room.now, hedda)
        name_for(session, room.now, hedda, worker_id=olwen)
        name_for(session, room.now, hedda, station_id=room.station["table-1"])
        want(session, room.row(number)["id"], "for Piet Lindqvist's talk", room.now, by=hedda)
        want(session, room.row(number)["id"], "for Piet Lindqvist's talk", room.now, by=hedda)
    room.wait(minutes=1)
    with transaction(room.database) as session:
        new_badge(session, olwen, room.now, by=hedda)
        set_pin(session, olwen, "4711", room.now, by=hedda)
        set_rights(session, room.worker["rosamund"], ["volunteer"], room.now, by=hedda)
        revoke_token(session, 1, room.now, by=hedda)
        close_browser(session, room.station["table-1"], room.now, by=hedda)
        end(session, _sign_offs(session)[0], "glue on the label", room.now, hedda)
        leave_off(session, room.now, hedda, worker_id=olwen)
        leave_off(session, room.now, hedda, station_id=room.station["table-1"])
        retire_worker(session, piet, room.now, by=hedda)
        found = named_texts(session, piet)
        left = [each.mark for each in found if each.where == "token.name"]
        replace_name(session, piet, room.now, hedda, [each for each in found if each.mark not in left], left)
        tell_restored(session, room.now, "a backup", 3)


def _sign_offs(session: Session) -> list[int]:
    return list(session.execute(select(SignOff.id).order_by(SignOff.id)).scalars())


def told(room: Room) -> list[Line]:
    with reading(room.database) as session:
        return lines_of(session)


def bring_up(room: Room, folder: Path) -> int:
    with reading(room.database) as session:
        return bring_list_up(session, folder)


def test_each_kind_that_is_listed_is_written_by_the_deed_itself(room: Room) -> None:
    everything_taken_away(room)
    assert {(each.subject, each.what) for each in told(room)} == set(LISTED)


def test_the_list_holds_no_name_and_no_secret_and_is_its_owner_s_alone(room: Room, tmp_path: Path) -> None:
    badge = room.code("badge", "olwen")
    everything_taken_away(room)
    assert bring_up(room, tmp_path / "backups") == len(told(room))
    path = tmp_path / "backups" / FILE_NAME
    written = path.read_text(encoding="utf-8")
    assert path.stat().st_mode & 0o077 == 0
    for secret in (
        "Piet",
        "Lindqvist",
        "Olwen",
        "Hedda",
        "paste",
        "argon2",
        badge,
        room.code("badge", "olwen"),
        "4711",
    ):
        assert secret not in written, secret
    with reading(room.database) as session:
        assert not [each for each in session.execute(select(Token.secret_hash)).scalars() if each in written]
    lines = [json.loads(line) for line in written.splitlines()]
    assert [each["what"] for each in lines if each["subject"] == "token"] == ["revoked"]
    # What was chosen of the texts with the name: the wishes lost it, the key's name stays; nothing of a text that is only a name.
    (gone,) = [each for each in lines if each["what"] == "name replaced by the number"]
    assert len(gone["gone"]) >= 1 and len(gone["left"]) == 1
    assert read_list(path) == told(room)


def test_it_is_only_ever_added_to_and_nothing_twice(room: Room, tmp_path: Path) -> None:
    everything_taken_away(room)
    bring_up(room, tmp_path)
    before = (tmp_path / FILE_NAME).read_bytes()
    assert bring_up(room, tmp_path) == 0 and (tmp_path / FILE_NAME).read_bytes() == before
    room.wait(minutes=1)
    with transaction(room.database) as session:
        new_badge(session, room.worker["ines"], room.now, by=None)
    assert bring_up(room, tmp_path) == 1
    after = (tmp_path / FILE_NAME).read_bytes()
    assert after.startswith(before) and after[len(before) :].count(b"\n") == 1


def test_a_line_that_was_cut_short_is_written_again_and_spoils_none_after_it(room: Room, tmp_path: Path) -> None:
    everything_taken_away(room)
    bring_up(room, tmp_path)
    path = tmp_path / FILE_NAME
    whole = read_list(path)
    for cut in (3, 60):
        path.write_bytes(path.read_bytes()[:-cut])
        assert len(read_list(path)) == len(whole) - 1
        assert bring_up(room, tmp_path) == 1
        assert {each.key for each in read_list(path)} == {each.key for each in whole}
        # The last line again, so that the next cut falls into it.
        path.write_text(path.read_text().rstrip("\n") + "\n")
        whole = read_list(path)
    path.write_bytes(b"\x00\xff nonsense\n[1, 2]\n{}\n" + path.read_bytes())
    assert read_list(path) == whole


def test_it_lies_on_the_disk_before_anything_else_is_done(
    room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    everything_taken_away(room)
    synced: list[int] = []
    really = backup_list.os.fsync
    monkeypatch.setattr(
        backup_list.os, "fsync", lambda number: (synced.append((tmp_path / FILE_NAME).stat().st_size), really(number))
    )
    bring_up(room, tmp_path)
    # The whole of it, and then the name of the new file in its folder; then the same for the list of what was given out.
    assert synced[0] == (tmp_path / FILE_NAME).stat().st_size and len(synced) == 4
    synced.clear()
    bring_up(room, tmp_path)
    assert synced == []


# -- and applied again ------------------------------------------------------------------------------------------
def row(room: Room, who: str) -> Any:
    with reading(room.database) as session:
        return session.execute(select(WORKER).where(WORKER.c.id == room.worker[who])).mappings().one()


def apply(room: Room, lines: list[Line]) -> dict[str, int]:
    with transaction(room.database) as session:
        return dict(apply_again(session, still_to_apply(session, [lines]), room.now))


def forgotten(room: Room, *ids: int) -> None:
    """The changes with these ids were never made in this room: it stands as it did before."""
    with room.database.engine.begin() as connection:
        connection.execute(text(f"DELETE FROM change WHERE id IN ({', '.join(map(str, ids))})"))


def test_a_room_that_knows_of_everything_is_told_nothing_again(room: Room) -> None:
    everything_taken_away(room)
    before = row(room, "olwen")
    assert apply(room, told(room)) == {} and row(room, "olwen") == before


def test_a_badge_that_was_taken_away_after_the_backup_opens_nothing_and_one_before_it_still_does(room: Room) -> None:
    with transaction(room.database) as session:
        new_badge(session, room.worker["ines"], room.now, by=None)
    badges = row(room, "ines")["badge_code"]
    room.wait(minutes=1)
    with transaction(room.database) as session:
        new_badge(session, room.worker["olwen"], room.now, by=None)
    lines = told(room)
    forgotten(room, lines[-1].change)
    assert apply(room, lines) == {"badges": 1}
    assert row(room, "olwen")["badge_code"] is None and row(room, "ines")["badge_code"] == badges


def test_whoever_bears_the_id_of_another_by_now_is_left_alone(room: Room) -> None:
    room.wait(minutes=1)
    with transaction(room.database) as session:
        retire_worker(session, room.worker["ines"], room.now, by=None)
        enrol_station(session, room.station["table-1"], room.worker["hedda"], room.now)
        close_browser(session, room.station["table-1"], room.now, by=None)
    lines = told(room)
    forgotten(room, *(each.change for each in lines))
    with transaction(room.database) as session:
        # Ines was never here; somebody else got her id, and another station the table's.
        session.execute(
            update(WORKER).where(WORKER.c.id == room.worker["ines"]).values(retired_at=None, added_at=room.now)
        )
    with room.database.engine.begin() as connection:
        connection.execute(text("UPDATE station SET slug = 'other', secret_hash = 'x' WHERE slug = 'table-1'"))
    assert apply(room, lines) == {} and row(room, "ines")["retired_at"] is None


def test_rights_become_no_more_than_they_were_meanwhile(room: Room) -> None:
    for rights, after in ((["reader"], "reader"), (["trainer", "manager", "volunteer"], "volunteer trainer")):
        with transaction(room.database) as session:
            set_rights(session, room.worker["rosamund"], rights, room.now, by=None)
        lines = told(room)
        with transaction(room.database) as session:
            session.execute(
                update(WORKER).where(WORKER.c.id == room.worker["rosamund"]).values(rights="volunteer trainer")
            )
        forgotten(room, lines[-1].change)
        apply(room, lines[-1:])
        assert row(room, "rosamund")["rights"] == after
        with room.database.engine.begin() as connection:
            connection.execute(text("DELETE FROM change WHERE what = 'rights'"))


def test_a_password_and_a_pin_of_before_open_nothing_and_the_last_manager_may_lose_theirs(room: Room) -> None:
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], "the-old-password", room.now)
        set_pin(session, room.worker["olwen"], "4711", room.now, by=None)
    first = {each.change for each in told(room)}
    room.wait(days=1)
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], "the-new-password", room.now)
        set_pin(session, room.worker["olwen"], "1174", room.now, by=None)
    lines = told(room)
    forgotten(room, *(each.change for each in lines if each.change not in first))
    assert apply(room, lines) == {"passwords": 1, "PINs": 1}
    assert row(room, "hedda")["password_hash"] is None and row(room, "olwen")["pin_hash"] is None
    with reading(room.database) as session:
        whys = session.execute(select(Change.what, Change.why).where(Change.what.endswith("once more"))).all()
    assert len(whys) == 2 and {each.why for each in whys} == {"since the backup that was put back"}


def test_what_came_before_a_restore_that_the_backup_knows_of_is_settled(room: Room) -> None:
    with transaction(room.database) as session:
        new_badge(session, room.worker["olwen"], room.now, by=None)
        tell_restored(session, room.now, "a backup", 3)
        new_badge(session, room.worker["ines"], room.now, by=None)
    lines = told(room)
    forgotten(room, lines[0].change, lines[2].change)
    # Of the first nothing is left to do, for the restore did it; the last came after the backup.
    assert apply(room, lines) == {"badges": 1}
    assert row(room, "olwen")["badge_code"] is not None and row(room, "ines")["badge_code"] is None


def test_a_text_that_nobody_saw_then_loses_the_whole_name_but_no_part_of_one(room: Room) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        for why in ("for Piet Lindqvist", "ask Piet", "Piet Lindqvist's own words", "Lindqvist said so"):
            want(session, room.row(number)["id"], why, room.now, by=None)
            session.execute(text("UPDATE wanted SET ended_at = '2026-11-25 09:00:00.000000'"))
    with reading(room.database) as session:
        found = [each for each in named_texts(session, room.worker["piet"]) if each.where == "wanted.why"]
    marks = {each.text: each.mark for each in found}
    line = Line(1, "", "worker", 3, "", gone=(marks["ask Piet"],), left=(marks["Piet Lindqvist's own words"],))
    assert sorted(each.text for each in texts_again(found, line)) == ["ask Piet", "for Piet Lindqvist"]


def test_everybody_is_signed_out_and_their_time_ends_with_the_last_scan_there(room: Room) -> None:
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], "a-long-enough-password", room.now)
    room.sheet_ready()
    seen = room.now
    room.wait(days=3)
    with transaction(room.database) as session:
        assert end_sessions(session, room.now) == 7
    with room.database.engine.connect() as connection:
        rows = connection.execute(
            text("SELECT slug, signed_out_at, ended_how FROM attendance JOIN station ON station.id = station_id")
        ).all()
    assert {each.ended_how for each in rows} == {"out"} and f"{seen:%Y-%m-%d %H:%M}" in {
        each.signed_out_at[:16] for each in rows
    }
    assert max(each.signed_out_at for each in rows) < f"{seen:%Y-%m-%d 23:59}"
    assert row(room, "hedda")["password_changed_at"] == room.now and row(room, "olwen")["password_changed_at"] is None


def test_sign_offs_end_when_they_had_ended_each_once_and_what_was_given_before_or_to_others_stays(room: Room) -> None:
    hedda, olwen = room.worker["hedda"], room.worker["olwen"]
    with transaction(room.database) as session:
        for who, step, kind in (("olwen", Step.TAKE_UP, "ordinary"), ("olwen", Step.TAKE_UP, "bulky"),
                                ("olwen", Step.FILE, "ordinary"), ("piet", Step.TAKE_UP, "ordinary")):  # fmt: skip
            sign_off(session, room.worker[who], step, kind, room.now, hedda)
        first, *_ = _sign_offs(session)
    room.wait(days=1)
    ended_at = room.now
    with transaction(room.database) as session:
        end(session, first, "glue on the label", room.now, hedda)
    lines = told(room)
    assert [(each.what, each.new) for each in lines] == [("sign-off ended", "take-up:ordinary take-up:bulky")] * 2
    forgotten(room, *(each.change for each in lines))
    with room.database.engine.begin() as connection:
        connection.execute(text("UPDATE sign_off SET ended_at = NULL, ended_by = NULL"))
    room.wait(days=1)
    assert apply(room, lines) == {"sign-offs": 2}
    with reading(room.database) as session:
        rows = session.execute(select(SignOff.worker_id, SignOff.step, SignOff.ended_at).order_by(SignOff.id)).all()
        why = session.execute(select(Change.old).where(Change.what == "sign-off ended, once more")).scalars().all()
    assert [row.ended_at for row in rows] == [ended_at, ended_at, None, None]
    assert why == ["take up ordinary sheets, take up bulky or spiny sheets"]
    # Given anew afterwards, it stays: the line is about what was given before it.
    with transaction(room.database) as session:
        sign_off(session, olwen, Step.TAKE_UP, "ordinary", room.now, hedda)
    assert apply(room, lines) == {}


def test_whoever_was_named_for_suspected_sheets_and_is_not_any_more_is_not_named_again(room: Room) -> None:
    olwen, table = room.worker["olwen"], room.station["table-1"]
    with transaction(room.database) as session:
        name_for(session, room.now, None, worker_id=olwen)
        name_for(session, room.now, None, worker_id=room.worker["piet"])
        name_for(session, room.now, None, station_id=table)
    room.wait(minutes=1)
    with transaction(room.database) as session:
        leave_off(session, room.now, None, worker_id=olwen)
        leave_off(session, room.now, None, station_id=table)
    lines = told(room)
    forgotten(room, *(each.change for each in lines))
    with room.database.engine.begin() as connection:
        connection.execute(text("UPDATE named_for SET ended_at = NULL"))
    assert apply(room, lines) == {"names for suspected sheets": 2}
    with reading(room.database) as session:
        left = session.execute(text("SELECT worker_id, station_id FROM named_for WHERE ended_at IS NULL")).all()
    assert [tuple(each) for each in left] == [(room.worker["piet"], None)]


def test_numbers_that_were_given_out_since_are_passed_over(room: Room) -> None:
    with transaction(room.database) as session:
        assert never_mint_again(session, {("TQX", 6): 40, ("OLD", 5): 7}, room.now) == 40
        assert never_mint_again(session, {("TQX", 6): 12}, room.now) == 0
    with room.database.engine.connect() as connection:
        assert connection.execute(text("SELECT minted FROM number_pattern WHERE prefix = 'TQX'")).scalar() == 40
    with reading(room.database) as session:
        known = [serial for serial in (0, 1, 40, 41) if was_passed_over(session, TQX.spell(serial), (TQX,))]
    assert known == [1, 40]


def test_codes_of_cards_that_were_made_since_are_passed_over_and_the_next_comes_after_them(room: Room) -> None:
    with transaction(room.database) as session:
        add_bundle(session, "tray 1")
        here = int(room_bundle(session)[2:8])
        assert never_make_again(session, {("KB", 6): here + 7, ("KS", 4): 1, ("XX", 4): 9}, room.now) == 7
        assert never_make_again(session, {("KB", 6): here + 3}, room.now) == 0
        assert given_out(session)["KB", 6] == here + 7
        following = next_code(session, Kind.BUNDLE)
        assert int(following[2:8]) > here + 7 and not was_passed_over(session, following, ())
        assert was_passed_over(session, CODES[Kind.BUNDLE].spell(here + 1), ())
        assert not was_passed_over(session, CODES[Kind.BUNDLE].spell(here), ())
        # Once it is made, the room itself knows how far it has come.
        add_bundle(session, "tray 2")
        assert given_out(session)["KB", 6] == int(following[2:8])


def room_bundle(session: Session) -> str:
    return str(session.execute(text("SELECT max(code) FROM bundle")).scalar())


def test_the_list_of_what_was_given_out_never_goes_back_and_is_nothing_where_it_was_spoilt(tmp_path: Path) -> None:
    assert keep_given(tmp_path, {("KB", 6): 4, ("TQX", 6): 12}) and not keep_given(tmp_path, {("KB", 6): 3})
    path = tmp_path / GIVEN
    assert read_given(path) == {("KB", 6): 4, ("TQX", 6): 12} and path.stat().st_mode & 0o077 == 0
    assert keep_given(tmp_path, {("KB", 6): 5}) and read_given(path)["KB", 6] == 5
    assert [each.name for each in tmp_path.iterdir()] == [GIVEN]
    for spoilt in ("", "[1]", "nonsense", '{"KB": 4}', '{"KB six": 4}', '{"KB 6": null}'):
        path.write_text(spoilt)
        assert read_given(path) == {}
    assert keep_given(tmp_path, {("KB", 6): 5}) and read_given(path) == {("KB", 6): 5}
    assert read_given(tmp_path / "nowhere") == {}
