"""The cabinets' pages: how full, what is stalled and held, the list that is walked along, and the table that is saved."""

from __future__ import annotations

import csv
import html
import re
from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sqlalchemy import update

from app.db.engine import transaction
from app.db.models import Cabinet, Shelf
from app.domain.cells import safe_cell
from app.domain.hazards import CAUTIONS, DEFERS
from app.domain.numbers import COMMANDS
from app.domain.stages import Stage, Step
from app.services.room import add_cabinet, add_hazard
from tests.queries.looking import filed, label
from tests.room import Room
from tests.web.api_client import Scripts, codes
from tests.web.conftest import ClientAs, words
from tests.web.test_roles import closed

HOSTILE = ('=HYPERLINK("http://x.example/?"&A1,"look")', "+1+1", "-2,\"3", "@SUM(A1)", "\tcmd", "<b>Carex</b>", "a\r\nb", "Ørsted; \"Þór\"")  # fmt: skip


def many(room: Room, count: int) -> list[str]:
    return [room.sheet_ready() for _ in range(count)]


def capacity(room: Room, cabinet: int | None = None, shelf: int | None = None) -> None:
    with transaction(room.database) as session:
        session.execute(update(Cabinet).where(Cabinet.name == "M1").values(capacity=cabinet))
        session.execute(update(Shelf).where(Shelf.code == room.code("shelf", "M1/1")).values(capacity=shelf))


def rows_of(text: str) -> list[str]:
    """The numbers in a list, in its order."""
    return re.findall(r'<th scope="row"><a href="/sheets/([A-Z0-9*]+)"', text)


def links(text: str, *parts: str) -> str:
    """The first address on a page with these parts in it."""
    return next(
        html.unescape(each) for each in re.findall(r'href="([^"]+)"', text) if all(part in each for part in parts)
    )


def read(answer_text: str) -> list[dict[str, str]]:
    assert answer_text.startswith("\ufeff")
    return list(csv.DictReader(StringIO(answer_text.removeprefix("\ufeff"), newline="")))


def test_a_cabinet_over_its_room_says_by_how_many_and_is_drawn_full(room: Room, client_as: ClientAs) -> None:
    many(room, 3)
    capacity(room, cabinet=2, shelf=4)
    answer = client_as("reader").get("/cabinets")
    said = words(answer)
    assert "3 of 2, 1 too many ready for mounting" in said and "Shelf 1 3 of 4" in said
    assert re.search(r'<rect class="fill-over" width="100(\.0)?%"', answer.text) and "place-over" in answer.text
    assert re.search(r'<rect class="fill-in" width="75\.0%"', client_as("reader").get("/cabinets/M1").text)
    one = words(client_as("reader").get("/cabinets/M1"))
    assert "3 of 2, 1 too many sheets" in one and "Shelf 1 3 of 4" in one


def test_a_clean_cabinet_is_marked_and_its_sign_is_read_first(room: Room, client_as: ClientAs) -> None:
    with transaction(room.database) as session:
        add_cabinet(session, "C1", Stage.READY, room.now, is_clean=True)
        session.execute(update(Cabinet).where(Cabinet.name == "C1").values(note="Mothballs: air it first"))
    said = words(client_as("reader").get("/cabinets"))
    assert "C1 0 ready for mounting clean Mothballs: air it first" in said


def test_each_figure_of_a_shelf_leads_to_the_sheets_it_counts(room: Room, client_as: ClientAs) -> None:
    held, stalled = room.sheet_ready(label=False), room.sheet_ready()
    room.wait(days=200)
    fresh = room.sheet_ready()
    browser = client_as("reader")
    page = browser.get("/cabinets/M1").text
    assert rows_of(browser.get(links(page, "shelf=1", "held=any")).text) == [held]
    assert rows_of(browser.get(links(page, "shelf=1", "stalled=1")).text) == [stalled]
    assert set(rows_of(page)) == {held, stalled, fresh}


