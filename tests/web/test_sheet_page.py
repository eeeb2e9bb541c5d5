"""A sheet's own page, and the list of sheets."""

from __future__ import annotations

import pytest
from sqlalchemy import update

from app.db.engine import transaction
from app.db.models import Sheet, table_of
from app.domain.hazards import CAUTIONS, DEFERS
from app.domain.stages import Step
from app.services.intake import run_import
from app.services.room import add_consignment, add_hazard
from tests.room import Room
from tests.web.conftest import ClientAs, words

HOSTILE = "<script>alert(1)</script>"


def listed(room: Room, **more: str) -> str:
    """A sheet that came on a list, with everything that a label says."""
    number = room.new_number()
    cells = {"catalogNumber": number, "scientificName": "Geranium sylvaticum", "family": "Geraniaceae",
             "recordedBy": "Ada Fennimore", "recordNumber": "118", "locality": "Fell End meadow", **more}  # fmt: skip
    with transaction(room.database) as session:
        add_consignment(session, "QF", "Quillmoor Fells survey", kind="exchange")
        text = ",".join(cells) + "\n" + ",".join(f'"{cell}"' for cell in cells.values()) + "\n"
        run_import(session, text.encode(), "QF", room.occasion, (room.worker["hedda"],))
    return number


def test_the_page_says_where_it_is_since_when_and_what_may_happen_next(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    room.wait(days=6)
    said = words(client_as("reader").get(f"/sheets/{number}"))
    assert "Ready for mounting M1, shelf 1 since Wednesday 25 Nov" not in said
    assert "M1, shelf 1" in said and "6 days" in said and "limit 60 open days" in said
    assert "What may happen next" in said and "take up" in said


def test_the_page_shows_the_press_clock(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=20, minutes=50)
    answer = client_as("reader").get(f"/sheets/{number}")
    assert "20 h 50 min of 24 h under weight" in words(answer)
    assert "It may come out 09:00." in words(answer)
    # The bar's length is an attribute of the picture, since the page may carry no style of its own.
    assert f'width="{round(20.8333333 / 24 * 100, 3)}%"' in answer.text


def test_the_page_says_when_the_clock_is_not_running(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_in("P1")
    assert "Its clock is not running" in words(client_as("reader").get(f"/sheets/{number}"))


def test_cautions_stand_first_and_defer_to_the_institutions_own_rules(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, sheet_id=room.row(number)["id"])
    said = words(client_as("volunteer").get(f"/sheets/{number}"))
    assert said.index(CAUTIONS["historic"]) < said.index(DEFERS) < said.index("M1, shelf 1")


def test_a_sheet_in_two_parts_links_to_the_other(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    room.scans(number, "table-1", step=Step.ANOTHER_SHEET)
    answer = client_as("reader").get(f"/sheets/{number}")
    assert "1 of 2" in words(answer) and "Other sheets of this specimen" in words(answer)
    other = room.log(number)[-1]["facts"]["new_number"]
    assert f'href="/sheets/{other}"' in answer.text


@pytest.mark.parametrize(
    ("role", "shows"), [("reader", False), ("volunteer", False), ("trainer", True), ("manager", True)]
)
def test_names_in_the_log_are_for_trainer_and_manager(room: Room, client_as: ClientAs, role: str, shows: bool) -> None:
    number = room.sheet_mounted("table-2")
    assert ("Piet Lindqvist" in client_as(role).get(f"/sheets/{number}").text) is shows


def test_a_worker_finds_their_own_name_in_the_log(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_mounted("table-1")
    answer = client_as("volunteer").get(f"/sheets/{number}").text
    assert "mounted by Olwen Tarrant" in answer and "Rosamund Ashgill" not in answer


def test_a_station_shows_only_the_names_of_those_signed_in_there(room: Room, station_client: ClientAs) -> None:
    number = room.sheet_mounted("table-1")
    assert "Olwen Tarrant" in station_client("table-1").get(f"/sheets/{number}").text
    answer = station_client("table-2").get(f"/sheets/{number}").text
    assert "Olwen Tarrant" not in answer and "mounted" in answer


@pytest.mark.parametrize(
    ("role", "shows"), [("reader", False), ("volunteer", False), ("trainer", True), ("manager", True)]
)
def test_the_place_of_a_sensitive_plant_is_for_trainer_and_manager(
    room: Room, client_as: ClientAs, role: str, shows: bool
) -> None:
    number = listed(room)
    with transaction(room.database) as session:
        session.execute(update(table_of(Sheet)).where(table_of(Sheet).c.number == number).values(is_sensitive=True))
    answer = client_as(role).get(f"/sheets/{number}")
    assert ("Fell End meadow" in answer.text) is shows
    assert ("ask the trainer or the manager" in answer.text) is not shows


def test_what_is_written_on_a_label_is_never_run(room: Room, client_as: ClientAs) -> None:
    number = listed(room, scientificName=HOSTILE, recordedBy=HOSTILE, locality=HOSTILE)
    for path in (f"/sheets/{number}", "/sheets", "/sheets?stage=intake", f"/sheets?q={HOSTILE}", "/intake"):
        answer = client_as("manager").get(path)
        assert answer.status_code == 200, path
        assert HOSTILE not in answer.text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in client_as("manager").get(f"/sheets/{number}").text


def test_a_number_written_otherwise_leads_to_the_sheet(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    answer = client_as("reader").get(f"/sheets/{number[:3].lower()} {number[3:9]}-{number[9:]}")
    assert answer.status_code == 302 and answer.location == f"/sheets/{number}"


@pytest.mark.parametrize("number", ["TQX999999", "nothing", "%00", "<b>", "x" * 300, "TQX000001"])
def test_what_is_no_sheet_is_not_found_and_says_what_to_do(client_as: ClientAs, number: str) -> None:
    answer = client_as("reader").get(f"/sheets/{number}")
    assert answer.status_code == 404 and "Type it off the slip once more" in words(answer)


def test_the_list_is_filtered_and_paged_without_losing_a_sheet(room: Room, client_as: ClientAs) -> None:
    numbers = [room.sheet_ready() for _ in range(55)]
    room.sheet_mounted()
    browser, path, seen = client_as("reader"), "/sheets?stage=ready-for-mounting", []
    for _ in range(3):
        text = browser.get(path).text
        seen += [number for number in numbers if f'href="/sheets/{number}"' in text]
        following = [part for part in text.split('"') if part.startswith("/sheets?after=")]
        path = following[0].replace("&amp;", "&") if following else ""
        if not path:
            break
    assert sorted(seen) == sorted(numbers) and len(set(seen)) == 55


def test_only_stalled_sheets_are_shown_where_that_is_asked(room: Room, client_as: ClientAs) -> None:
    old = room.sheet_mounted()
    room.wait(hours=1, seconds=1)
    young = room.sheet_mounted("table-2")
    answer = client_as("reader").get("/sheets?stage=mounted&stalled=1").text
    assert old in answer and young not in answer


@pytest.mark.parametrize("query", ["stage=nowhere", "cabinet=Z9", "after=nonsense&stage=dry"])
def test_a_filter_that_means_nothing_says_so(client_as: ClientAs, query: str) -> None:
    answer = client_as("reader").get(f"/sheets?{query}")
    assert answer.status_code == 422 and "Show all sheets" in words(answer)


def test_an_empty_room_says_what_to_do_first(client_as: ClientAs) -> None:
    assert "Scan the first one at the intake station" in words(client_as("reader").get("/sheets"))
    assert "No sheet is like that" in words(client_as("reader").get("/sheets?q=nothing"))
