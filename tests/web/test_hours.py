"""Who is signed in where: a station that stays open all day, and a forgotten sign-out put right on the worker's page."""

from __future__ import annotations

import re
from typing import Any

import pytest
from itsdangerous import TimestampSigner
from sqlalchemy import delete, select

from app.db.engine import reading, transaction
from app.db.models import Attendance, table_of
from app.db.rules import room_house
from app.domain.stages import Step
from app.services.attendance import sign_out_idle
from app.services.people import retire_worker
from app.services.room import set_house_rule
from tests.room import Room
from tests.web.conftest import ClientAs, send, token, words

TIMES = table_of(Attendance)


@pytest.fixture
def usual(room: Room, monkeypatch: pytest.MonkeyPatch) -> Room:
    """A room in which nobody is signed in yet, with the usual rule; cookies and tokens age by its own clock."""
    with transaction(room.database) as session:
        session.execute(delete(TIMES))
        set_house_rule(session, "idle_sign_out_min", 120, "as usual", room.now)
    monkeypatch.setattr(TimestampSigner, "get_timestamp", lambda _self: int(room.now.timestamp()))
    return room


def times(room: Room, who: str) -> list[Any]:
    with reading(room.database) as session:
        return list(session.execute(select(TIMES).where(TIMES.c.worker_id == room.worker[who]).order_by(TIMES.c.id)))


def test_a_station_open_for_ten_hours_still_scans(usual: Room, station_client: ClientAs) -> None:
    browser = station_client("intake")
    loaded = token(browser, "/station")
    began, badge = usual.now, usual.code("badge", "rosamund")
    scan = lambda code, **more: browser.post("/station/scan", data={"csrf_token": loaded, "code": code, **more})  # noqa: E731
    assert scan(badge).status_code == 200
    usual.wait(hours=10)
    number = usual.new_number()
    refused = scan(number)
    assert refused.status_code == 422
    assert "Nobody is signed in here. " in words(refused) and "Scan your badge" in words(refused)
    assert scan(badge).status_code == 200
    done = scan(number)
    assert done.status_code == 200 and done.headers["X-Answer"] == "done"
    assert usual.steps(number) == [Step.TAKE_IN]
    first, second = times(usual, "rosamund")
    assert (first.signed_out_at, first.ended_how, second.signed_in_at) == (began, "idle", usual.now)


def test_the_screen_hears_within_a_minute_that_nobody_is_there(usual: Room, station_client: ClientAs) -> None:
    browser = station_client("intake")
    usual.scans(usual.code("badge", "rosamund"), "intake")
    assert "Working now Rosamund Ashgill since 09:00 by badge" in words(browser.get("/station"))
    usual.wait(hours=3)
    with transaction(usual.database) as session:
        sign_out_idle(session, usual.now, room_house(session)[0])
    side = browser.get("/station/side")
    assert "Nobody is signed in here." in words(side)
    assert re.search(r'id="at-work"[^>]*hx-swap-oob="true"', side.text)
    assert "hx-swap-oob" not in browser.get("/station").text


def test_the_done_card_signs_out_on_the_screen(usual: Room, station_client: ClientAs) -> None:
    browser = station_client("intake")
    usual.scans(usual.code("badge", "rosamund"), "intake")
    send_from = token(browser, "/station")
    browser.post("/station/sign-out", data={"csrf_token": send_from})
    assert "Nobody is signed in here." in words(browser.get("/station"))
    assert times(usual, "rosamund")[0].ended_how == "out"


# -- the worker's page --------------------------------------------------------------------------------------------
def forgotten(room: Room) -> int:
    """Olwen came at nine and forgot to sign out; it is five now."""
    room.scans(room.code("badge", "olwen"), "table-1")
    room.wait(hours=8)
    return int(times(room, "olwen")[0].id)


