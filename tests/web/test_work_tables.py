"""A mounting table's own page: what it takes by one touch, what was used today, the order of work; and a sheet's brief."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from app.db.engine import transaction
from app.domain.house import House
from app.domain.order_of_work import order_of_work
from app.domain.sheet_drawing import size_of, zones
from app.domain.stages import Step
from app.domain.stations import KINDS
from app.services.room import add_hazard, set_house_rule
from tests.room import Room
from tests.web.api_client import Scripts
from tests.web.conftest import ClientAs, token, words

Station = Callable[[str], FlaskClient]


def pressed(page: str) -> set[str]:
    """The buttons that hold now, by their ids."""
    return {
        re.findall(r'id="([^"]+)"', tag)[0]
        for tag in re.findall(r"<button[^>]*>", page)
        if 'aria-pressed="true"' in tag
    }


def touch(browser: FlaskClient, script: bool = False, **sent: str):  # type: ignore[no-untyped-def]
    """A button of the table is pressed, with script or without."""
    data = {"csrf_token": token(browser, "/station"), **sent}
    return browser.post("/station/defaults", data=data, headers={"HX-Request": "true"} if script else {})


def test_one_touch_changes_what_the_table_takes_and_it_is_remembered(room: Room, station_client: Station) -> None:
    browser = station_client("table-1")
    assert pressed(browser.get("/station").text) == {"take-adhesive_id-1", "take-bulk-open"}
    assert touch(browser, packet="small").status_code == 302
    assert touch(browser, straps="thread").status_code == 302
    assert touch(browser, adhesive_id="2").status_code == 302
    held = {"take-packet-small", "take-straps-thread", "take-adhesive_id-2", "take-bulk-open"}
    assert pressed(browser.get("/station").text) == held
    number = room.sheet_mounted()
    entry = room.log(number)[-1]["facts"]
    assert entry["used"] == {"packet": "small", "straps": "thread"} and entry["sets"]["adhesive_id"] == 2
    assert touch(browser, bulk="bulky").status_code == 302 and touch(browser, bulk="").status_code == 302
    assert pressed(browser.get("/station").text) == held


def test_with_script_only_the_buttons_come_back_and_the_answer_stays_on_the_screen(station_client: Station) -> None:
    answer = touch(station_client("table-1"), script=True, packet="large")
    assert answer.status_code == 200 and answer.text.lstrip().startswith('<section id="uses"')
    assert "take-packet-large" in pressed(answer.text) and "<html" not in answer.text


def test_what_the_room_does_not_have_is_not_kept(room: Room, station_client: Station) -> None:
    browser = station_client("table-1")
    assert touch(browser, packet="enormous").status_code == 302
    assert "A table takes no packet called enormous." in words(browser.get("/station"))
    assert room.station_row("table-1")["uses"] is None


def test_what_was_used_today_stands_at_the_side_of_this_table_only(room: Room, station_client: Station) -> None:
    room.sheet_mounted(packet="small", straps="both")
    room.sheet_mounted(packet="small")
    for path in ("/station", "/station/side"):
        told = words(station_client("table-1").get(path))
        assert "Used here today small packet 2 straps 1 thread 1 PVA, acid-free 2" in told, path
    assert "Used here today" not in words(station_client("table-2").get("/station"))


def test_only_where_sheets_are_mounted_is_there_a_packet_and_the_order_of_work(station_client: Station) -> None:
    table, press, inspection = (
        station_client(slug).get("/station").text for slug in ("table-1", "press", "inspection")
    )
    assert "The order of work, in pictures" in table and 'id="take-packet-none"' in table
    assert "What is used here" not in press and "order of work" not in press
    # Mending takes an adhesive, and no packet.
    assert (
        'id="take-adhesive_id-1"' in inspection
        and "take-packet" not in inspection
        and "order of work" not in inspection
    )


def test_a_table_has_its_three_cards_as_buttons(room: Room, station_client: Station) -> None:
    with transaction(room.database) as session:
        from app.services.room import add_station

        room.station["table-3"] = add_station(session, "table-3", "Table 3", KINDS["mounting"][1], room.now)
    buttons = re.findall(
        r'<button class="button-quiet" name="code"[^>]*>([^<]+)</button>',
        station_client("table-3").get("/station").text,
    )
    assert {"It needs another sheet", "It stays unmounted", "Help"} <= set(buttons)


def test_the_order_of_work_begins_with_the_code_and_glue_comes_last() -> None:
    steps = order_of_work(True)
    assert steps[0].lit == ("code",) and steps[0].bare and "Top left" in steps[0].more
    assert "glue" in steps[-1].words.lower() and not any(
        "top left" in step.more.lower() for step in order_of_work(False)
    )
    known = {zone.name for zone in zones(size_of(House()))}
    assert all(set(step.lit) <= known for step in steps)
    # Each picture points at something.
    assert all(step.lit or step.rings for step in steps)


def test_the_brief_says_the_cautions_first_and_the_ordinary_too(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        add_hazard(session, "irritant", room.now, sheet_id=room.row(number)["id"])
    told = words(client_as("volunteer").get(f"/sheets/{number}/brief"))
    places = [told.index(each) for each in ("Before you open the folder", "gloves on", "Its label is with it.", "Where things go",
                                            "The order of work", "The lasting code first", "Glue, then weight")]  # fmt: skip
    assert places == sorted(places)


def test_the_sheets_page_has_the_brief_until_it_is_mounted(room: Room, client_as: ClientAs) -> None:
    browser, number = client_as("reader"), room.sheet_ready()
    assert f'href="/sheets/{number}/brief"' in browser.get(f"/sheets/{number}").text
    room.scans(number, "table-1", step=Step.TAKE_UP)
    assert "For whoever mounts it" in words(browser.get(f"/sheets/{number}"))
    room.scans(number, "table-1", step=Step.MOUNT)
    assert "For whoever mounts it" not in words(browser.get(f"/sheets/{number}"))
    assert browser.get("/sheets/TQX0000017/brief").status_code == 404


@pytest.mark.parametrize(("wide", "high"), [(292, 419), (260, 425)])
def test_where_things_go_is_drawn_and_said_to_the_houses_own_size(
    room: Room, client_as: ClientAs, wide: int, high: int
) -> None:
    with transaction(room.database) as session:
        set_house_rule(session, "sheet_width_mm", wide, "our paper", room.now)
        set_house_rule(session, "sheet_height_mm", high, "our paper", room.now)
    page = client_as("volunteer").get(f"/sheets/{room.sheet_ready()}/brief")
    assert f'viewBox="0 0 {wide} {high}"' in page.text
    # The label of 102 by 76 mm stands 5 mm from the edges (New Zealand Plant Conservation Network).
    assert "Label: 102 by 76 mm, 5 mm from the right, 5 mm from the foot" in words(page)


def test_scripts_say_what_was_used_and_a_value_that_there_is_not_is_refused_by_name(room: Room, tmp_path: Path) -> None:
    scripts = Scripts(room, tmp_path)
    number, table = room.sheet_ready(), scripts.key(at="table-1")
    scripts.scan(table, number, step="take-up")
    for name, wrong in (("packet", "huge"), ("straps", 2), ("sellotape", "yes")):
        answer = scripts.scan(table, number, step="mount", facts={name: wrong})
        assert answer.status_code == 400 and f"facts.{name}" in answer.text, name
    assert scripts.scan(table, number, step="mount", facts={"packet": "none", "straps": "both"}).status_code == 200
    assert room.log(number)[-1]["facts"]["used"] == {"packet": "none", "straps": "both"}
