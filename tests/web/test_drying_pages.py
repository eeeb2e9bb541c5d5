"""The drying room's pages: bundles made, changed and tied anew; dryers read; and the signs of dryness at a station."""

from __future__ import annotations

import re

import pytest

from app.db.engine import reading, transaction
from app.domain.house import House
from app.domain.stages import Step
from app.queries.drying import bundle_page
from app.services import room as setting_up
from app.services.drying import make_bundle
from app.web.dryer_chart import chart_of
from tests.queries.test_drying import looks, reads
from tests.room import Room
from tests.services.days import differences
from tests.services.test_drying import fill, makes
from tests.web.conftest import ClientAs, send, words


@pytest.fixture
def dryer(room: Room) -> str:
    """A dryer."""
    with transaction(room.database) as session:
        setting_up.add_cabinet(session, "Dryer 1", None, room.now, is_dryer=True)
    return "Dryer 1"


def test_the_page_says_what_is_due(room: Room, client_as: ClientAs) -> None:
    fill(room, makes(room, "Press A"), 3)
    room.wait(hours=26)
    shown = words(client_as("reader").get("/drying"))
    assert "3 sheets dry · papers due on 3" in shown and "Press A" in shown and "due since 09:05" in shown
    assert "Make a bundle" not in shown


def test_a_bundle_is_made_and_its_card_can_be_printed(room: Room, client_as: ClientAs, dryer: str) -> None:
    browser = client_as("volunteer")
    answer = send(browser, "/drying", name="Fells 3", kind="plant press", method="unheated", dryer="Dryer 1")
    assert answer.status_code == 302
    page = browser.get(answer.location)
    assert "with heat, in Dryer 1" in words(page) and "/print/bundles?bundle=" in page.text
    again = send(browser, "/drying", name="Fells 3", kind="plant press", method="unheated", dryer="")
    assert again.status_code == 422 and "already" in words(again) and 'value="Fells 3"' in again.text


def test_papers_are_changed_by_a_button_once(room: Room, client_as: ClientAs) -> None:
    card = makes(room)
    number = fill(room, card, 2)[0]
    room.wait(days=1)
    browser = client_as("volunteer")
    for _ in range(2):
        answer = send(browser, f"/drying/{card}", deed="papers", scan_id="pressed twice")
        assert answer.status_code == 302
    assert room.steps(number) == ["take-in", "lay-to-dry", "papers-changed"]
    assert looks(room).due == 0 and differences(room.database) == []


def test_what_lies_in_it_is_laid_to_dry_by_a_button(room: Room, client_as: ClientAs) -> None:
    card, number = makes(room), room.new_number()
    room.scans(card, "intake")
    room.scans(number, "intake", step=Step.TAKE_IN)
    room.wait(minutes=2)
    assert send(client_as("volunteer"), f"/drying/{card}", deed="lay").status_code == 302
    assert room.stage(number) == "drying"


def test_ticked_sheets_are_tied_into_a_new_bundle(room: Room, client_as: ClientAs) -> None:
    card = makes(room)
    numbers = fill(room, card, 3)
    room.wait(minutes=2)
    browser = client_as("volunteer")
    nothing = send(browser, f"/drying/{card}", deed="tie", into="new", which="ticked")
    assert nothing.status_code == 422 and "Tick the sheets that go" in words(nothing)
    answer = send(browser, f"/drying/{card}", deed="tie", into="new", which="ticked", numbers=[numbers[1]])
    assert answer.status_code == 302
    assert "1 sheet of Plant press 1 tied into Plant press 2." in words(browser.get(answer.location))
    assert [(line.name, line.many) for line in looks(room).lines] == [("Plant press 1", 2), ("Plant press 2", 1)]
    assert differences(room.database) == []


def test_two_bundles_are_put_together_and_the_empty_one_is_closed(room: Room, client_as: ClientAs) -> None:
    one, other = makes(room), makes(room)
    fill(room, one, 2)
    room.wait(minutes=2)
    browser = client_as("volunteer")
    assert "No longer in use" not in browser.get(f"/drying/{one}").text
    held = send(browser, f"/drying/{one}", deed="close")
    assert held.status_code == 422 and "2 sheets lie in it" in words(held)
    assert send(browser, f"/drying/{one}", deed="tie", into=other, which="all").status_code == 302
    assert send(browser, f"/drying/{one}", deed="close").status_code == 302
    assert browser.get(f"/drying/{one}").status_code == 404
    assert [(line.name, line.many) for line in looks(room).lines] == [("Plant press 2", 2)]


