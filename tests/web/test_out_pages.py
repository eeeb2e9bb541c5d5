"""The page Hand on: files that are what was asked for, hand-overs from the first to the receipt, and nothing for others."""

from __future__ import annotations

import csv
import io
import zipfile
from xml.etree import ElementTree

import pytest
from flask.testing import FlaskClient

from app.db.engine import transaction
from app.domain.stages import Step
from app.services.room import add_consignment
from tests.queries.looking import filed, label
from tests.room import Room
from tests.services.going_out import archived, hands_over, log_of, table, told_in
from tests.web.conftest import ClientAs, send, words


@pytest.fixture
def browser(room: Room, client_as: ClientAs) -> FlaskClient:
    return client_as("manager")


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"))))


# -- files ----------------------------------------------------------------------------------------------------------
def test_the_files_are_those_that_the_room_makes(room: Room, browser: FlaskClient) -> None:
    done = filed(room)
    label(room, done, "Caltha palustris", locality="the fen")
    room.sheet_ready()
    got = browser.get("/out/sheets.csv")
    assert (
        got.data == table(room)
        and got.headers["Content-Disposition"] == 'attachment; filename="blotter-sheets-2026-11-25.csv"'
    )
    assert browser.get("/out/sheets.csv?no_mark=y").data == table(room, bom=False)
    assert [row["catalogNumber"] for row in rows_of(browser.get("/out/sheets.csv?stage=filed&cabinet=F1").text)] == [
        done
    ]
    packed = browser.get("/out/archive.zip")
    with zipfile.ZipFile(io.BytesIO(packed.data)) as archive, zipfile.ZipFile(io.BytesIO(archived(room))) as own:
        assert archive.read("occurrence.txt") == own.read("occurrence.txt") and archive.namelist() == own.namelist()
    traces = ElementTree.fromstring(browser.get("/out/log.xes").data).findall("trace")
    assert len(traces) == len(ElementTree.fromstring(log_of(room)).findall("trace")) == 2
    assert b"org:resource" in browser.get("/out/log.xes?workers=y").data


def test_places_of_sensitive_plants_go_only_where_the_box_is_ticked(room: Room, browser: FlaskClient) -> None:
    label(room, filed(room), locality="by the well", is_sensitive=True)
    assert b"by the well" not in browser.get("/out/sheets.csv").data + browser.get("/out/archive.zip").data
    assert b"by the well" in browser.get("/out/sheets.csv?exact_places=y").data


@pytest.mark.parametrize("address, said, kept", [
    ("/out/sheets.csv?consignment=NONE", "There is no consignment called NONE", 'value="NONE"'),
    ("/out/archive.zip?cabinet=Z9", "Not a valid choice", "Hand on"),
    ("/out/log.xes?since=yesterday&consignment=X", "Give the day as 2026-11-25", 'value="X"'),
    ("/out/log.xes?since=2026-11-02&until=2026-11-01", "The last day lies before the first", 'value="2026-11-02"')])  # fmt: skip
def test_what_cannot_be_is_said_on_the_page_and_what_was_asked_stays(
    browser: FlaskClient, address: str, said: str, kept: str
) -> None:
    answer = browser.get(address)
    assert answer.status_code == 422 and said in words(answer) and kept in answer.text
    assert "Content-Disposition" not in answer.headers


def test_one_consignment_goes_alone(room: Room, browser: FlaskClient) -> None:
    with transaction(room.database) as session:
        consignment = add_consignment(session, "QF", "Quillmoor Fells survey")
    mine = room.sheet_ready()
    room.sheet_ready()
    label(room, mine, consignment_id=consignment)
    assert [row["catalogNumber"] for row in rows_of(browser.get("/out/sheets.csv?consignment=+QF+").text)] == [mine]


# -- hand-overs -----------------------------------------------------------------------------------------------------
def test_a_hand_over_from_what_lies_ready_to_the_receipt(room: Room, browser: FlaskClient) -> None:
    assert "Nothing is filed yet. What is filed lies ready here" in words(browser.get("/out"))
    number = filed(room)
    filed(room)
    assert "2 sheets filed" in words(browser.get("/out"))
    answer = send(browser, "/out/hand-overs", to_whom="Ida Thwaite")
    assert answer.status_code == 302 and answer.location == "/out"
    page = words(browser.get("/out"))
    assert "Hand-over 1 is made." in page and "Ida Thwaite" in page and "not yet received" in page
    before = [browser.get(f"/out/hand-overs/1.{kind}").data for kind in ("csv", "zip")]
    assert before == [told_in(room, 1)[0].encode(), _archive(room, browser)]
    assert "Hand-over 1," in words(browser.get(f"/sheets/{number}"))
    room.scans(number, step=Step.BRING_BACK, who="hedda", reason="damage was seen", manages=True)
    assert "1 sheet told otherwise than before" in words(browser.get("/out"))
    assert send(browser, "/out/hand-overs/1/received", who="The keeper").status_code == 302
    assert "received by The keeper" in words(browser.get("/out"))
    assert [browser.get(f"/out/hand-overs/1.{kind}").data for kind in ("csv", "zip")] == before
    send(browser, "/out/hand-overs", to_whom="Ida Thwaite")
    assert "corrects hand-over 1: where it stands, its shelf" in words(browser.get(f"/sheets/{number}"))


def test_the_last_one_is_called_back_with_a_reason(room: Room, browser: FlaskClient) -> None:
    number = filed(room)
    hands_over(room)
    answer = send(browser, "/out/hand-overs/1/called-back", why="")
    assert answer.status_code == 422 and "Say why" in words(answer)
    assert send(browser, "/out/hand-overs/1/called-back", why="the wrong folder").status_code == 302
    page = words(browser.get("/out"))
    assert "called back" in page and "the wrong folder" in page and "1 sheet filed" in page
    assert "Handed over" not in words(browser.get(f"/sheets/{number}"))
    again = send(browser, "/out/hand-overs/1/received", who="Ida")
    assert again.status_code == 422


def test_what_was_typed_stays_where_something_is_missing(room: Room, browser: FlaskClient) -> None:
    filed(room)
    nobody = send(browser, "/out/hand-overs", to_whom="")
    assert nobody.status_code == 422 and "Say who takes it." in words(nobody)
    hands_over(room)
    none = send(browser, "/out/hand-overs/1/received", who="")
    assert none.status_code == 422 and "Say who received it." in words(none)
    nothing = send(browser, "/out/hand-overs", to_whom="Ida")
    assert nothing.status_code == 422 and "Nothing was filed or changed" in words(nothing)
    assert browser.get("/out/hand-overs/9.csv").status_code == browser.get("/out/hand-overs/9.zip").status_code == 404


def test_only_the_manager_hands_on(client_as: ClientAs) -> None:
    for role in ("trainer", "volunteer", "reader"):
        asking = client_as(role)
        assert {
            asking.get(each).status_code for each in ("/out", "/out/sheets.csv", "/out/archive.zip", "/out/log.xes")
        } == {403}, role


def _archive(room: Room, browser: FlaskClient) -> bytes:
    """A hand-over as the pages call it; only the title differs from what the tests' own is called."""
    data = browser.get("/out/hand-overs/1.zip").data
    with zipfile.ZipFile(io.BytesIO(data)) as archive, zipfile.ZipFile(io.BytesIO(told_in(room, 1)[1])) as own:
        assert archive.read("occurrence.txt") == own.read("occurrence.txt") and archive.read("meta.xml") == own.read(
            "meta.xml"
        )
    return data
