"""Dangers on pages: said and cleared with a reason, who is named, the signs on doors and labels, and the page of cautions."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import Hazard, NamedFor
from app.domain.hazards import CAUTIONS, DEFERS, SIGN
from app.domain.numbers import COMMANDS
from app.queries.printed import shelf_labels
from app.services.room import add_consignment
from tests.queries.looking import label
from tests.room import Room
from tests.web.conftest import ClientAs, send, words


def standing(room: Room) -> list[tuple[str, bool]]:
    with reading(room.database) as session:
        rows = session.execute(select(Hazard).order_by(Hazard.id)).scalars()
        return [(row.kind, row.cleared_at is None) for row in rows]


def test_said_of_a_sheet_it_stands_on_its_page_and_in_every_answer_and_on_its_slip(
    room: Room, client_as: ClientAs
) -> None:
    number = room.sheet_ready()
    answer = send(client_as("volunteer"), "/hazards", of=number.lower(), kind="irritant", why="sap on the folder")
    assert answer.status_code == 302 and answer.location == f"/sheets/{number}"
    page = words(client_as("manager").get(answer.location))
    assert CAUTIONS["irritant"] in page and DEFERS in page and "sap on the folder" in page and "Olwen Tarrant" in page
    scanned = room.scans(number, "table-1")
    assert scanned.sheet is not None and scanned.sheet.cautions == (CAUTIONS["irritant"],)
    refused = room.scans(number, "press")
    assert refused.sheet is not None and refused.sheet.cautions == (CAUTIONS["irritant"],)
    assert CAUTIONS["irritant"].split(":")[0] in client_as("manager").get(f"/print/slips?numbers={number}").text


def test_said_of_a_consignment_it_travels_with_all_of_it(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        made = add_consignment(session, "QM-3", "Quillmoor bequest")
    label(room, number, consignment_id=made)
    assert send(client_as("trainer"), "/hazards", of="qm-3", kind="naphthalene").status_code == 302
    assert "with all of Quillmoor bequest" in words(client_as("reader").get(f"/sheets/{number}"))
    assert "Quillmoor bequest: naphthalene or PDB smell" in words(client_as("trainer").get("/hazards"))


def test_what_is_neither_is_asked_for_again(room: Room, client_as: ClientAs) -> None:
    answer = send(client_as("trainer"), "/hazards", of="nowhere", kind="spines", why="long ones")
    assert answer.status_code == 422 and 'value="nowhere"' in answer.text and 'value="long ones"' in answer.text


def test_cleared_with_a_reason_by_ticking_or_from_its_page(room: Room, client_as: ClientAs) -> None:
    one, two = room.sheet_ready(), room.sheet_ready()
    trainer = client_as("trainer")
    for number in (one, two):
        send(trainer, "/hazards", of=number, kind="historic")
    trainer.get("/hazards")  # so that what was just said is not said again below
    assert send(trainer, "/hazards/clear", hazard=[1, 2], why="").status_code == 422
    assert send(trainer, "/hazards/clear", why="tested").status_code == 422
    assert standing(room) == [("historic", True), ("historic", True)]
    assert send(client_as("volunteer"), "/hazards/clear", hazard=1, why="tested").status_code == 403
    answer = send(trainer, "/hazards/clear", hazard=1, why="tested, none found")
    assert answer.location == f"/sheets/{one}" and standing(room) == [("historic", False), ("historic", True)]
    page = words(trainer.get(answer.location))
    assert "tested, none found" in page and CAUTIONS["historic"] not in page
    assert send(trainer, "/hazards/clear", hazard=[1, 2], why="all tested").status_code == 302
    assert standing(room) == [("historic", False), ("historic", False)]


def test_the_manager_names_and_leaves_off_and_nobody_is_asked_why(room: Room, client_as: ClientAs) -> None:
    manager = client_as("manager")
    for of in ({"worker_id": room.worker["piet"]}, {"station_id": room.station["table-1"]}):
        assert send(manager, "/hazards/named", deed="name", **of).status_code == 302
    with reading(room.database) as session:
        assert session.query(NamedFor).filter(NamedFor.ended_at.is_(None)).count() == 2
    assert "Piet Lindqvist named since" in words(manager.get("/hazards"))
    assert "Named for suspected sheets" not in client_as("trainer").get("/hazards").text
    assert send(client_as("trainer"), "/hazards/named", deed="name", worker_id=1).status_code == 403
    send(manager, "/hazards/named", deed="leave", worker_id=room.worker["piet"])
    with reading(room.database) as session:
        assert session.query(NamedFor).filter(NamedFor.ended_at.is_(None)).count() == 1
    assert send(manager, "/hazards/named", deed="name", worker_id=999).status_code == 302


def test_doors_and_labels_carry_the_sign_where_such_sheets_lie_and_nowhere_else(
    room: Room, client_as: ClientAs
) -> None:
    number = room.sheet_ready()
    manager = client_as("manager")
    assert SIGN not in manager.get("/cabinets").text
    send(manager, "/hazards", of=number, kind="historic")
    manager.get("/hazards")
    for address in ("/cabinets", "/cabinets/M1"):
        assert SIGN in manager.get(address).text
    assert SIGN not in manager.get("/cabinets/F1").text
    with reading(room.database) as session:
        signed = [(each.cabinet, each.shelf) for each in shelf_labels(session) if each.sign.startswith(SIGN)]
    assert signed == [("M1", ""), ("M1", "1")]
    assert SIGN in manager.get("/print/shelves?cabinet=M1").text
    send(manager, "/hazards/clear", hazard=1, why="tested")
    assert SIGN not in manager.get("/cabinets/M1").text


def test_the_card_says_it_of_the_sheet_last_scanned(room: Room) -> None:
    number, card = room.sheet_ready(), COMMANDS["danger"]
    assert room.scans(card, "table-2").kind == "stop"
    room.scans(number, "table-1")
    asked = room.scans(card, "table-1")
    assert len(asked.choices) == len(CAUTIONS)
    answer = room.scans(card, "table-1", facts={"danger": "spines"})
    assert answer.kind == "done" and answer.next == CAUTIONS["spines"] and DEFERS in answer.lines
    assert answer.sheet is not None and answer.sheet.number == number and standing(room) == [("spines", True)]


@pytest.mark.parametrize("role", ["reader", "volunteer", "trainer", "manager"])
def test_the_cautions_of_the_whole_work_are_for_everybody_and_defer(client_as: ClientAs, role: str) -> None:
    page = words(client_as(role).get("/cautions"))
    assert DEFERS in page
    for asked in (
        "Weights",
        "Blades",
        "Freezer",
        "mercury and arsenic",
        "Mould",
        "Irritant",
        "Spines",
        "pins",
        "PDB",
        "Dust",
        "olvents",
    ):
        assert asked in page, asked
    for caution in CAUTIONS.values():
        assert caution in page