def test_how_it_dries_is_said_anew(room: Room, client_as: ClientAs, dryer: str) -> None:
    card, browser = makes(room), client_as("volunteer")
    wrong = send(browser, f"/drying/{card}", deed="how", method="unheated", dryer="Dryer 1")
    assert wrong.status_code == 422 and "dries with heat" in words(wrong)
    late = send(browser, f"/drying/{card}", deed="how", method="heated", dryer="", pressed_on="2026-11-30")
    assert late.status_code == 422 and "still to come" in words(late)
    answer = send(browser, f"/drying/{card}", deed="how", method="heated", dryer="Dryer 1", pressed_on="2026-11-23")
    assert answer.status_code == 302
    with reading(room.database) as session:
        found = bundle_page(session, card, room.now)
    assert found is not None and (found.line.dryer, found.line.method) == ("Dryer 1", "heated")
    assert found.pressed_said is not None and found.pressed_said.isoformat() == "2026-11-23T12:00:00+00:00"


@pytest.mark.parametrize("deed", ["", "burn", "papers"])
def test_a_deed_that_is_none_changes_nothing(room: Room, client_as: ClientAs, deed: str) -> None:
    card = makes(room)
    answer = send(client_as("volunteer"), f"/drying/{card}", deed=deed)
    assert answer.status_code in (302, 422) and looks(room).many == 0


def test_a_temperature_is_typed_and_judged(room: Room, client_as: ClientAs, dryer: str) -> None:
    browser = client_as("volunteer")
    wrong = send(browser, "/drying/reading", dryer="Dryer 1", celsius="106 F")
    assert wrong.status_code == 422 and "Type degrees Celsius" in words(wrong) and 'value="106 F"' in wrong.text
    hot = send(browser, "/drying/reading", dryer="Dryer 1", celsius="55", note="fan stands still")
    assert hot.status_code == 302
    shown = words(browser.get("/drying"))
    assert "55 °C" in shown and "too hot" in shown and "fan stands still" in shown and "Turn it off" in shown
    assert "Dryer 1" in words(browser.get("/board")) and "far too hot: 55 °C" in words(browser.get("/board"))


def test_the_cautions_defer_and_speak_of_fire(client_as: ClientAs) -> None:
    shown = words(client_as("reader").get("/drying"))
    assert "nothing on or against the heater" in shown and "nobody is in the house" in shown
    assert "safety rules, its risk assessment and licensed practice come first" in shown


def test_the_chart_says_what_it_draws(room: Room, dryer: str) -> None:
    for celsius in ("38", "47.5", "41"):
        reads(room, celsius)
        room.wait(hours=9)
    chart = chart_of(looks(room).dryers[0].readings, House(), room.now)
    assert "Read 3 times" in chart.words and "lowest 38 °C, highest 47.5 °C" in chart.words
    xs, ys = [x for x, _, _ in chart.dots], [y for _, y, _ in chart.dots]
    assert xs == sorted(xs) and xs[-1] <= 472 and len(chart.dots) == 3
    # Warmer is higher up; the band is where the house wants it, and what is beyond it is drawn apart.
    assert ys[1] < chart.band[0] < ys[2] < ys[0] < chart.band[1] and chart.hot < ys[1]
    assert [state for _, _, state in chart.dots] == ["right", "warm", "right"]


def test_a_chart_of_nothing_says_so(room: Room) -> None:
    chart = chart_of((), House(), room.now)
    assert (chart.dots, chart.line) == ((), "") and "Nothing was read" in chart.words


def test_the_signs_stand_in_the_question_at_the_station(room: Room, station_client: ClientAs) -> None:
    number = fill(room, makes(room), 1)[0]
    room.wait(days=8)
    browser = station_client("drying")
    csrf = re.search(r'name="csrf_token" value="([^"]+)"', browser.get("/station").text)
    assert csrf
    asked = browser.post("/station/scan", data={"csrf_token": csrf[1], "code": number})
    assert asked.text.count('class="sign-picture"') == 6 and "Lifted by one end it droops" in words(asked)
    damp = browser.post(
        "/station/scan", data={"csrf_token": csrf[1], "code": number, "choose": "step=pass-as-dry&facts.dryness=no"}
    )
    assert damp.status_code == 422 and "Feel it again" in words(damp) and "sign-picture" not in damp.text


def test_the_signs_are_a_page_to_hang_up(client_as: ClientAs) -> None:
    page = client_as("reader").get("/drying/signs")
    assert page.text.count('class="sign-picture"') == 6
    assert "Stiff and brittle" in words(page) and "Not cool on the cheek" in words(page)


def test_who_may_only_read_changes_nothing(room: Room, client_as: ClientAs, dryer: str) -> None:
    with transaction(room.database) as session:
        card = make_bundle(session, "", room.now, None)["code"]
    for path, form in (("/drying", {"name": "X", "kind": "tray", "method": "unheated", "dryer": ""}),
                       (f"/drying/{card}", {"deed": "close"}), ("/drying/reading", {"dryer": "Dryer 1", "celsius": "40"})):  # fmt: skip
        assert send(client_as("reader"), path, **form).status_code == 403
    assert [line.code for line in looks(room).empty] == [card]
