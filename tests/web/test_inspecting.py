"""The inspection's page: marks in the address, each place of the drawing a way of its own, and how a look ends."""

from __future__ import annotations

import html
import re
from pathlib import Path
from typing import Any

import pytest
from werkzeug.test import TestResponse

from app.domain.findings import FINDINGS
from app.domain.house import House
from app.domain.sheet_drawing import place_words, size_of, zone_at, zones
from app.domain.stages import Step
from app.web.inspecting import taps
from tests.room import Room
from tests.services.test_inspecting import dry, found, rows
from tests.web.api_client import Scripts, codes
from tests.web.conftest import ClientAs, token, words


def marked(answer: TestResponse) -> list[str]:
    """The marks that the page carries on to its end."""
    kept = re.search(r'name="facts.findings" value="([^"]*)"', answer.text)
    assert kept, words(answer)
    return html.unescape(kept[1]).splitlines()


def button(answer: TestResponse, label: str) -> str:
    """What a button of the page sends as `choose`."""
    value = re.search(rf'<button[^>]*name="choose" value="([^"]*)"[^>]*>{re.escape(label)}', answer.text)
    assert value, label
    return html.unescape(value[1])


def hidden(answer: TestResponse, name: str) -> str:
    value = re.search(rf'name="{re.escape(name)}" value="([^"]*)"', answer.text)
    assert value
    return html.unescape(value[1])


def ends(client: Any, page: TestResponse, label: str) -> TestResponse:
    """The look ends with this button, as a browser without script would send it."""
    names = ("room", "scan_id", "code", "step", "facts.findings")
    sent = {name: hidden(page, name) for name in names}
    return posted(client, **sent, choose=button(page, label), **{"facts.adhesive": "pva"})


def posted(client: Any, **data: str) -> TestResponse:
    answer: TestResponse = client.post("/station/scan", data={"csrf_token": token(client, "/station"), **data})
    return answer


def test_every_part_of_the_drawing_is_a_link_with_words_and_its_place_is_in_it(
    room: Room, station_client: ClientAs
) -> None:
    page = station_client("inspection").get(f"/inspection/{dry(room)}")
    named = re.findall(r'<a class="draw-tap" href="([^"]+)" aria-label="([^"]+)"', page.text)
    assert {"Label: something is wrong here", "Seal: something is wrong here", "Packet: something is wrong here",
            "Code: something is wrong here", "Room for slips: something is wrong here", "Along the edge: something is wrong here",
            "Plant, in the middle: something is wrong here"} <= {label for _, label in named}  # fmt: skip
    sheet = zones(size_of(House()))
    for tap in taps(sheet):
        x, y = (int(part) for part in tap.at.split(","))
        assert tap.words.lower() == place_words(sheet, x, y)
        zone = zone_at(sheet, x, y)
        assert (zone.name if zone else "edge") == tap.zone.name


def test_the_list_has_every_finding_and_a_tapped_place_puts_its_own_first(room: Room, station_client: ClientAs) -> None:
    client, number = station_client("inspection"), dry(room)
    plain = client.get(f"/inspection/{number}")
    assert re.findall(r'name="kind" value="([^"]+)"', plain.text) == list(FINDINGS)
    there = client.get(f"/inspection/{number}?at=850,950")
    kinds = re.findall(r'name="kind" value="([^"]+)"', there.text)
    assert sorted(kinds) == sorted(FINDINGS) and kinds[0] == "too-much-adhesive" and "label-wrong" in kinds[:5]
    assert "What is wrong here: label?" in words(there)


def test_marks_are_made_listed_and_taken_away(room: Room, station_client: ClientAs) -> None:
    client, number = station_client("inspection"), dry(room)
    one = client.get(f"/inspection/{number}?at=400,300&kind=loose-part&note=the+lowest+leaf", follow_redirects=True)
    assert marked(one) == ["loose-part@400,300 the lowest leaf"]
    assert "Loose part, plant, upper centre: the lowest leaf" in words(one)
    both = client.get(f"{one.request.full_path}&kind=packet-missing", follow_redirects=True)
    assert marked(both) == ["loose-part@400,300 the lowest leaf", "packet-missing"]
    away = re.search(r'href="([^"]+)" aria-label="Take away: loose part"', both.text)
    assert away
    assert marked(client.get(html.unescape(away[1]))) == ["packet-missing"]


@pytest.mark.parametrize("query", ["kind=a-hair", "m=a-hair", "at=2000,1&kind=loose-part&note=kept"])
def test_what_is_no_finding_is_said_and_what_was_marked_stays(room: Room, station_client: ClientAs, query: str) -> None:
    page = station_client("inspection").get(f"/inspection/{dry(room)}?m=label-crooked&{query}")
    assert page.status_code == 422
    assert marked(page) == ["label-crooked"] and 'role="alert"' in page.text
    assert "note=kept" not in query or 'value="kept"' in page.text