def test_the_list_of_a_cabinet_is_narrowed_sorted_and_says_how_many(room: Room, client_as: ClientAs) -> None:
    rumex, carex, aira = many(room, 3)
    for number, plant in ((rumex, "Rumex acetosa"), (carex, "Carex nigra"), (aira, "Aira praecox")):
        label(room, number, plant=plant)
    browser = client_as("reader")
    assert rows_of(browser.get("/cabinets/M1?sort=plant").text) == [aira, carex, rumex]
    narrowed = browser.get("/cabinets/M1?q=rum&sort=plant")
    assert rows_of(narrowed.text) == [rumex] and "1 sheet Show the whole cabinet" in words(narrowed)
    assert 'value="rum"' in narrowed.text and '<option value="plant" selected>' in narrowed.text
    assert "No sheet in here is like that." in words(browser.get("/cabinets/M1?q=zzz"))


def test_pages_of_a_cabinet_keep_what_was_asked(room: Room, client_as: ClientAs) -> None:
    numbers = many(room, 53)
    label(room, numbers[7], plant="Rumex acetosa")
    browser = client_as("reader")
    first = browser.get("/cabinets/M1?shelf=1&sort=family").text
    onward = links(first, "after=")
    assert "shelf=1" in onward and "sort=family" in onward
    second = rows_of(browser.get(onward).text)
    assert rows_of(first)[0] == numbers[7] and len(second) == 3
    assert sorted([*rows_of(first), *second]) == sorted(numbers)


@pytest.mark.parametrize(
    "asked", ["sort=colour", "held=moths", "stage=pressed", "sort=plant&after=x", "sort=waited&after=x"]
)
def test_what_makes_no_sense_is_said_on_the_page(client_as: ClientAs, asked: str) -> None:
    for path in ("/cabinets/M1", "/sheets", "/cabinets/M1/picks", "/cabinets/M1.csv"):
        answer = client_as("manager").get(f"{path}?{asked}")
        if "after" in asked and path.endswith(("picks", "csv")):
            continue
        assert answer.status_code == 422 and re.search(
            r"There is no|not sorted by|Choose a|no place in", words(answer)
        ), path


def test_the_list_of_all_sheets_is_narrowed_by_what_holds_them(room: Room, client_as: ClientAs) -> None:
    held, wanted, _ = room.sheet_ready(label=False), room.sheet_ready(), room.sheet_ready()
    label(room, wanted, wanted_at=room.now)
    browser = client_as("reader")
    assert rows_of(browser.get("/sheets?held=label-to-come").text) == [held]
    assert rows_of(browser.get("/sheets?wanted=1").text) == [wanted]
    assert "one cabinet is listed at a time" in words(browser.get("/sheets?sort=plant"))


# -- the pick list ------------------------------------------------------------------------------------------------


def test_a_pick_list_is_grouped_by_place_with_a_box_for_each_sheet(room: Room, client_as: ClientAs) -> None:
    number, other = room.sheet_ready(label=False), room.sheet_ready()
    label(room, number, plant="Urtica dioica", collector="A. Brackwater", record_number="12")
    with transaction(room.database) as session:
        add_hazard(session, "irritant", room.now, sheet_id=room.row(number)["id"])
    room.scans(other, who="hedda", step=Step.SHELVE, cabinet="M1", shelf="3")
    room.wait(days=200)
    answer = client_as("volunteer").get("/cabinets/M1/picks")
    said = words(answer)
    assert "Cabinet M1 · shelf 1 · 1 sheet" in said and "Cabinet M1 · shelf 3 · 1 sheet" in said
    assert said.index("shelf 1") < said.index(number[3:9]) < said.index("shelf 3") < said.index(other[3:9])
    row = said[said.index(number[3:9]) : said.index("shelf 3")]
    assert row.index(CAUTIONS["irritant"]) < row.index("Urtica dioica") < row.index("A. Brackwater no. 12")
    assert "held: label to come" in row and "stalled since" in said and DEFERS in said
    assert answer.text.count('class="tick-box"') == 2 and '<i class="plant">Urtica dioica</i>' in answer.text
    assert answer.text.count("<thead>") == 2, "each place has its head, which paper repeats"


