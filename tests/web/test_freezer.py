"""The freezer's pages: what is due, one load from begin to opened, what is told late, and clean cabinets."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask.testing import FlaskClient

from app.db.engine import transaction
from app.domain.hazards import DEFERS
from app.domain.stages import Stage, Step
from app.services import room as rooms
from tests.queries.looking import board_of
from tests.room import Room
from tests.services.freezer import Freezers
from tests.web.api_client import Scripts
from tests.web.conftest import ClientAs, send, words


@pytest.fixture
def freezers(room: Room) -> Freezers:
    return Freezers(room)


def test_the_page_says_what_is_due_in_the_order_of_what_is_to_be_done(
    room: Room, freezers: Freezers, client_as: ClientAs
) -> None:
    early = freezers.frozen(room.sheet_ready())
    room.wait(days=2)
    room.scans(early, "freezer", already_done=True)
    waiting = freezers.frozen(room.sheet_ready())
    freezers.begins(room.sheet_ready())
    room.wait(hours=1)
    said = words(client_as("reader").get("/freezer"))
    order = [said.index(each) for each in ("came out too early: put it back", "stays in until", "is being filled")]
    assert order == sorted(order) and DEFERS in said and "Insulated gloves on" in said
    assert words(client_as("reader").get(f"/freezer/{waiting}")).count("put into Freezer by Piet Lindqvist") == 1


def test_a_load_is_begun_put_in_taken_out_and_opened_on_its_page(
    room: Room, freezers: Freezers, client_as: ClientAs
) -> None:
    browser, number = client_as("volunteer"), room.sheet_ready()
    begun = send(browser, "/freezer", **{"name": "Blue bag"})
    code = begun.location.rsplit("/", 1)[1]
    empty = send(browser, f"/freezer/{code}", **{"step": "load-in", "freezer": "Freezer"})
    assert empty.status_code == 422 and "Nothing is in Blue bag" in words(empty)
    room.scans(code, "freezer")
    room.scans(number, "freezer")
    put = send(browser, f"/freezer/{code}", **{"step": "load-in", "freezer": "Freezer"})
    assert put.status_code == 302
    room.wait(days=2)
    early = send(browser, f"/freezer/{code}", **{"step": "load-out"})
    assert early.status_code == 422 and "Leave it in until" in words(early) and "It is already out" in words(early)
    room.wait(days=6)
    assert send(browser, f"/freezer/{code}", **{"step": "load-out"}).status_code == 302
    room.wait(days=1)
    assert send(browser, f"/freezer/{code}", **{"step": "load-opened"}).status_code == 302
    said = words(browser.get(f"/freezer/{code}"))
    assert "counts as treated" in said and "What was in it" in said and number[-3:-1] in said
    assert "treated, holds until" in words(browser.get(f"/sheets/{number}"))


def test_the_manager_writes_up_a_power_cut_and_what_was_typed_is_kept_when_it_makes_no_sense(
    room: Room, freezers: Freezers, client_as: ClientAs
) -> None:
    code = freezers.frozen(room.sheet_ready())
    room.wait(days=3)
    browser = client_as("manager")
    sent = {"freezer": freezers.code(), "step": "power-cut", "happened_at": "2026-11-27T10:00", "hour": "",
            "ends_at": "2026-11-27T09:00", "reason": "a note on the lid"}  # fmt: skip
    wrong = send(browser, "/freezer/event", **sent)
    assert wrong.status_code == 422 and "before it began" in words(wrong) and "a note on the lid" in wrong.text
    assert send(browser, "/freezer/event", **{**sent, "ends_at": "2026-11-27T12:00"}).status_code == 302
    assert freezers.load(code)["cold_at"].isoformat() == "2026-11-28T12:00:00+00:00"
    assert "found without power" in words(browser.get(f"/freezer/{code}"))


def test_what_nobody_scanned_is_written_up_by_the_manager(room: Room, freezers: Freezers, client_as: ClientAs) -> None:
    code = freezers.frozen(room.sheet_ready())
    room.wait(days=9)
    sent = {"step": "load-out", "happened_at": "2026-12-03T10:00", "hour": "", "freezer": "", "reading_c": "",
            "worker": str(room.worker["piet"]), "reason": "the list on the lid"}  # fmt: skip
    browser = client_as("manager")
    assert send(browser, f"/freezer/{code}/late", **sent).status_code == 302
    assert freezers.load(code)["out_at"].isoformat() == "2026-12-03T10:00:00+00:00"
    assert "Late entry." in words(browser.get(f"/freezer/{code}"))
    again = send(browser, f"/freezer/{code}/late", **{**sent, "step": "load-opened", "happened_at": "2026-12-01T10:00"})
    assert again.status_code == 422 and "the list on the lid" in again.text


def test_a_cabinet_in_doubt_is_a_line_on_the_board_until_the_manager_says_how_it_is(
    room: Room, freezers: Freezers, client_as: ClientAs
) -> None:
    with transaction(room.database) as session:
        rooms.set_house_rule(session, "treat_before_filing", 1, "everything", room.now)
        rooms.add_cabinet(session, "Clean", Stage.READY, room.now, shelves=1, is_clean=True)
    room.scans(room.sheet_ready(), "intake", step=Step.SHELVE, cabinet="Clean", shelf="1")
    assert "clean-in-doubt" in {need.kind for need in board_of(room).needs}
    browser = client_as("manager")
    sent = {"clean": "yes", "reason": ""}
    assert send(browser, "/cabinets/Clean/clean", **sent).status_code == 422
    done = send(browser, "/cabinets/Clean/clean", **{**sent, "reason": "looked"})
    assert done.status_code == 302 and "clean-in-doubt" not in {need.kind for need in board_of(room).needs}


def test_the_board_closing_and_morning_name_what_is_due(room: Room, freezers: Freezers, client_as: ClientAs) -> None:
    code = freezers.frozen(room.sheet_ready())
    room.wait(days=8, minutes=-30)
    assert "load-due" in {need.kind for need in board_of(room).needs}
    for path in ("/closing", "/morning"):
        said = words(client_as("manager").get(path))
        assert "Load 1" in said and "due out" in said, path
    room.wait(hours=-12)
    room.scans(code, "freezer", already_done=True)
    assert "load-too-early" in {need.kind for need in board_of(room).needs}
    assert "Out of the freezer too early" in words(client_as("manager").get("/closing"))
    room.scans(freezers.code(), "freezer", step=Step.POWER_CUT)
    assert "freezer-off" in {need.kind for need in board_of(room).needs}


def test_the_card_of_a_load_is_printed(room: Room, freezers: Freezers, client_as: ClientAs) -> None:
    code = freezers.begins(room.sheet_ready())
    said = words(client_as("volunteer").get(f"/print/loads?load={code}"))
    assert "Load 1" in said and "KL 000001" in said


def test_what_waits_for_the_freezer_is_told_by_place(room: Room, freezers: Freezers, client_as: ClientAs) -> None:
    with transaction(room.database) as session:
        rooms.set_house_rule(session, "treat_before_mounting", 1, "incoming", room.now)
    inside = room.sheet_ready()
    room.sheet_ready()
    held = room.sheet_ready()
    room.scans(held, step=Step.PUT_HOLD, who="hedda", reason="frass", facts={"hold": "quarantine"})
    freezers.frozen(inside)
    said = words(client_as("reader").get("/freezer"))
    assert said.count("1 ready for mounting, M1") == 2 and "2 ready for mounting" not in said


def test_the_log_of_a_sheet_tells_of_its_bag_and_its_treatment(
    room: Room, freezers: Freezers, client_as: ClientAs
) -> None:
    number = room.sheet_ready()
    freezers.treated(number)
    said = words(client_as("manager").get(f"/sheets/{number}"))
    assert "put into a load by Piet Lindqvist at Freezer, to Load 1." in said
    assert "taken out of its freezer bag, Load 1 by Piet Lindqvist at Freezer: treated." in said


def test_a_script_cannot_freeze_what_is_damp_either(room: Room, freezers: Freezers, tmp_path: Path) -> None:
    scripts, load = Scripts(room, tmp_path), freezers.begins()
    damp, dry = room.new_number(), room.sheet_ready()
    room.scans(damp, "intake", step=Step.TAKE_IN)
    key = scripts.key(at="freezer")
    sent = {"step": "freeze", "facts": {"load": load}}
    refused = scripts.post("/scans", key, code=damp, **sent)
    assert refused.status_code == 422 and "damp" in refused.text
    assert scripts.post("/scans", key, code=dry, **sent).status_code == 200
    assert room.row(dry)["bundle_id"] == freezers.load(load)["bundle_id"]


def test_no_page_of_the_freezer_falls_over_an_odd_address(client_as: ClientAs) -> None:
    browser: FlaskClient = client_as("manager")
    assert browser.get("/freezer/KL999999").status_code == 404
    assert browser.get("/cabinets/Nowhere/clean").status_code == 404
