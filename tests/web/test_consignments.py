"""The pages of consignments, from the parcel to the printed answer."""

from __future__ import annotations

import csv
import io

from app.db.engine import transaction
from app.domain.stages import Step
from app.services.room import set_at_station
from tests.queries.looking import filed, label
from tests.room import Room
from tests.web.conftest import ClientAs, send, words

PARCEL = {"code": "G-1", "name": "Gift of M. Thornlea", "kind": "gift", "source": "M. Thornlea", "arrived_on": "2026-11-20",
          "sheets_said": "3", "papers": "letter of 3 November", "note": "in her own folders"}  # fmt: skip


def at_intake(room: Room) -> None:
    """What is taken in from now on came with the first consignment."""
    with transaction(room.database) as session:
        set_at_station(session, room.station["intake"], consignment_id=1)


def test_a_parcel_is_put_on_the_list_and_has_a_page(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    assert "No consignment is on the list yet" in words(manager.get("/consignments"))
    answer = send(manager, "/consignments", **PARCEL)
    assert answer.status_code == 302 and answer.location == "/consignments/G-1"
    page = words(manager.get("/consignments/G-1"))
    for said in ("gift, from M. Thornlea", "3 said, 0 here: 3 missing or miscounted.", "letter of 3 November",
                 "in her own folders", "Nothing of it is taken in yet."):  # fmt: skip
        assert said in page
    assert "3 said, 0 here: 3 missing" in words(client_as("reader").get("/consignments"))
    assert manager.get("/consignments/nothing").status_code == 404


def test_what_is_wrong_is_said_and_what_was_typed_stays(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    answer = send(manager, "/consignments", **{**PARCEL, "code": "G 1", "sheets_said": "-4"})
    assert answer.status_code == 422 and "Letters, digits, dots and hyphens only." in answer.text
    assert "between 0 and" in answer.text and 'value="letter of 3 November"' in answer.text
    send(manager, "/consignments", **PARCEL)
    again = send(manager, "/consignments", **PARCEL)
    assert again.status_code == 422 and "There is a consignment called G-1 already." in again.text
    right = {name: value for name, value in PARCEL.items() if name != "code"}
    changed = send(manager, "/consignments/G-1/change", **{**right, "papers": "a list, too"})
    assert (
        changed.status_code == 422
        and "Say why it is put right" in changed.text
        and 'value="a list, too"' in changed.text
    )
    done = send(manager, "/consignments/G-1/change", **{**right, "papers": "a list, too", "why": "found in the lid"})
    assert done.status_code == 302
    page = words(manager.get("/consignments/G-1"))
    assert "papers: a list, too, before: letter of 3 November" in page and "found in the lid" in page


def test_it_is_counted_by_a_volunteer_and_names_are_for_those_who_see_names(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    send(manager, "/consignments", **PARCEL)
    at_intake(room)
    for _ in range(2):
        room.sheet_ready()
    answer = send(client_as("volunteer"), "/consignments/G-1/count", counted="3")
    assert answer.status_code == 302
    page = words(manager.get("/consignments/G-1"))
    assert "3 counted, 2 here: one missing or miscounted." in page and "by Olwen Tarrant" in page
    assert "Olwen" not in words(client_as("reader").get("/consignments/G-1"))
    assert send(manager, "/consignments/G-1/count", counted="").status_code == 422


def test_a_danger_of_all_of_it_is_said_and_cleared_with_a_reason(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    send(manager, "/consignments", **PARCEL)
    send(manager, "/consignments", **{**PARCEL, "code": "G-2"})
    assert send(manager, "/consignments/G-1/danger", kind="mould", why="grey spots").status_code == 302
    page = words(manager.get("/consignments/G-1"))
    assert "Mould: gloves and mask" in page and "grey spots" in page
    assert send(manager, "/consignments/G-1/clear", hazard="1", why="").status_code == 422
    other = send(manager, "/consignments/G-2/clear", hazard="1", why="dry dust")
    assert other.status_code == 422 and "Choose which danger" in other.text
    assert send(manager, "/consignments/G-1/clear", hazard="1", why="dry dust").status_code == 302
    page = words(manager.get("/consignments/G-1"))
    assert "Mould: cleared" in page and "dry dust" in page and "gloves and mask" not in page


def test_holds_and_what_is_left_are_named_and_it_is_closed_when_nothing_waits(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    send(manager, "/consignments", **{**PARCEL, "sheets_said": "1"})
    at_intake(room)
    number = room.sheet_ready(label=False)
    page = manager.get("/consignments/G-1")
    assert "Label to come: 1 sheet" in words(page) and "/holds?kind=label-to-come&amp;consignment=G-1" in page.text
    assert "1 sheet is still to be done" in words(page)
    refused = send(manager, "/consignments/G-1/close", why="done")
    assert refused.status_code == 422 and "1 sheet waits still" in refused.text
    room.scans(number, who="hedda", step=Step.WITHDRAW, manages=True, reason="not to be kept")
    assert send(manager, "/consignments/G-1/close", why="").status_code == 302
    assert "closed" in words(manager.get("/consignments"))
    assert send(manager, "/consignments/G-1/close", deed="open", why="").status_code == 422
    assert send(manager, "/consignments/G-1/close", deed="open", why="one more").status_code == 302


def test_the_answer_says_what_became_of_each_and_nothing_that_is_nobodys_business(
    room: Room, client_as: ClientAs
) -> None:
    manager = client_as("manager")
    send(manager, "/consignments", **PARCEL)
    at_intake(room)
    stored, waits, gone = filed(room), room.sheet_ready(), room.sheet_ready()
    for number, record in ((stored, "9"), (waits, "10"), (gone, "11")):
        label(room, number, "Carex binervis", "T. Askerdale", record_number=record, locality="Skarn Tarn, east shore",
              is_sensitive=True, notes="behind the second wall")  # fmt: skip
    reason = "not to be kept: Rosamund Ashgill found beetles"
    room.scans(gone, who="hedda", step=Step.WITHDRAW, manages=True, reason=reason)
    letter = client_as("volunteer").get("/consignments/G-1/answer")
    said = words(letter)
    for words_ in ("To M. Thornlea", "3 sheets of it are on our list", "1 filed in the collection", "1 waiting to be mounted",
                   "1 withdrawn: not kept in the collection", "Wednesday 25 Nov 2026"):  # fmt: skip
        assert words_ in said, words_
    assert said.index("9 T. Askerdale") < said.index("10 T. Askerdale") < said.index("11 T. Askerdale")
    body = letter.text[letter.text.index('class="letter"') :]
    table = client_as("volunteer").get("/consignments/G-1/answer.csv")
    for text in (body, table.text):
        for secret in ("Skarn", "second wall", "Ashgill", "beetles", "M1", "F1", "shelf", "Hedda", "Olwen"):
            assert secret not in text, secret
    rows = list(csv.DictReader(io.StringIO(table.text.lstrip("\ufeff"))))
    assert [(row["recordNumber"], row["catalogNumber"], row["whatBecameOfIt"]) for row in rows] == [
        ("9", stored, "filed in the collection"),
        ("10", waits, "waiting to be mounted"),
        ("11", gone, "withdrawn: not kept in the collection"),
    ]
    assert client_as("reader").get("/consignments/nothing/answer").status_code == 404
    assert client_as("reader").get("/consignments/nothing/answer.csv").status_code == 404


def test_the_list_goes_on_page_by_page_with_what_is_open_first(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    for each in range(43):
        send(manager, "/consignments", **{**PARCEL, "code": f"G-{each}", "name": f"Gift {each}", "sheets_said": ""})
    send(manager, "/consignments/G-42/close", why="nothing came")
    first = manager.get("/consignments").text
    assert "Gift 41<" in first and "Gift 2<" in first and "Gift 42<" not in first and "Gift 1<" not in first
    mark = first.partition("after=")[2].partition('"')[0]
    second = manager.get(f"/consignments?after={mark}").text
    assert "Gift 1<" in second and "Gift 0<" in second and "Gift 42<" in second and "Gift 2<" not in second
    assert second.index("Gift 0<") < second.index("Gift 42<")
    assert "Gift 41<" in manager.get("/consignments?after=nonsense").text


def test_intake_leads_to_them(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    assert 'href="/consignments"' in manager.get("/intake").text
    send(manager, "/consignments", **PARCEL)
    page = manager.get("/intake").text
    assert 'href="/consignments/G-1"' in page and 'href="/consignments#new"' in page