def test_a_pick_list_names_nobody_who_works_here(room: Room, client_as: ClientAs) -> None:
    room.sheet_ready(label=False)
    page = client_as("volunteer").get("/cabinets/M1/picks").text
    on_paper = page[page.index("<main") : page.index("</main>")]
    assert not re.search("Hedda|Olwen|Piet|Rosamund|Ines", on_paper)


def test_the_list_and_its_pick_list_and_table_ask_for_the_same(room: Room, client_as: ClientAs) -> None:
    held, _ = room.sheet_ready(label=False), room.sheet_ready()
    browser = client_as("volunteer")
    for page in ("/cabinets/M1?shelf=1&held=any", "/sheets?stage=ready-for-mounting&held=any"):
        text = browser.get(page).text
        assert rows_of(text) == [held]
        picks = browser.get(links(text, "/picks")).text
        assert re.findall(r"TQX (\d{6})", picks) == [held[3:9]]
        assert [row["catalogNumber"] for row in read(closed(browser.get(links(text, ".csv"))).text)] == [held]


def test_a_pick_list_of_everything_is_not_begun(room: Room, client_as: ClientAs) -> None:
    filed(room)
    for path in ("/sheets/picks", "/sheets/picks?stage=filed"):
        answer = client_as("reader").get(path)
        assert answer.status_code == 422 and "Choose a" in words(answer)
    assert "nothing is to be picked" in words(client_as("reader").get("/sheets/picks?stage=dry"))


