"""The paper form for when nothing works, and its write-up: good rows are written once, bad ones stay and say why."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.test import TestResponse

from app.db.engine import reading
from app.db.models import Stack
from app.services.audit import audit
from app.web.paper_forms import ROWS, STEPS, TICKS
from tests.room import LONDON, Room
from tests.web.conftest import ClientAs, send, words

DAY = "2026-11-25"


def paper(room: Room, *rows: dict[str, Any], **head: Any) -> dict[str, Any]:
    """What the manager types in: each row under its place, with the scan id that the page gave it."""
    sent = {
        "day": DAY,
        "reason": "the paper form",
        "worker": str(room.worker["piet"]),
        "station": str(room.station["table-2"]),
    }
    for place, row in enumerate(rows, 1):
        typed = {"number": "", "step": "", "at": "", "worker": "", "place": "", "adhesive": "", "bulk": "", "remarks": "",
                 "scan_id": f"row {place} of a paper", **row}  # fmt: skip
        sent |= {f"row-{place}-{name}": value for name, value in typed.items()}
    return {**sent, **head}


def ids_in(answer: TestResponse) -> dict[str, str]:
    """The scan id of each row that is still on the page."""
    fields = re.findall(r"<input[^>]*row-\d+-scan_id[^>]*>", answer.text)
    return {re.findall(r'name="([^"]+)"', each)[0]: re.findall(r'value="([^"]+)"', each)[0] for each in fields}


@pytest.fixture
def manager(client_as: ClientAs) -> FlaskClient:
    return client_as("manager")


def test_what_is_printed_can_be_typed_in(manager: FlaskClient) -> None:
    text = manager.get("/late-form").text
    assert text.count('<th scope="row">') == ROWS and text.count("paper-box") == ROWS * len(TICKS)
    for value, said in TICKS:
        assert f">{said}</th>" in text and (not value or value in dict(STEPS))
    assert manager.get("/late").text.count("-scan_id") >= ROWS


@pytest.mark.parametrize(("asked", "paper_size"), [("", "a4"), ("?paper=letter", "letter"), ("?paper=<b>", "a4")])
def test_the_paper_is_a4_unless_letter_is_asked_for(client_as: ClientAs, asked: str, paper_size: str) -> None:
    assert f'class="on-{paper_size}"' in client_as("reader").get(f"/late-form{asked}").text


def test_a_paper_is_written_up_in_order_of_time_however_it_was_typed(room: Room, manager: FlaskClient) -> None:
    number = room.sheet_ready()
    room.wait(hours=5)
    rows = ({"number": number, "step": "put-under-weight", "at": "10:40", "place": "p1"},
            {"number": number, "step": "take-up", "at": "10:00"},
            {"number": number, "step": "mount", "at": "10:20", "adhesive": "paste", "bulk": "bulky", "remarks": "two parts",
             "worker": str(room.worker["olwen"])},
            {"step": "weights-on", "at": "10:45", "place": "Stack P1"})  # fmt: skip
    answer = send(manager, "/late", **paper(room, *rows))
    assert answer.status_code == 302 and answer.location == f"/late?day={DAY}"
    assert "4 rows are written." in words(manager.get(answer.location))
    log = room.log(number)[-3:]
    assert [entry["step"] for entry in log] == ["take-up", "mount", "put-under-weight"]
    assert [entry["happened_at"].strftime("%H:%M") for entry in log] == ["10:00", "10:20", "10:40"]
    assert all(entry["is_late"] for entry in log) and log[1]["reason"] == "the paper form: two parts"
    row = room.row(number)
    assert (row["stage"], row["adhesive_id"], row["bulk"], row["mounted_by"]) == (
        "under-press",
        2,
        "bulky",
        [room.worker["olwen"]],
    )
    with reading(room.database) as session:
        weights = session.execute(select(Stack.weights_on, Stack.turned_at).where(Stack.name == "P1")).one()
        assert list(audit(session, LONDON)) == []
    assert tuple(weights) == (True, datetime(2026, 11, 25, 10, 45, tzinfo=UTC))


def test_pressed_twice_it_is_written_once(room: Room, manager: FlaskClient) -> None:
    number = room.sheet_ready()
    room.wait(hours=3)
    sent = paper(room, {"number": number, "step": "take-up", "at": "10:00"})
    assert [send(manager, "/late", **sent).status_code for _ in range(2)] == [302, 302]
    assert room.steps(number).count("take-up") == 1


def test_good_rows_are_written_and_a_bad_one_stays_with_its_sentence_and_what_was_typed(
    room: Room, manager: FlaskClient
) -> None:
    good, bad = room.sheet_ready(), room.sheet_ready()
    room.wait(hours=3)
    rows = ({"number": good, "step": "take-up", "at": "10:00"},
            {"number": bad, "step": "take-out", "at": "10:05", "remarks": "lay on the table"})  # fmt: skip
    answer = send(manager, "/late", **paper(room, *rows))
    said = words(answer)
    assert answer.status_code == 422 and "1 row is written." in said and "1 row is not written." in said
    assert "is ready for mounting, so it cannot be taken out now" in said and 'value="lay on the table"' in answer.text
    assert list(ids_in(answer)) == ["row-2-scan_id"] and 'name="row-1-number"' not in answer.text
    assert room.steps(good)[-1] == "take-up" and room.steps(bad)[-1] == "arrive-dry"
    # Put right under the id that the page gives it now, it is written; the good one is not written again.
    mended = {**rows[1], "step": "take-up", "scan_id": ids_in(answer)["row-2-scan_id"]}
    sent = paper(room, {}, mended)
    del sent["row-1-number"]
    assert send(manager, "/late", **sent).status_code == 302
    assert room.steps(bad)[-1] == "take-up" and room.steps(good).count("take-up") == 1


def test_what_came_after_a_bad_row_of_the_same_sheet_waits_for_it(room: Room, manager: FlaskClient) -> None:
    number = room.sheet_ready()
    room.wait(hours=3)
    later = {"number": number, "step": "shelve", "at": "10:30", "place": "M1, shelf 4"}
    answer = send(manager, "/late", **paper(room, {"number": number, "step": "take-out", "at": "10:00"}, later))
    assert "It waits for row 1, which is of the same sheet and is not written yet." in words(answer)
    answer = send(manager, "/late", **paper(room, {"number": number, "step": "take-up", "at": ""}, later))
    assert "Say at what time. " in words(answer) and "It waits for row 1" in words(answer)
    assert room.steps(number)[-1] == "arrive-dry"


def test_a_new_plant_with_its_slip_is_taken_in_from_paper(room: Room, manager: FlaskClient) -> None:
    number = room.new_number()
    room.wait(hours=3)
    row = {"number": number, "step": "take-in", "at": "09:30"}
    assert send(manager, "/late", **paper(room, row, station=str(room.station["intake"]))).status_code == 302
    (entry,) = room.log(number)
    assert entry["happened_at"] == datetime(2026, 11, 25, 9, 30, tzinfo=UTC) and entry["is_late"]
    assert room.stage(number) == "intake"
    with reading(room.database) as session:
        assert list(audit(session, LONDON)) == []


@pytest.mark.parametrize(
    ("change", "sentence"),
    [({"step": ""}, "Say what was done."), ({"at": ""}, "Say at what time."), ({"at": "25:99"}, "Give the time as the clock showed it"),
     ({"number": ""}, "Say which sheet."), ({"number": "TQX 1"}, "does not read as a sheet's number"),
     ({"at": "12:01"}, "That time has not come yet."), ({"place": "Z9"}, "There is no stack or shelf called Z9 here."),
     ({"step": "no-such-step"}, "Not a valid choice"), ({"worker": "999"}, "Not a valid choice"),
     ({"at": "08:59"}, "Something else has happened to this sheet since then"),
     ({"step": "weights-on", "number": ""}, "Say of which stack."), ({"step": "weights-on", "place": "P9"}, "There is no stack called P9 here.")],
)  # fmt: skip
def test_each_mistake_is_said_in_its_row_and_nothing_is_written(
    room: Room, manager: FlaskClient, change: dict[str, str], sentence: str
) -> None:
    number = room.sheet_ready()
    room.wait(hours=3)
    answer = send(manager, "/late", **paper(room, {"number": number, "step": "take-up", "at": "10:00", **change}))
    assert answer.status_code == 422 and sentence in words(answer) and 'id="row-1-error"' in answer.text
    assert room.steps(number)[-1] == "arrive-dry"


def test_nobody_named_in_head_or_row_is_asked_for(room: Room, manager: FlaskClient) -> None:
    number = room.sheet_ready()
    room.wait(hours=3)
    row = {"number": number, "step": "take-up", "at": "10:00"}
    assert "Say who did it." in words(send(manager, "/late", **paper(room, row, worker="")))


@pytest.mark.parametrize(
    ("head", "sentence"), [({"day": ""}, "Say of which day it is."), ({"reason": ""}, "Say why; it stays in the log.")]
)
def test_without_its_head_nothing_is_written_and_the_rows_are_kept(
    room: Room, manager: FlaskClient, head: dict[str, str], sentence: str
) -> None:
    number = room.sheet_ready()
    room.wait(hours=3)
    answer = send(manager, "/late", **paper(room, {"number": number, "step": "take-up", "at": "10:00"}, **head))
    assert answer.status_code == 422 and sentence in words(answer) and f'value="{number}"' in answer.text
    assert room.steps(number)[-1] == "arrive-dry"


def test_an_empty_paper_is_said_to_be_empty(room: Room, manager: FlaskClient) -> None:
    answer = send(manager, "/late", **paper(room, {"worker": str(room.worker["olwen"]), "adhesive": "paste"}))
    assert answer.status_code == 422 and "no row is filled in" in words(answer)


# The clocks go back in London on 25 October 2026 (The Summer Time Order 2002): from 01:00 to 02:00 comes twice.
def test_in_the_hour_that_came_twice_the_row_asks_which(room: Room, manager: FlaskClient) -> None:
    room.now = datetime(2026, 10, 24, 21, 0, tzinfo=UTC)
    number = room.sheet_ready()
    room.wait(hours=12)
    row = {"number": number, "step": "take-up", "at": "01:30"}
    answer = send(manager, "/late", **paper(room, row, day="2026-10-25"))
    assert "The clock showed this time twice that night." in words(answer) and 'name="row-1-hour"' in answer.text
    again = {**row, "hour": "second", "scan_id": ids_in(answer)["row-1-scan_id"]}
    assert send(manager, "/late", **paper(room, again, day="2026-10-25")).status_code == 302
    assert room.log(number)[-1]["happened_at"] == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_a_row_sent_again_with_something_else_in_it_is_not_taken_for_the_first(
    room: Room, manager: FlaskClient
) -> None:
    one, other = room.sheet_ready(), room.sheet_ready()
    room.wait(hours=3)
    row = {"step": "take-up", "at": "10:00"}
    assert send(manager, "/late", **paper(room, {**row, "number": one})).status_code == 302
    answer = send(manager, "/late", **paper(room, {**row, "number": other}))
    assert answer.status_code == 422 and "was sent before with something else in it" in words(answer)
    assert room.steps(other)[-1] == "arrive-dry"


def test_hostile_text_in_a_row_stays_text(room: Room, manager: FlaskClient) -> None:
    hostile = "<script>alert(1)</script>\"'{{7*7}}"
    row = {"number": hostile, "step": "take-up", "at": "10:00", "place": hostile, "remarks": hostile}
    answer = send(manager, "/late", **paper(room, row))
    assert answer.status_code == 422 and "<script>alert" not in answer.text and "49" not in words(answer)
