"""The pages of filing: the round live and as a table, the order of families, bringing back, withdrawing and taking in again."""

from __future__ import annotations

import re
from urllib.parse import urlencode

import pytest

from app.domain.stages import Step
from tests.queries.looking import filed
from tests.queries.test_filing import filed as filed_as
from tests.queries.test_filing import passed
from tests.room import Room
from tests.web.conftest import ClientAs, send, words

WENT = "sent in exchange to the Brannholt herbarium"


def test_the_round_marks_what_is_filed_and_is_sent_only_when_it_has_changed(room: Room, client_as: ClientAs) -> None:
    filed_as(room, "Poa annua", "Poaceae", shelf="2")
    room.wait(days=1)
    number = passed(room, "Poa annua", "Poaceae", collector="Ash", record_number="7")
    reader = client_as("reader")
    page = reader.get("/filing")
    assert "Cabinet F1 · 1 to file" in words(page) and "by the log, Poa annua lies there" in words(page)
    asks = re.search(r'hx-get="(/filing\?shown=[^"]+)"', page.text)
    assert asks is not None and reader.get(asks.group(1)).status_code == 204
    room.scans(number, "filing", step=Step.FILE, cabinet="F1", shelf="2")
    news = reader.get(asks.group(1))
    assert news.status_code == 200 and news.text.startswith('<div id="round"') and "all of it is filed" in words(news)
    assert "0 sheets to file, 1 filed today." in words(news)


def test_the_round_is_saved_as_a_table(room: Room, client_as: ClientAs) -> None:
    filed_as(room, "Poa annua", "Poaceae", shelf="2")
    number = passed(room, "Poa annua", "Poaceae")
    answer = client_as("reader").get("/filing.csv")
    assert answer.mimetype == "text/csv" and "filing-round-2026-11-25.csv" in answer.headers["Content-Disposition"]
    lines = answer.get_data().decode("utf-8-sig").splitlines()
    assert lines[1].startswith(f"{number},Poa annua,Poaceae,") and lines[1].endswith(",F1,2,") and len(lines) == 2


def test_the_order_of_families_is_written_with_a_reason_and_its_history_stays(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    answer = send(manager, "/filing/families", families="Poaceae\r\nRosaceae", reason="as the cabinets stand")
    assert answer.status_code == 302
    page = manager.get("/filing/families")
    assert "Poaceae\nRosaceae" in page.text.replace(
        "\r", ""
    ) and "by the alphabet → Poaceae, Rosaceae (as the cabinets stand)" in words(page)
    refused = send(manager, "/filing/families", families="Poaceae\nPoaceae\nViolaceae", reason="more")
    assert refused.status_code == 422 and "stands in the list twice" in refused.text and "Violaceae" in refused.text
    unsaid = send(manager, "/filing/families", families="Violaceae", reason="")
    assert unsaid.status_code == 422 and "Violaceae" in unsaid.text
    assert send(manager, "/filing/families", families="", reason="by the alphabet again").status_code == 302
    assert "By the alphabet" in words(manager.get("/filing/families"))


def test_ticked_in_a_list_they_are_brought_back_with_a_usual_reason(room: Room, client_as: ClientAs) -> None:
    one, two, ready = filed(room), filed(room), room.sheet_ready()
    room.wait(days=1)
    trainer = client_as("trainer")
    assert (
        'formaction="/filing/back"' in trainer.get("/cabinets/F1").text
        and 'formaction="/filing/withdraw"' not in trainer.get("/cabinets/F1").text
    )
    form = trainer.get("/filing/back?" + urlencode({"number": [one, two]}, doseq=True)).text
    assert f"{one}\n{two}" in form.replace("\r", "")
    answer = send(trainer, "/filing/back", numbers=f"{one}\n{two}\n{ready}", why="determination", more="for Dr Ash")
    assert answer.status_code == 302 and answer.location == "/filing"
    assert {room.stage(one), room.stage(two)} == {"dry"} and room.log(one)[-1][
        "reason"
    ] == "To be determined anew: for Dr Ash"
    said = words(trainer.get("/filing"))
    assert "2 sheets are brought back" in said and "It is ready for mounting" in said


def test_something_else_is_said_in_words_and_what_was_typed_is_kept(room: Room, client_as: ClientAs) -> None:
    one = filed(room)
    answer = send(client_as("volunteer"), "/filing/back", numbers=one, why="other", more="")
    assert answer.status_code == 422 and "Say in words why they come back." in answer.text and one in answer.text
    answer = send(client_as("volunteer"), "/filing/back", numbers="nonsense", why="damage", more="a leaf is loose")
    assert (
        answer.status_code == 422
        and "no sheet here has this number" in answer.text
        and 'value="a leaf is loose"' in answer.text
    )
    assert room.stage(one) == "filed"


@pytest.mark.parametrize(
    ("why", "more", "closed_as"),
    [("exchange", "the Brannholt herbarium", WENT), ("destroyed", "", "destroyed"), ("destroyed", "mould", "destroyed: mould"),
     ("given", "Ostrey Museum", "given to Ostrey Museum"), ("other", "stolen", "stolen"), ("exchange", "", None), ("other", " ", None)],
)  # fmt: skip
def test_withdrawn_sheets_say_where_they_went(
    room: Room, client_as: ClientAs, why: str, more: str, closed_as: str | None
) -> None:
    one, manager = filed(room), client_as("manager")
    answer = send(manager, "/filing/withdraw", numbers=one, why=why, more=more)
    assert answer.status_code == (302 if closed_as else 422)
    assert room.row(one)["closed_as"] == closed_as
    if closed_as:
        listed = words(client_as("reader").get("/filing/withdrawn"))
        assert closed_as in listed and "Hedda" not in listed
        assert "by Hedda Brackwater" in words(manager.get("/filing/withdrawn"))


def test_a_withdrawn_sheet_that_was_scanned_needs_a_person_and_is_taken_in_again(
    room: Room, client_as: ClientAs
) -> None:
    number, manager = filed(room), client_as("manager")
    send(manager, "/filing/withdraw", numbers=number, why="exchange", more="the Brannholt herbarium")
    assert "is here again" in manager.get(f"/sheets/{number}").text
    assert "was scanned here since" not in words(manager.get("/board"))
    room.wait(days=30)
    room.scans(number, "intake")
    assert "was withdrawn, and was scanned here since: " + WENT in words(manager.get("/board"))
    assert f"/filing/again?number={number}" in manager.get("/filing/withdrawn").text
    unsaid = send(manager, "/filing/again", number=number, comes_as="mounted", reason="")
    assert unsaid.status_code == 422 and number in unsaid.text
    assert send(manager, "/filing/again", number=number, reason="sent back").status_code == 422
    answer = send(manager, "/filing/again", number=number, comes_as="mounted", reason="they sent it back")
    assert answer.status_code == 302 and answer.location == f"/sheets/{number}" and room.stage(number) == "dry"
    log = words(manager.get(f"/sheets/{number}"))
    assert "they sent it back" in log and WENT in log
    room.wait(minutes=1)
    assert "was scanned here since" not in words(manager.get("/board"))
    wrong = send(manager, "/filing/again", number=number, comes_as="mounted", reason="once more")
    assert wrong.status_code == 422 and "It was never withdrawn" in wrong.text
    assert send(manager, "/filing/again", number="TQX", comes_as="loose", reason="x").status_code == 422
