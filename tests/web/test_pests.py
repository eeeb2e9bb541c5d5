"""The pages of pests: somebody says that one was seen, the manager looks at what lay beside it, and holds it all at once."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.db.engine import reading
from app.domain.stages import Step
from app.queries.board import board
from tests.room import Room
from tests.services.pest_room import sighting, sightings
from tests.web.conftest import ClientAs, send, words


@pytest.fixture
def three(room: Room) -> tuple[str, str, str]:
    found = room.sheet_ready(), room.sheet_ready(), room.sheet_ready()
    room.wait(days=2)
    return found


@pytest.mark.parametrize("role", ["reader", "volunteer", "trainer", "manager"])
def test_whoever_is_signed_in_may_say_so(
    room: Room, three: tuple[str, str, str], client_as: ClientAs, role: str
) -> None:
    answer = send(client_as(role), "/pests", on=three[0].lower(), reason="a larva")
    assert answer.status_code == 302 and room.row(three[0])["holds"] == "quarantine"
    assert room.log(three[0])[-1]["reason"] == "A pest was seen on it. a larva"
    assert "not yet in quarantine" in words(client_as(role).get("/pests"))


def test_what_nobody_knows_is_asked_for_again_and_kept(room: Room, client_as: ClientAs) -> None:
    answer = send(client_as("volunteer"), "/pests", on="Cabinet of nowhere", reason="frass")
    assert answer.status_code == 422 and 'value="Cabinet of nowhere"' in answer.text and 'value="frass"' in answer.text
    assert sightings(room) == []


def test_a_cabinet_by_its_name(room: Room, three: tuple[str, str, str], client_as: ClientAs) -> None:
    assert send(client_as("volunteer"), "/pests", on="m1").status_code == 302
    assert {room.row(number)["holds"] for number in three} == {"quarantine"}


def test_the_manager_sees_what_lay_beside_it_and_holds_all_but_one(
    room: Room, three: tuple[str, str, str], client_as: ClientAs
) -> None:
    sick, beside, spared = three
    room.scans(sick, "press", step=Step.QUARANTINE)
    manager = client_as("manager")
    address = f"/pests/{sighting(room).id}"
    page = words(manager.get(address))
    assert "3 sheets" in page and "2 of them not in quarantine" in page and "M1, shelf 1" in page
    listed = {"listed": [beside, spared], "hold": [beside]}
    assert send(manager, f"{address}/quarantine", reason="beetles", **listed).status_code == 422
    answer = send(manager, f"{address}/quarantine", reason="beetles", spared="was never in the folder", **listed)
    assert answer.status_code == 302
    assert [room.row(number)["holds"] for number in three] == ["quarantine", "quarantine", ""]
    assert "1 of them not in quarantine" in words(manager.get(address))
    assert send(manager, f"{address}/close", reason="").status_code == 422
    assert send(manager, f"{address}/close", reason="all frozen").status_code == 302
    assert sighting(room).why == "all frozen"


def test_it_is_asked_since_when(room: Room, three: tuple[str, str, str], client_as: ClientAs) -> None:
    sick, beside, _ = three
    room.scans(beside, "table-1")
    room.wait(days=3)
    room.scans(sick, "press", step=Step.QUARANTINE)
    address = f"/pests/{sighting(room).id}"
    manager = client_as("manager")
    assert "3 sheets" in words(manager.get(address))
    since = (room.now - timedelta(days=1)).date()
    assert "2 sheets" in words(manager.get(f"{address}?since={since}"))
    assert manager.get(f"{address}?since=nonsense").status_code == 200
    assert manager.get("/pests/99").status_code == 404


def test_others_see_the_list_but_no_names_and_no_deed(
    room: Room, three: tuple[str, str, str], client_as: ClientAs
) -> None:
    room.scans(three[0], "press", step=Step.QUARANTINE)
    address = f"/pests/{sighting(room).id}"
    for role, sees in (("volunteer", False), ("manager", True)):
        page = client_as(role).get(address)
        assert ("Olwen Tarrant" in page.text.split("<main")[1]) is sees
        assert ("Put them in quarantine" in page.text) is sees


def test_it_needs_a_person_until_it_is_closed_first_of_all(room: Room, three: tuple[str, str, str]) -> None:
    room.scans(three[0], "press", step=Step.QUARANTINE)
    with reading(room.database) as session:
        need = board(session, room.now, room.zone).needs[0]
    assert (need.kind, need.href_kind, need.href_id, need.key) == ("pest-seen", "pest", str(sighting(room).id), "")
    assert need.is_grave and need.what == "a pest was seen; its neighbours are not in quarantine"
