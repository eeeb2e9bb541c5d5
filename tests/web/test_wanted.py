"""Asking for a sheet, letting it go and sending it out, from its own page."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import select

from app.db.engine import reading
from app.db.models import Hold, Wanted, table_of
from app.domain.stages import Step
from tests.queries.looking import filed
from tests.room import Room
from tests.web.conftest import ClientAs, send, token, words

WANTED, HOLD = table_of(Wanted), table_of(Hold)


def open_wishes(room: Room) -> list[tuple[str, date | None, int]]:
    with reading(room.database) as session:
        found = select(WANTED.c.why, WANTED.c.needed_on, WANTED.c.asked_by).where(WANTED.c.ended_at.is_(None))
        return [tuple(row) for row in session.execute(found)]


@pytest.mark.parametrize(
    ("role", "who"), [("reader", "ines"), ("volunteer", "olwen"), ("trainer", "rosamund"), ("manager", "hedda")]
)
def test_everybody_who_is_signed_in_may_ask(room: Room, client_as: ClientAs, role: str, who: str) -> None:
    number, browser = room.sheet_ready(), client_as(role)
    answer = send(browser, f"/sheets/{number}/wanted", why="the open day", needed_on="2026-12-04")
    assert answer.status_code == 302 and answer.location == f"/sheets/{number}"
    assert open_wishes(room) == [("the open day", date(2026, 12, 4), room.worker[who])]
    said = words(browser.get(f"/sheets/{number}"))
    assert "wanted by 4 Dec: the open day" in said


def test_by_whom_is_shown_to_trainer_manager_and_whoever_asked(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    send(client_as("reader"), f"/sheets/{number}/wanted", why="the open day")
    shown = {role: "by Ines Caldwell" in words(client_as(role).get(f"/sheets/{number}"))
             for role in ("reader", "volunteer", "trainer", "manager")}  # fmt: skip
    assert shown == {"reader": True, "volunteer": False, "trainer": True, "manager": True}


def test_a_station_shows_that_it_is_wanted_and_not_by_whom(
    room: Room, client_as: ClientAs, station_client: ClientAs
) -> None:
    number = room.sheet_ready()
    send(client_as("reader"), f"/sheets/{number}/wanted", why="the open day")
    browser = station_client("table-1")
    said = words(browser.get(f"/sheets/{number}"))
    assert "the open day" in said and "Ines Caldwell" not in said and "Ask for it" not in said
    assert "Ines Caldwell" not in words(browser.get("/order")) and "the open day" in words(browser.get("/order"))


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"why": ""}, "Say what it is wanted for."),
        ({"why": "x" * 301}, "longer than 300 characters"),
        ({"why": "a visit", "needed_on": "2026-11-24"}, "That day has passed. Give today or a later one."),
        ({"why": "a visit", "needed_on": "soon"}, "That is no day. Give it like 2026-12-31."),
        ({"why": "a visit", "needed_on": "2026-02-30"}, "That is no day."),
    ],
)
def test_what_is_wrong_is_said_beside_the_field_and_what_was_typed_is_kept(
    room: Room, client_as: ClientAs, sent: dict[str, str], said: str
) -> None:
    number = room.sheet_ready()
    answer = send(client_as("reader"), f"/sheets/{number}/wanted", **sent)
    assert answer.status_code == 422 and said in words(answer) and open_wishes(room) == []
    assert 'id="deed-wanted" open' in answer.text
    assert all(f'value="{value}"' in answer.text for value in sent.values())


def test_a_filed_sheet_is_answered_with_its_place(room: Room, client_as: ClientAs) -> None:
    number, browser = filed(room), client_as("reader")
    assert "Ask for it" not in words(browser.get(f"/sheets/{number}"))
    assert send(browser, f"/sheets/{number}/wanted", why="a visit").status_code == 302
    assert "It is filed in F1, shelf 1." in words(browser.get(f"/sheets/{number}")) and open_wishes(room) == []


def test_whoever_asked_or_a_trainer_lets_it_go(room: Room, client_as: ClientAs) -> None:
    number, reader = room.sheet_ready(), client_as("reader")
    send(reader, f"/sheets/{number}/wanted", why="a visit")
    refused = send(client_as("volunteer"), f"/sheets/{number}/let-go", how="not needed")
    assert refused.status_code == 422 and len(open_wishes(room)) == 1
    assert "no longer wanted" not in words(client_as("volunteer").get(f"/sheets/{number}"))
    assert "Say what became of it." in words(send(reader, f"/sheets/{number}/let-go", how=""))
    assert send(reader, f"/sheets/{number}/let-go", how="the visit is off").status_code == 302
    assert open_wishes(room) == [] and "It is no longer wanted." in words(reader.get(f"/sheets/{number}"))
    send(reader, f"/sheets/{number}/wanted", why="another visit")
    assert send(client_as("trainer"), f"/sheets/{number}/let-go", how="done otherwise").status_code == 302
    assert open_wishes(room) == []


def test_lists_mark_what_is_wanted(room: Room, client_as: ClientAs) -> None:
    number, _ = room.sheet_ready(), room.sheet_ready()
    browser = client_as("reader")
    send(browser, f"/sheets/{number}/wanted", why="a visit")
    assert (
        browser.get("/sheets?stage=ready-for-mounting").text.count('<span class="tag tone-choose">wanted</span>') == 1
    )


def test_there_is_no_such_sheet_to_ask_for(client_as: ClientAs) -> None:
    for deed, sent in (("wanted", {"why": "a visit"}), ("let-go", {"how": "done"})):
        assert send(client_as("reader"), f"/sheets/TQX999999/{deed}", **sent).status_code == 404


def test_a_sheet_is_sent_out_once_and_its_page_says_with_whom(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("trainer")
    form = {"with_whom": "N. Varley", "due_on": "2026-12-04", "reason": "to be named", "scan_id": "one-press"}
    for _ in range(2):
        assert send(browser, f"/sheets/{number}/out", **form).status_code == 302
    assert room.steps(number).count("put-hold") == 1
    for role in ("trainer", "reader"):
        said = words(client_as(role).get(f"/sheets/{number}"))
        assert "Out with N. Varley since 09:00, back by 4 Dec." in said and "to be named" in said
    assert "Send it out" not in words(browser.get(f"/sheets/{number}"))
    assert number in browser.get("/sheets?held=out").text
    assert send(browser, f"/sheets/{number}/lift", hold="out").status_code == 302
    assert "Back. It was out with N. Varley since 09:00." in words(browser.get(f"/sheets/{number}"))


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"with_whom": "", "reason": "to be named"}, "Say who has it."),
        ({"with_whom": "N. Varley", "reason": ""}, "Say why; it stays in the log."),
        ({"with_whom": "N. Varley", "reason": "to be named", "due_on": "2026-11-24"}, "That day has passed."),
    ],
)
def test_a_sheet_is_not_sent_out_half_said(room: Room, client_as: ClientAs, sent: dict[str, str], said: str) -> None:
    number = room.sheet_ready()
    answer = send(client_as("manager"), f"/sheets/{number}/out", **sent)
    assert answer.status_code == 422 and said in words(answer) and room.row(number)["holds"] == ""
    assert all(f'value="{value}"' in answer.text for value in sent.values() if value)


def test_a_sheet_under_press_is_not_sent_out_and_it_is_said_what_to_do(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_in("P1"), client_as("manager")
    assert "Send it out" not in words(browser.get(f"/sheets/{number}"))
    answer = send(browser, f"/sheets/{number}/out", with_whom="N. Varley", reason="to be named")
    assert answer.status_code == 422
    assert "It is under press, so it cannot be sent out." in words(answer) and "when its time has come" in words(answer)


def test_the_hold_of_what_is_out_is_not_put_like_any_other(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("manager")
    page = browser.get(f"/sheets/{number}").text
    assert '<option value="quarantine">' in page and '<option value="out">' not in page
    assert send(browser, f"/sheets/{number}/hold", hold="out", reason="to be named").status_code == 422
    assert room.row(number)["holds"] == ""


def test_what_was_typed_is_shown_and_never_run(room: Room, client_as: ClientAs) -> None:
    number, browser, hostile = room.sheet_ready(), client_as("manager"), "<script>alert(1)</script>"
    send(browser, f"/sheets/{number}/wanted", why=hostile)
    send(browser, f"/sheets/{number}/out", with_whom=hostile, reason=hostile)
    for path in (f"/sheets/{number}", "/order"):
        text = browser.get(path).text
        assert "<script>alert" not in text and "&lt;script&gt;alert(1)" in text


def test_a_wish_without_the_token_of_its_page_is_not_kept(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("reader")
    assert browser.post(f"/sheets/{number}/wanted", data={"why": "a visit"}).status_code == 400
    assert open_wishes(room) == [] and token(browser, f"/sheets/{number}")


def test_the_station_hears_that_it_is_back(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    send(client_as("trainer"), f"/sheets/{number}/out", with_whom="N. Varley", reason="to be named")
    room.wait(days=8)
    assert (
        room.scans(number, "table-1", step=Step.TAKE_UP).lines[0]
        == "Back. It was out with N. Varley since 25 Nov 09:00."
    )
