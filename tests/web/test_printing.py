"""The pages that are printed and cut up, and the way to them."""

from __future__ import annotations

import re

from flask.testing import FlaskClient

from app.db.engine import transaction
from app.domain.hazards import DEFERS
from app.domain.numbers import COMMANDS
from app.services.room import add_hazard
from tests.queries.looking import label
from tests.room import Room
from tests.web.conftest import ClientAs, words

KINDS = ("slips", "shelves", "stacks", "badges", "cards", "bundles", "stations", "lots", "loads")


def numbers_on(text: str) -> list[str]:
    """The codes that stand in type beside the drawn ones, as they are kept."""
    return [re.sub(r"[ ·]", "", each) for each in re.findall(r'class="printed-number">([^<]+)<', text)]


def offered(browser: FlaskClient) -> list[str]:
    return re.findall(r'name="kind" value="(\w+)"', browser.get("/print").text)


def test_badges_are_offered_to_the_manager_only(client_as: ClientAs, station_client: ClientAs) -> None:
    assert offered(client_as("manager")) == list(KINDS)
    for browser in (client_as("volunteer"), client_as("reader"), station_client("intake")):
        assert offered(browser) == [kind for kind in KINDS if kind != "badges"]
        assert browser.get("/print/badges").status_code == 403
        assert browser.get("/print?kind=badges").status_code == 200


def test_choosing_leads_to_the_pages_with_what_was_chosen(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    answer = client_as("volunteer").get("/print?kind=slips&paper=letter&symbol=128&consignment=&numbers=" + number)
    assert answer.status_code == 302 and answer.location == f"/print/slips?paper=letter&symbol=128&numbers={number}"
    page = client_as("volunteer").get(answer.location).text
    assert numbers_on(page) == [number] and "printed-as-128" in page and 'width="215.9mm"' in page


def test_what_is_wrong_is_said_and_what_was_typed_is_kept(client_as: ClientAs) -> None:
    browser = client_as("volunteer")
    for path, said in (("/print/slips?paper=letter&numbers=TQX+nine", "“TQX nine” is not a sheet's number here"),
                       ("/print/slips?paper=a4", "Say for which sheets"), ("/print/shelves?cabinet=Z9", "There is no cabinet called Z9"),
                       ("/print/cards?paper=a5", "There is no paper called a5"), ("/print/cards?symbol=ean", "There is no code called ean")):  # fmt: skip
        answer = browser.get(path)
        assert answer.status_code == 422 and said in words(answer), path
    assert browser.get("/print/slips").location == "/print"
    kept = browser.get("/print/slips?paper=letter&numbers=TQX+nine").text
    assert ">TQX nine</textarea>" in kept and 'value="letter" checked' in kept


def test_an_address_with_more_in_it_than_these_pages_ask_is_no_fault(client_as: ClientAs) -> None:
    browser = client_as("volunteer")
    for path in ("/print/cards", "/print?kind=cards&paper=letter"):
        mark = "&" if "?" in path else "?"
        answer = browser.get(f"{path}{mark}_scheme=x&_anchor=y&endpoint=z&worker=nobody&after=1")
        assert answer.status_code == (302 if "kind" in path else 200) and "_scheme" not in (answer.location or "")


def test_each_kind_carries_its_codes_and_each_stack_both_sides(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("manager")
    stacks = [room.code(side, name) for name in ("P1", "P2", "P3") for side in ("on", "off")]
    assert numbers_on(browser.get(f"/print/slips?q={number}").text) == [number]
    assert numbers_on(browser.get("/print/stacks").text) == stacks
    assert numbers_on(browser.get("/print/stacks?stack=P2").text) == stacks[2:4]
    assert room.code("shelf", "F1/4") in numbers_on(browser.get("/print/shelves").text)
    assert set(numbers_on(browser.get("/print/badges").text)) == {room.code("badge", who) for who in room.worker}
    assert numbers_on(browser.get(f"/print/badges?worker={room.worker['piet']}").text) == [room.code("badge", "piet")]


def test_a_command_card_is_printed_when_scanning_it_does_something(room: Room, client_as: ClientAs) -> None:
    found = numbers_on(client_as("volunteer").get("/print/cards").text)
    unused = {code for code in COMMANDS.values() if "This card is not used here." in room.scans(code, "table-1").lines}
    assert found == [code for code in COMMANDS.values() if code not in unused] and len(found) >= 11


def test_no_locality_is_on_a_slip_and_cautions_come_with_what_comes_first(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("manager")
    label(room, number, plant="Drosera anglica", locality="the third gully north of the hut")
    plain = browser.get(f"/print/slips?q={number}").text
    assert "Drosera anglica" in plain and "gully" not in plain and "General cautions" not in plain
    with transaction(room.database) as session:
        add_hazard(session, "spines", room.now, sheet_id=room.row(number)["id"])
    warned = words(browser.get(f"/print/slips?q={number}"))
    assert "Spines: thick gloves." in warned and DEFERS in warned


def test_a_sheet_without_a_name_has_room_to_write_it(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    assert client_as("volunteer").get(f"/print/slips?numbers={number}").text.count("printed-blank") == 2


def test_nothing_to_print_is_said(client_as: ClientAs) -> None:
    answer = client_as("volunteer").get("/print/slips?stage=mounted")
    assert answer.status_code == 200 and "No sheet like that needs a slip now." in words(answer)
    assert 'class="leaf"' not in answer.text


def test_the_pages_that_show_codes_lead_to_the_printed_ones(room: Room, client_as: ClientAs) -> None:
    browser, piet = client_as("manager"), room.worker["piet"]
    room.sheet_ready()
    for path, way in (("/room", "/print"), (f"/people/{piet}", f"/print/badges?worker={piet}"), ("/press/P1", "/print/stacks?stack=P1"),
                      ("/cabinets/M1", "/print/shelves?cabinet=M1"), ("/sheets?stage=ready-for-mounting", "/print/slips?stage=ready-for-mounting")):  # fmt: skip
        assert f'href="{way}"' in browser.get(path).text, path
    assert "/print/badges" not in client_as("trainer").get(f"/people/{piet}").text


def test_a_consignment_leads_to_its_slips(room: Room, client_as: ClientAs) -> None:
    number, browser = room.sheet_ready(), client_as("manager")
    label(room, number, consignment="Quillmoor Fells")
    assert 'href="/print/slips?consignment=QUI"' in browser.get("/intake").text
    assert numbers_on(browser.get("/print/slips?consignment=QUI").text) == [number]
