"""What trainer and manager do with a sheet from its own page: once each, with a reason, and by the rules."""

from __future__ import annotations

import re

import pytest

from app.db.engine import reading
from app.domain.stages import Step
from app.queries.doubted import doubts_of
from tests.room import Room
from tests.web.conftest import ClientAs, send, words


def test_a_hold_is_put_once_however_often_the_button_is_pressed(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("trainer")
    form = {"hold": "name-query", "reason": "two names on the label", "scan_id": "one-press"}
    for _ in range(2):
        answer = send(browser, f"/sheets/{number}/hold", **form)
        assert answer.status_code == 302 and answer.location == f"/sheets/{number}"
    assert room.steps(number).count("put-hold") == 1
    assert "name query" in words(browser.get(f"/sheets/{number}"))


def test_the_button_carries_an_id_of_its_own_each_time_the_page_is_drawn(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("manager")
    ids = [re.findall(r'name="scan_id" value="([^"]+)"', browser.get(f"/sheets/{number}").text) for _ in range(2)]
    assert len(ids[0]) >= 4 and len(set(ids[0] + ids[1])) == len(ids[0]) + len(ids[1])


def test_the_same_id_for_another_deed_is_a_conflict_and_nothing_is_written(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("trainer")
    send(browser, f"/sheets/{number}/hold", hold="name-query", reason="two names", scan_id="used")
    answer = send(browser, f"/sheets/{number}/hold", hold="label-query", reason="two names", scan_id="used")
    assert answer.status_code == 409
    assert room.row(number)["holds"] == "name-query"


def test_a_hold_without_a_reason_is_refused_beside_its_field(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    answer = send(client_as("trainer"), f"/sheets/{number}/hold", hold="name-query", reason="")
    assert answer.status_code == 422 and "Say why; it stays in the log." in words(answer)
    assert 'id="hold-reason-error"' in answer.text and 'aria-describedby="hold-reason-error"' in answer.text
    assert room.row(number)["holds"] == ""


@pytest.mark.parametrize("hold", ["", "made-up", "<b>"])
def test_a_hold_that_the_house_does_not_know_is_refused(room: Room, client_as: ClientAs, hold: str) -> None:
    number = room.sheet_ready()
    assert send(client_as("trainer"), f"/sheets/{number}/hold", hold=hold, reason="why").status_code == 422
    assert "put-hold" not in room.steps(number)


def test_a_hold_is_lifted_once(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready(label=False)
    assert room.row(number)["holds"] == "label-to-come"
    browser = client_as("trainer")
    for _ in range(2):
        assert send(browser, f"/sheets/{number}/lift", hold="label-to-come", scan_id="lift-1").status_code == 302
    assert room.row(number)["holds"] == "" and room.steps(number).count("lift-hold") == 1
    again = send(browser, f"/sheets/{number}/lift", hold="label-to-come", scan_id="lift-2")
    assert again.status_code == 422 and "label to come" in words(again)


def test_what_only_the_manager_settles_is_not_lifted_by_the_trainer(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    room.scans(number, step=Step.PUT_HOLD, who="hedda", reason="frass", facts={"hold": "quarantine"})
    answer = send(client_as("trainer"), f"/sheets/{number}/lift", hold="quarantine")
    assert answer.status_code == 422 and "Only the manager lifts this hold." in words(answer)
    assert send(client_as("manager"), f"/sheets/{number}/lift", hold="quarantine").status_code == 302


def in_the_press(room: Room, hours: float) -> str:
    """A sheet that has lain so long under weight, with the weights off now."""
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=hours)
    room.weights("off", "P1")
    room.wait(minutes=1)
    return number


def test_the_manager_lets_a_sheet_out_before_its_time_and_the_log_says_by_how_much(
    room: Room, client_as: ClientAs
) -> None:
    number, browser = in_the_press(room, 20), client_as("manager")
    for _ in range(2):
        assert send(browser, f"/sheets/{number}/early", reason="a visitor needs it", scan_id="early").status_code == 302
    assert room.stage(number) == "dry" and room.log(number)[-1]["early_by_s"] == 4 * 3600
    said = words(browser.get(f"/sheets/{number}"))
    assert "early by 4 h" in said and "a visitor needs it" in said


def test_with_the_weights_on_not_even_the_manager_takes_a_sheet_out(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=1)
    answer = send(client_as("manager"), f"/sheets/{number}/early", reason="a visitor needs it")
    assert answer.status_code == 422 and "The weights are on P1." in words(answer)
    assert room.stage(number) == "under-press"


def test_an_early_release_without_a_reason_is_refused(room: Room, client_as: ClientAs) -> None:
    number = in_the_press(room, 20)
    answer = send(client_as("manager"), f"/sheets/{number}/early", reason="  ")
    assert answer.status_code == 422 and room.stage(number) == "under-press"


def test_a_withdrawn_sheet_leaves_the_queue_and_keeps_its_log(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("manager")
    assert send(browser, f"/sheets/{number}/withdraw", reason="sent in exchange").status_code == 302
    assert room.row(number)["closed_as"] == "sent in exchange" and not room.row(number)["in_queue"]
    said = words(browser.get(f"/sheets/{number}"))
    assert "Closed: sent in exchange" in said and "Put something right" not in said and "withdrawn" in said


def test_the_old_number_still_finds_a_renumbered_sheet(room: Room, client_as: ClientAs) -> None:
    number, new, browser = room.sheet_ready(), room.new_number(), client_as("trainer")
    for _ in range(2):
        answer = send(
            browser,
            f"/sheets/{number}/renumber",
            number=f"{new[:3]} {new[3:]}",
            reason="two with one number",
            scan_id="n",
        )
        assert answer.status_code == 302 and answer.location == f"/sheets/{new}"
    assert browser.get(f"/sheets/{number}").location == f"/sheets/{new}"
    assert "Former number" in words(browser.get(f"/sheets/{new}"))


def test_without_a_number_the_room_mints_the_next_one(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    answer = send(client_as("trainer"), f"/sheets/{number}/renumber", number="", reason="its slip was lost")
    minted = answer.location.removeprefix("/sheets/")
    assert minted.startswith("TQX") and minted != number and room.row(minted)["stage"] == "ready-for-mounting"


@pytest.mark.parametrize("wrong", ["TQX", "12345", "KC0001X", "<b>"])
def test_a_number_that_does_not_read_right_is_refused(room: Room, client_as: ClientAs, wrong: str) -> None:
    number = room.sheet_ready()
    answer = send(client_as("trainer"), f"/sheets/{number}/renumber", number=wrong, reason="why")
    assert answer.status_code == 422 and "Type it off the slip once more" in words(answer)
    assert room.row(number)["number"] == number


def test_a_number_in_use_is_refused(room: Room, client_as: ClientAs) -> None:
    number, other = room.sheet_ready(), room.sheet_ready()
    answer = send(client_as("trainer"), f"/sheets/{number}/renumber", number=other, reason="why")
    assert answer.status_code == 422 and "is in use" in words(answer)


def test_a_gluing_put_right_shows_its_new_time_and_double_presses_write_once(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_in("P1"), client_as("trainer")
    for _ in range(2):
        form = {"adhesive": "paste", "bulk": "bulky", "reason": "wrong jar", "scan_id": "glue"}
        assert send(browser, f"/sheets/{number}/regluing", **form).status_code == 302
    assert room.steps(number).count("restate") == 1
    assert "of 3 days under weight" in words(browser.get(f"/sheets/{number}"))


def test_taking_back_an_earlier_entry_lists_all_that_goes_with_it_first(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_mounted(), client_as("manager")
    taken_up = room.log(number)[2]["id"]
    page = browser.get(f"/sheets/{number}/entries/{taken_up}/back")
    assert "These 2 entries would be taken back." in words(page) and "mounted by Olwen Tarrant" in words(page)
    assert room.stage(number) == "mounted"
    for _ in range(2):
        answer = send(
            browser, f"/sheets/{number}/entries/{taken_up}/back", reason="it was another sheet", scan_id="back"
        )
        assert answer.status_code == 302
    assert room.stage(number) == "ready-for-mounting" and room.steps(number).count("correct") == 2
    said = words(browser.get(f"/sheets/{number}"))
    assert "Taken back by Hedda Brackwater" in said and "it was another sheet" in said


def test_taking_back_says_why_or_is_not_done(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_mounted(), client_as("manager")
    entry = room.log(number)[-1]["id"]
    answer = send(browser, f"/sheets/{number}/entries/{entry}/back", reason="")
    assert answer.location == f"/sheets/{number}/entries/{entry}/back" and room.stage(number) == "mounted"


def test_an_entry_of_another_sheet_is_not_taken_back_from_here(room: Room, client_as: ClientAs) -> None:
    number, other, browser = room.sheet_ready(), room.sheet_mounted(), client_as("manager")
    entry = room.log(other)[-1]["id"]
    assert browser.get(f"/sheets/{number}/entries/{entry}/back").status_code == 404
    assert send(browser, f"/sheets/{number}/entries/{entry}/back", reason="why").status_code == 404
    assert room.stage(other) == "mounted"


def called_in_question(room: Room) -> str:
    """A sheet that was taken out by a clock which a late entry of the weights showed to have been wrong."""
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=20)
    off_at = room.now
    room.wait(hours=4)
    room.weights("off", "P1")
    room.wait(minutes=1)
    assert room.takes_out(number).kind == "done"
    room.wait(minutes=1)
    room.scans(
        room.code("off", "P1"), who="hedda", manages=True, happened_at=off_at, reason="off since then, by the paper log"
    )
    return number


def test_what_is_called_in_question_stays_until_the_manager_says_that_somebody_looked(
    room: Room, client_as: ClientAs
) -> None:
    number, browser = called_in_question(room), client_as("manager")
    said = words(browser.get(f"/sheets/{number}"))
    assert "Called in question" in said and "4 h short of its time" in said
    assert send(browser, f"/sheets/{number}/doubt", reason="").status_code == 422
    for _ in range(2):
        assert send(browser, f"/sheets/{number}/doubt", reason="flat, nothing lifts", scan_id="seen").status_code == 302
    assert "Called in question" not in words(browser.get(f"/sheets/{number}"))
    with reading(room.database) as session:
        assert doubts_of(session, room.row(number)["id"]) == ()
    assert send(browser, f"/sheets/{number}/doubt", reason="again").status_code == 422


def test_the_trainer_sees_what_is_in_question_but_does_not_settle_it(room: Room, client_as: ClientAs) -> None:
    number = called_in_question(room)
    assert "The manager says when that is done." in words(client_as("trainer").get(f"/sheets/{number}"))
    assert send(client_as("trainer"), f"/sheets/{number}/doubt", reason="flat").status_code == 403


def test_a_reason_is_shown_as_it_was_written_and_never_run(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("trainer")
    send(browser, f"/sheets/{number}/hold", hold="name-query", reason="<img src=x onerror=alert(1)>")
    text = browser.get(f"/sheets/{number}").text
    assert "<img" not in text and "&lt;img src=x onerror=alert(1)&gt;" in text


def test_another_number_that_is_the_same_sheet_finds_it_from_then_on(room: Room, client_as: ClientAs) -> None:
    kept, other = room.sheet_ready(), room.sheet_ready()
    trainer = client_as("trainer")
    answer = send(trainer, f"/sheets/{kept}/together", other="TQX", reason="seen")
    assert answer.status_code == 422
    answer = send(trainer, f"/sheets/{kept}/together", other=other, reason="both slips lay in one fold")
    assert answer.status_code == 302
    assert room.row(other)["closed_as"].startswith("put together with")
    assert "both slips lay in one fold" in words(trainer.get(f"/sheets/{kept}"))
