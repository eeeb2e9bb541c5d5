"""Taking in by hand: one plant after the other on a page, and a run of numbers with its slips."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient
from sqlalchemy import func, select

from app.db.engine import reading, transaction
from app.db.models import Hazard, Sheet
from app.domain.stages import Stage
from app.services import room as setting_up
from tests.queries.looking import page_of
from tests.room import Room
from tests.services.days import differences
from tests.web.conftest import ClientAs, send, words

ORCHID: dict[str, Any] = {
    "name": "Dactylorhiza maculata", "family": "Orchidaceae", "collector": "A. Birkrigg", "record_number": "212",
    "event_date": "2026-07-03", "locality": "wet heath", "consignment": "QF", "came": "fresh", "bulk": "ordinary", "parts": "1",
    "label": "y",
}  # fmt: skip


@pytest.fixture(autouse=True)
def parcel(room: Room) -> None:
    """A consignment that has come."""
    with transaction(room.database) as session:
        setting_up.add_consignment(session, "QF", "Quillmoor Fells survey")


def sheets(room: Room) -> int:
    with reading(room.database) as session:
        return int(session.execute(select(func.count()).select_from(Sheet)).scalar_one())


def value_of(text: str, name: str) -> str:
    """What stands in a field of a page."""
    field = re.search(rf'<input[^>]*name="{name}"[^>]*>', text)
    assert field, name
    found = re.search(r'value="([^"]*)"', field[0])
    return found[1] if found else ""


def test_a_plant_is_taken_in_and_the_next_begins_with_what_was_said(room: Room, client_as: ClientAs) -> None:
    browser = client_as("volunteer")
    answer = send(browser, "/intake/plant", **ORCHID, hazards=["spines"])
    assert answer.status_code == 302
    page = browser.get(answer.location)
    number = parse_qs(urlsplit(answer.location).query)["after"][0]
    assert page_of(room, number).plant == "Dactylorhiza maculata" and f"numbers={number}" in page.text
    assert [value_of(page.text, name) for name in ("collector", "event_date", "locality")] == [
        "A. Birkrigg",
        "2026-07-03",
        "wet heath",
    ]
    assert [value_of(page.text, name) for name in ("name", "record_number")] == ["", ""]
    assert '<option selected value="QF">' in page.text
    more = browser.get(f"/intake/plant?after={number}&same=1").text
    assert [value_of(more, name) for name in ("name", "record_number", "family")] == [
        "Dactylorhiza maculata",
        "212",
        "Orchidaceae",
    ]
    with reading(room.database) as session:
        assert session.execute(select(Hazard.kind)).scalars().all() == ["spines"]
    assert differences(room.database) == []


def test_a_page_sent_twice_takes_in_one(room: Room, client_as: ClientAs) -> None:
    browser = client_as("volunteer")
    places = {send(browser, "/intake/plant", **ORCHID, scan_id="the same").location for _ in range(2)}
    assert len(places) == 1 and sheets(room) == 1


@pytest.mark.parametrize("wrong, said", [
    ({"came": "dry"}, "Feel it."), ({"parts": "21"}, "between 1 and 20"), ({"parts": ""}, "Say how many"),
    ({"pressed_on": "2026-12-24"}, "still to come"), ({"event_date": "2026-12-24"}, "still to come"),
    ({"number": "TQX 000001"}, "not a sheet's number"), ({"consignment": "nowhere"}, "Not a valid choice"),
])  # fmt: skip
def test_what_is_wrong_is_said_and_what_was_typed_is_kept(
    room: Room, client_as: ClientAs, wrong: dict[str, str], said: str
) -> None:
    answer = send(client_as("volunteer"), "/intake/plant", **{**ORCHID, **wrong})
    assert answer.status_code == 422 and said in words(answer)
    assert value_of(answer.text, "name") == "Dactylorhiza maculata" and value_of(answer.text, "locality") == "wet heath"
    assert sheets(room) == 0


def test_what_came_dry_is_felt_and_goes_on(room: Room, client_as: ClientAs) -> None:
    answer = send(client_as("volunteer"), "/intake/plant", **{**ORCHID, "came": "dry", "felt": "y"})
    number = parse_qs(urlsplit(answer.location).query)["after"][0]
    assert room.stage(number) == Stage.READY


def test_a_label_that_is_not_there_is_waited_for(room: Room, client_as: ClientAs) -> None:
    answer = send(
        client_as("volunteer"), "/intake/plant", **{key: value for key, value in ORCHID.items() if key != "label"}
    )
    number = parse_qs(urlsplit(answer.location).query)["after"][0]
    assert room.row(number)["holds"] == "label-to-come"


def test_three_sheets_of_one_plant_get_three_slips(room: Room, client_as: ClientAs) -> None:
    browser = client_as("volunteer")
    page = browser.get(send(browser, "/intake/plant", **{**ORCHID, "parts": "3"}).location)
    found = re.search(r'href="(/print/slips\?numbers=[^"]+)"', page.text)
    assert found and "write “2 of 3” on it" in words(page)
    printed = words(browser.get(found[1].replace("&amp;", "&")))
    assert [part in printed for part in ("Sheet 1 of 3", "Sheet 2 of 3", "Sheet 3 of 3")] == [True] * 3


@pytest.mark.parametrize("paper, said", [("a4", "A4"), ("letter", "Letter")])
def test_a_run_opens_the_slips_of_exactly_its_numbers(room: Room, client_as: ClientAs, paper: str, said: str) -> None:
    browser = client_as("volunteer")
    room.sheet_ready()
    answer = send(browser, "/intake/run", consignment="QF", many="12", came="fresh", bundle="", paper=paper)
    assert answer.status_code == 302 and answer.location.startswith("/print/slips?")
    asked = parse_qs(urlsplit(answer.location).query)
    assert asked["paper"] == [paper] and len(asked["numbers"][0].split(",")) == 12
    page = browser.get(answer.location)
    assert f"12 slips on 2 pages · {said}" in words(page)
    assert page.text.count('class="printed-code"') == 12
    assert sheets(room) == 13 and differences(room.database) == []


@pytest.mark.parametrize("many", ["", "0", "201", "many"])
def test_a_run_of_no_number_is_refused_on_its_page(room: Room, client_as: ClientAs, many: str) -> None:
    answer = send(
        client_as("volunteer"), "/intake/run", consignment="QF", many=many, came="fresh", bundle="", paper="a4"
    )
    assert answer.status_code == 422 and "field-error" in answer.text and sheets(room) == 0


def test_at_a_station_those_who_work_there_take_in(room: Room, station_client: ClientAs) -> None:
    browser = station_client("intake")
    assert "/intake/plant" in browser.get("/station").text
    page = browser.get("/intake/plant")
    answer = _send_from(browser, page.text, **ORCHID)
    assert answer.status_code == 302
    number = parse_qs(urlsplit(answer.location).query)["after"][0]
    entry = room.log(number)[0]
    assert entry["station_id"] == room.station["intake"]
    assert "Rosamund Ashgill" in " ".join(line.sentence for line in page_of(room, number, by_names=True).log)


def test_nobody_signed_in_at_the_station_is_asked_for_a_badge(room: Room, station_client: ClientAs) -> None:
    browser = station_client("intake")
    page = browser.get("/intake/plant").text
    _send_from(browser, page, path="/station/sign-out")
    answer = _send_from(browser, page, **ORCHID)
    assert answer.status_code == 422 and "Nobody is signed in here." in words(answer) and sheets(room) == 0


def test_a_number_alone_from_the_station_is_told_on_the_page(room: Room, client_as: ClientAs) -> None:
    number = room.new_number()
    room.scans(number, "intake")
    browser = client_as("volunteer")
    assert value_of(browser.get(f"/intake/plant?number={number}").text, "number") == number
    assert send(browser, "/intake/plant", **ORCHID, number=number).status_code == 302
    assert page_of(room, number).plant == "Dactylorhiza maculata" and sheets(room) == 1


def test_readers_take_nothing_in(room: Room, client_as: ClientAs) -> None:
    assert client_as("reader").get("/intake/plant").status_code == 403
    assert send(client_as("reader"), "/intake/run", consignment="QF", many="3").status_code == 403
    assert sheets(room) == 0


def _send_from(browser: FlaskClient, page: str, path: str = "/intake/plant", **data: Any) -> Any:
    csrf = re.search(r'name="csrf_token" value="([^"]+)"', page)
    assert csrf
    return browser.post(path, data={"csrf_token": csrf[1], **data})
