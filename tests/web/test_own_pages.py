"""A worker's own page, what is kept about them, and the end of a name, on their pages."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from sqlalchemy import insert, text

from app.db.engine import reading, transaction
from app.db.models import TallyDay, table_of
from app.domain.stages import Step
from app.queries.people import worker_by_id
from app.services.people import retire_worker
from tests.room import Room
from tests.services.days import differences
from tests.web.conftest import ClientAs, send, words


def did(room: Room, who: str, weeks_ago: int, sheets: int) -> None:
    monday = room.now.date() - timedelta(days=room.now.weekday(), weeks=weeks_ago)
    values = {"day": monday, "worker_id": room.worker[who], "step": "mount", "sheets": sheets, "credit_60": sheets * 60}
    with transaction(room.database) as session:
        session.execute(insert(table_of(TallyDay)), values)


@pytest.fixture
def named(room: Room) -> tuple[Room, str]:
    """Piet is named in a reason, and in part in another; he has left."""
    number = room.sheet_ready()
    for reason in ("Piet Lindqvist said so", "ask Piet"):
        room.scans(number, who="hedda", step=Step.PUT_HOLD, reason=reason, facts={"hold": "name-query"})
        room.scans(number, who="hedda", step=Step.LIFT_HOLD, reason="done", facts={"hold": "name-query"})
    with transaction(room.database) as session:
        retire_worker(session, room.worker["piet"], room.now, by=room.worker["hedda"])
    return room, number


def test_a_worker_sees_their_own_weeks_and_nobody_elses(room: Room, client_as: ClientAs) -> None:
    for ago in range(1, 9):
        did(room, "olwen", ago, 40 if ago == 3 else 10 + ago % 2)
        did(room, "piet", ago, 77)
    room.sheet_mounted("table-1")
    room.wait(hours=1)
    page = words(client_as("volunteer").get("/me"))
    assert "Mounted this week so far 1" in page and "Taken up this week so far 1" in page
    assert "W45: more than your weeks usually hold." in page
    assert "Mean 14.1, usually" in page and "of 8 full weeks" in page
    assert "77" not in page and "Piet" not in page
    assert (
        "2026-W45 from 2 Nov" in page and "All hours this week so far 2" in page
    )  # at two stations at once, as only a test's cast can be


def test_somebody_who_has_done_nothing_is_told_so(client_as: ClientAs) -> None:
    assert "Nothing is on record in these weeks." in words(client_as("reader").get("/me"))


def test_at_a_station_nobody_has_a_page_of_their_own(station_client: ClientAs) -> None:
    browser = station_client("table-1")
    assert browser.get("/me").status_code == 403 and browser.get("/me/kept").status_code == 403


def test_a_trainer_sees_a_workers_weeks_but_neither_badge_nor_what_is_kept(room: Room, client_as: ClientAs) -> None:
    room.sheet_mounted("table-1")
    browser, olwen = client_as("trainer"), room.worker["olwen"]
    answer = browser.get(f"/people/{olwen}")
    code = room.code("badge", "olwen")
    assert answer.status_code == 200 and "Mounted this week so far 1" in words(answer)
    assert code[2:-1] not in answer.text and "Make a new badge" not in answer.text
    assert 'method="post" action="/people' not in answer.text
    assert browser.get(f"/people/{olwen}/kept").status_code == 403
    assert browser.get(f"/people/{olwen}/name").status_code == 403
    assert code[2:-1] in client_as("manager").get(f"/people/{olwen}").text


def test_what_is_kept_is_for_the_worker_and_for_the_manager_to_print(room: Room, client_as: ClientAs) -> None:
    room.sheet_mounted("table-1")
    own = words(client_as("volunteer").get("/me/kept"))
    assert "What is kept about me" in own and "Olwen Tarrant, W02" in own
    assert "mounted 1, taken up 1" in own and "Kept by person for 12 months" in own
    theirs = words(client_as("manager").get(f"/people/{room.worker['olwen']}/kept"))
    assert "What is kept about Olwen Tarrant" in theirs and "mounted 1, taken up 1" in theirs
    main = theirs.split("What is kept about Olwen Tarrant")[-1]
    assert "Piet" not in main and "Rosamund" not in main and "Hedda" not in main
    assert client_as("manager").get("/people/999/kept").status_code == 404


def test_the_texts_are_looked_at_and_the_ticked_ones_replaced(named: tuple[Room, str], client_as: ClientAs) -> None:
    room, number = named
    browser, piet = client_as("manager"), room.worker["piet"]
    assert f'href="/people/{piet}/name"' in browser.get(f"/people/{piet}").text
    look = browser.get(f"/people/{piet}/name")
    boxes = dict(re.findall(r'value="([0-9a-f]{16})"( checked)?><label', look.text))
    shown = words(look)
    assert len(boxes) == 4 and sum(map(bool, boxes.values())) == 2
    assert "Piet Lindqvist said so Why, in the log of a sheet or stack" in shown and "only a part of the name" in shown
    assert "stands in 1 other row" in shown
    answer = send(browser, f"/people/{piet}/name", text=[mark for mark, ticked in boxes.items() if ticked])
    assert answer.status_code == 302
    page = words(browser.get(answer.location))
    assert "The name is gone, and the number stands in its place; in 3 texts too." in page and "W03 has left." in page
    log = words(browser.get(f"/sheets/{number}"))
    assert "W03 said so" in log and "ask Piet" in log and "Lindqvist" not in log
    assert differences(room.database) == []
    assert "The name is gone already." in words(browser.get(f"/people/{piet}/name"))
    assert send(browser, f"/people/{piet}/name").status_code == 422


def test_whoever_still_works_here_keeps_the_name(room: Room, client_as: ClientAs) -> None:
    browser, olwen = client_as("manager"), room.worker["olwen"]
    page = browser.get(f"/people/{olwen}/name")
    assert "Say first that they have left." in words(page) and 'type="checkbox"' not in page.text
    answer = send(browser, f"/people/{olwen}/name")
    assert answer.status_code == 422 and "Only the name of somebody who has left is replaced." in words(answer)
    with reading(room.database) as session:
        worker = worker_by_id(session, olwen)
    assert worker is not None and worker.name == "Olwen Tarrant"
    assert browser.get("/people/999/name").status_code == 404 and send(browser, "/people/999/name").status_code == 404


def test_a_mark_that_is_made_up_replaces_nothing(named: tuple[Room, str], client_as: ClientAs) -> None:
    room, _ = named
    send(client_as("manager"), f"/people/{room.worker['piet']}/name", text=["0" * 16, "x", "'; DROP TABLE entry"])
    with room.database.engine.connect() as connection:
        reasons = connection.execute(text("SELECT reason FROM entry WHERE reason LIKE '%Piet%'")).scalars().all()
    assert reasons == ["Piet Lindqvist said so", "ask Piet"]


def test_what_is_kept_says_that_the_name_was_given_up(named: tuple[Room, str], client_as: ClientAs) -> None:
    room, _ = named
    browser, piet = client_as("manager"), room.worker["piet"]
    send(browser, f"/people/{piet}/name")
    page = words(browser.get(f"/people/{piet}/kept"))
    assert "What is kept about W03" in page and "given up" in page and "name replaced by the number" in page