def test_the_manager_writes_in_when_somebody_really_left(usual: Room, client_as: ClientAs) -> None:
    browser, olwen, time = client_as("manager"), usual.worker["olwen"], forgotten(usual)
    page = words(browser.get(f"/people/{olwen}"))
    assert "09:00 by badge still there Mounting table 1" in page
    assert "Wed 25 Nov 09:00, Mounting table 1, still signed in" in page and "for 12 months" in page
    form = {"time": str(time), "happened_at": "2026-11-25T12:30", "hour": "", "reason": "she left for the bus"}
    answer = send(browser, f"/people/{olwen}/signed-out", **form)
    assert answer.status_code == 302
    page = words(browser.get(answer.location))
    assert "The hours are put right." in page and "09:00 by badge 12:30 Mounting table 1 signed out" in page


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"reason": " "}, "Say why; it stays in the log."),
        ({"happened_at": ""}, "Say when."),
        ({"happened_at": "2026-11-25T08:59"}, "That is before the sign-in."),
        ({"happened_at": "2026-11-25T17:01"}, "That time has not come yet."),
        ({"time": "999"}, "Not a valid choice"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_stays(
    usual: Room, client_as: ClientAs, change: dict[str, str], said: str
) -> None:
    browser, olwen, time = client_as("manager"), usual.worker["olwen"], forgotten(usual)
    form = {"time": str(time), "happened_at": "2026-11-25T12:30", "hour": "", "reason": "she left for the bus"} | change
    answer = send(browser, f"/people/{olwen}/signed-out", **form)
    assert answer.status_code == 422 and said in words(answer)
    assert times(usual, "olwen")[0].signed_out_at is None
    assert f'value="{form["happened_at"]}"' in answer.text
    assert re.search(r"<details[^>]* open>\s*<summary>Somebody forgot", answer.text)


def test_nobody_puts_right_the_hours_of_somebody_else_by_this_address(usual: Room, client_as: ClientAs) -> None:
    browser, time = client_as("manager"), forgotten(usual)
    form = {"time": str(time), "happened_at": "2026-11-25T12:30", "hour": "", "reason": "why"}
    assert send(browser, f"/people/{usual.worker['piet']}/signed-out", **form).status_code == 422
    assert send(browser, "/people/999/signed-out", **form).status_code == 404
    assert times(usual, "olwen")[0].signed_out_at is None


def test_a_trainer_sees_the_hours_and_leaves_them_as_they_are(usual: Room, client_as: ClientAs) -> None:
    browser, olwen, time = client_as("trainer"), usual.worker["olwen"], forgotten(usual)
    page = browser.get(f"/people/{olwen}")
    assert page.status_code == 200 and "Mounting table 1" in words(page) and "signed-out" not in page.text
    form = {"time": str(time), "happened_at": "2026-11-25T12:30", "hour": "", "reason": "why"}
    assert send(browser, f"/people/{olwen}/signed-out", **form).status_code == 403
    assert times(usual, "olwen")[0].signed_out_at is None


def test_an_hour_that_came_twice_is_asked_for(usual: Room, client_as: ClientAs) -> None:
    # The clocks in London went back on 25 October 2026 at 02:00 BST (tz database).
    browser, olwen = client_as("manager"), usual.worker["olwen"]
    since = usual.now.replace(month=10, day=24, hour=20)
    with transaction(usual.database) as session:
        session.add(Attendance(worker_id=olwen, station_id=1, signed_in_at=since))
    form = {"time": str(times(usual, "olwen")[0].id), "happened_at": "2026-10-25T01:30", "hour": "", "reason": "why"}
    answer = send(browser, f"/people/{olwen}/signed-out", **form)
    assert answer.status_code == 422 and "twice that night" in words(answer)
    assert send(browser, f"/people/{olwen}/signed-out", **form | {"hour": "second"}).status_code == 302
    assert times(usual, "olwen")[0].signed_out_at == since.replace(day=25, hour=1, minute=30)


def test_somebody_who_has_left_has_hours_too(usual: Room, client_as: ClientAs) -> None:
    browser, olwen = client_as("manager"), usual.worker["olwen"]
    forgotten(usual)
    with transaction(usual.database) as session:
        retire_worker(session, olwen, usual.now, by=usual.worker["hedda"])
    page = words(browser.get(f"/people/{olwen}"))
    assert "09:00 by badge 09:00 Mounting table 1 nothing more was scanned" in page


def test_a_worker_is_told_for_how_long_hours_are_kept(usual: Room) -> None:
    answer = usual.scans(usual.code("badge", "piet"), "filing")
    assert (
        "When you signed in and out at which station, for 12 months; trainers and the manager see it." in answer.lines
    )
    with transaction(usual.database) as session:
        set_house_rule(session, "keep_hours_months", 1, "less is better", usual.now)
    answer = usual.scans(usual.code("badge", "olwen"), "filing")
    assert any("for a month;" in line for line in answer.lines)