def test_a_look_ends_with_what_was_marked(room: Room, station_client: ClientAs) -> None:
    client, number = station_client("inspection"), dry(room)
    page = client.get(f"/inspection/{number}?m=loose-part@400,300+one&m=label-crooked")
    answer = ends(client, page, "To be mended")
    assert answer.status_code == 200 and "Put it on the repair shelf." in words(answer)
    assert found(room) == [("loose-part", 400, 300, "one"), ("label-crooked", None, None, None)]
    again = words(client.get(f"/inspection/{number}"))
    assert "Looked at before" in again and "loose part (one), label crooked" in again


def test_one_mended_on_the_spot_and_one_glued_again(room: Room, station_client: ClientAs) -> None:
    client, one, other = station_client("inspection"), dry(room), dry(room)
    ends(client, client.get(f"/inspection/{one}?m=loose-part@400,300"), "Mended here")
    ends(client, client.get(f"/inspection/{other}?m=lifting@400,300"), "Glued again here")
    assert [outcome for outcome, _ in rows(room)] == ["mended-here", "re-glued"]
    assert [kind for kind, *_ in found(room)] == ["loose-part", "lifting"]
    assert (room.stage(one), room.stage(other)) == ("dry", "mounted")
    assert "Found: lifting or cockled." in words(client.get(f"/sheets/{other}"))


def test_back_to_the_table_gives_what_was_found_as_its_reason(room: Room, station_client: ClientAs) -> None:
    client, number = station_client("inspection"), dry(room)
    ends(client, client.get(f"/inspection/{number}?m=one-leaf-face&m=over-the-edge"), "Back to the table")
    assert room.log(number)[-1]["reason"] == "Only one leaf face shown, over the edge"
    assert room.stage(number) == "ready-for-mounting"


def test_stop_bag_it_puts_the_sheet_in_quarantine(room: Room, station_client: ClientAs) -> None:
    client, number = station_client("inspection"), dry(room)
    ends(client, client.get(f"/inspection/{number}?m=mould-or-pest"), "Stop, bag it")
    assert "quarantine" in room.row(number)["holds"]


def test_passed_with_the_seal_on_is_one_touch(room: Room, station_client: ClientAs) -> None:
    client, number = station_client("inspection"), dry(room)
    answer = ends(client, client.get(f"/inspection/{number}"), "Passed, and the seal is on")
    assert "Now the seal" not in words(answer)
    assert room.log(number)[-1]["facts"]["sealed"] is True
    assert "The seal is on." in words(client.get(f"/sheets/{number}"))


def test_the_screen_leads_to_the_drawing_when_it_asks_how_a_sheet_is(room: Room, station_client: ClientAs) -> None:
    client, number = station_client("inspection"), dry(room)
    answer = posted(client, code=number, step=Step.INSPECT.value)
    assert f'href="/inspection/{number}"' in answer.text


def test_only_a_dry_sheet_is_inspected_and_the_page_says_what_to_look_for(room: Room, station_client: ClientAs) -> None:
    client, wet = station_client("inspection"), room.sheet_mounted()
    assert "only a dry sheet is inspected" in words(client.get(f"/inspection/{wet}"))
    assert client.get("/inspection/TQX9999").status_code == 404


def test_a_sheet_set_without_weight_is_looked_at_for_lifting(room: Room, station_client: ClientAs) -> None:
    number = room.sheet_mounted()
    room.scans(number, "press", step=Step.PUT_UNDER_WEIGHT, stack="P1")
    room.wait(hours=5)
    room.weights("on", "P1")
    room.wait(hours=25)
    room.weights("off", "P1")
    room.wait(minutes=1)
    room.takes_out(number)
    assert room.row(number)["without_weight"]
    assert "look for lifting and cockling" in words(station_client("inspection").get(f"/inspection/{number}"))


def test_a_script_says_what_the_page_says(room: Room, tmp_path: Path) -> None:
    scripts, number = Scripts(room, tmp_path), dry(room)
    facts: dict[str, Any] = {
        "outcome": "to-be-mended",
        "findings": ["loose-part@400,300 the lowest leaf", "label-crooked"],
    }
    wrong = scripts.scan(scripts.key(at="inspection"), number, step="inspect", facts={**facts, "findings": ["a-hair"]})
    assert (wrong.status_code, codes(wrong)) == (422, ["not-inspected"])
    assert scripts.scan(scripts.key(at="inspection"), number, step="inspect", facts=facts).status_code == 200
    assert found(room) == [("loose-part", 400, 300, "the lowest leaf"), ("label-crooked", None, None, None)]
    other = dry(room)
    sealed = scripts.scan(
        scripts.key(at="inspection"), other, step="inspect", facts={"outcome": "passed", "sealed": True}
    )
    assert sealed.status_code == 200 and room.log(other)[-1]["facts"]["sealed"] is True