def test_a_long_pick_list_is_cut_and_says_so(room: Room, client_as: ClientAs, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.queries.picks.pick_list.__defaults__", (3,))
    numbers = many(room, 5)
    answer = client_as("reader").get("/cabinets/M1/picks")
    assert "These are the first 3 on the way, of 5." in words(answer)
    assert re.findall(r"TQX (\d{6})", answer.text) == [number[3:9] for number in numbers[:3]]


# -- the table ----------------------------------------------------------------------------------------------------


def test_hostile_names_read_back_as_text_that_no_spreadsheet_counts(room: Room, client_as: ClientAs) -> None:
    numbers = many(room, len(HOSTILE))
    for number, name in zip(numbers, HOSTILE, strict=True):
        label(room, number, plant=name, collector=f"{name} ", record_number=name)
    answer = closed(client_as("volunteer").get("/cabinets/M1.csv?sort=number"))
    assert answer.mimetype == "text/csv" and answer.mimetype_params["charset"] == "utf-8"
    assert answer.data.startswith(
        b"\xef\xbb\xbfcatalogNumber,scientificName,family,recordedBy,recordNumber,stage,since,"
    )
    rows = read(answer.text)
    assert [row["catalogNumber"] for row in rows] == numbers
    assert [row["scientificName"] for row in rows] == [safe_cell(name) for name in HOSTILE]
    assert [row["recordedBy"] for row in rows] == [safe_cell(f"{name} ") for name in HOSTILE]
    assert not [cell for row in rows for cell in row.values() if cell[:1] in tuple("=+-@\t\r")]


def test_a_table_has_a_harmless_name_with_the_room_s_own_day(room: Room, client_as: ClientAs) -> None:
    with transaction(room.database) as session:
        add_cabinet(session, 'Ö9 "; X: y', Stage.READY, room.now)
    browser = client_as("volunteer")
    answer = closed(browser.get("/cabinets/M1.csv?shelf=1"))
    assert answer.headers["Content-Disposition"] == 'attachment; filename="cabinet-m1-1-2026-11-25.csv"'
    hostile = closed(browser.get("/cabinets/%C3%969%20%22%3B%20X%3A%20y.csv"))
    assert hostile.headers["Content-Disposition"] == 'attachment; filename="cabinet-o9-x-y-2026-11-25.csv"'


def test_only_people_save_a_table_and_a_place_that_is_not_there_has_none(
    room: Room, client_as: ClientAs, station_client: Callable[[str], FlaskClient]
) -> None:
    room.sheet_ready()
    station = station_client("filing")
    for path in ("/sheets.csv", "/cabinets/M1.csv"):
        assert station.get(path).status_code == 403
        assert closed(client_as("reader").get(path)).status_code == 200
    page = station.get("/cabinets/M1").text
    assert "/cabinets/M1/picks" in page and ".csv" not in page
    gone = client_as("reader").get("/cabinets/Z9.csv")
    assert gone.status_code == 422 and "There is no cabinet called Z9" in words(gone)


def test_all_sheets_are_saved_a_few_hundred_at_a_time(
    room: Room, client_as: ClientAs, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.queries.sheet_table.AT_ONCE", 2)
    numbers = many(room, 5)
    answer = client_as("reader").get("/sheets.csv", buffered=False)
    assert answer.is_streamed and answer.content_length is None
    assert [row["catalogNumber"] for row in read(closed(answer).text)] == numbers


# -- a whole shelf ------------------------------------------------------------------------------------------------


def test_a_whole_shelf_is_moved_at_a_station_and_left_by_a_button(
    room: Room, station_client: Callable[[str], FlaskClient]
) -> None:
    numbers = many(room, 3)
    room.wait(minutes=1)
    browser = station_client("filing")

    def scan(**fields: str) -> str:
        found = re.search(r'name="csrf_token" value="([^"]+)"', browser.get("/station").text)
        assert found is not None
        return browser.post("/station/scan", data={"csrf_token": found.group(1), **fields}).text

    card = COMMANDS["whole-shelf"]
    assert "Which shelf is emptied? Scan it." in scan(code=card)
    asked = scan(code=room.code("shelf", "M1/1"))
    assert "M1, shelf 1: 3 sheets. Where do they go?" in asked and 'name="facts.leave" value="yes"' in asked
    assert "Left as it is." in scan(**{"code": card, "facts.leave": "yes"})
    scan(code=card)
    room.wait(minutes=1)
    scan(code=room.code("shelf", "M1/1"))
    moved = scan(code=room.code("shelf", "M1/4"))
    assert "3 sheets from M1, shelf 1 are in M1, shelf 4 now." in moved and "Undo this scan" in moved
    assert {room.row(number)["shelf_id"] for number in numbers} == {room.row(numbers[0])["shelf_id"]}
    assert "Shelf 4 3" in words(browser.get("/cabinets"))


def test_a_script_moves_a_whole_shelf_in_one_scan(room: Room, tmp_path: Path) -> None:
    numbers = many(room, 3)
    room.wait(minutes=1)
    scripts = Scripts(room, tmp_path)
    sent = {"step": "shelve", "cabinet": "M1", "shelf": "2", "facts": {"all_but": [numbers[1]]}}
    for key in (scripts.key(), scripts.key(at="filing")):
        emptied = room.code("shelf", "M1/1")
        told = scripts.scan(key, emptied, **sent).get_json()
        assert told["moved"] == [numbers[0], numbers[2]] and [each["number"] for each in told["left"]] == [numbers[1]]
        undone = scripts.post(f"/entries/{told['entry']}/correction", key, reason="the wrong shelf")
        assert undone.status_code == 200, undone.text
        room.wait(minutes=1)
    assert codes(scripts.scan(scripts.key(), room.code("shelf", "M1/3"), **sent)) == ["wrong-cabinet"]
    full = {**sent, "cabinet": "D1"}
    assert scripts.scan(scripts.key(), room.code("shelf", "M1/1"), **full).status_code == 422
