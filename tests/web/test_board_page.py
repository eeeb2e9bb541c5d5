"""The board: what stands on it, on the wall too, and the backup that it asks for."""

from __future__ import annotations

import re

from tests.room import Room
from tests.web.conftest import ClientAs, words


def test_the_board_shows_the_seven_stages_with_their_counts(room: Room, client_as: ClientAs) -> None:
    for _ in range(3):
        room.sheet_ready()
    room.sheet_mounted()
    said = words(client_as("reader").get("/board"))
    assert "4 sheets from intake to dry" in said
    for stage in ("Intake 0", "Drying 0", "Ready for mounting 3", "Mounted 1", "Under press 0", "Dry 0", "Filed 0"):
        assert stage in said


def test_what_needs_a_person_leads_to_the_thing(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_mounted()
    room.wait(hours=1, seconds=1)
    answer = client_as("reader").get("/board")
    assert "Nothing needs a person now." not in words(answer)
    assert f'href="/sheets/{number}"' in answer.text and "row-stalled" in answer.text


def test_a_stack_without_its_weights_is_marked_in_words_and_not_by_colour_alone(
    room: Room, client_as: ClientAs
) -> None:
    room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(minutes=10)
    room.weights("off", "P1")
    room.wait(hours=1, seconds=1)
    answer = client_as("reader").get("/board")
    assert "Without weights since 09:10" in words(answer) and "stack-stalled" in answer.text


def test_the_warning_says_since_when_sheets_lie_bare_not_since_when_the_weights_are_off(
    room: Room, client_as: ClientAs
) -> None:
    room.weights("off", "P1")
    room.wait(hours=3)
    room.sheet_in("P1")
    room.wait(hours=1, seconds=1)
    for page in ("/board", "/press", "/press/P1"):
        text = words(client_as("reader").get(page))
        assert "Without weights since 12:00" in text and "Without weights since 09:00" not in text, page


def test_the_wall_names_no_person_and_has_nothing_to_press(room: Room, client_as: ClientAs) -> None:
    room.sheet_mounted()
    room.wait(hours=2)
    text = client_as("manager").get("/wall").text
    main = text[text.index("<main") :]
    assert "Mounted" in main and "<button" not in main and "<form" not in main
    for name in ("Olwen", "Piet", "Rosamund", "Hedda"):
        assert name not in text, name
    found = re.search(r'hx-get="(/board/live[^"]*)"', text)
    assert found and "wall=1" in found.group(1)
    assert client_as("reader").get(found.group(1).replace("&amp;", "&")).status_code == 204


def test_the_fragment_is_the_middle_of_the_page_and_asks_on(room: Room, client_as: ClientAs) -> None:
    browser = client_as("reader")
    whole = browser.get("/board").text
    part = browser.get("/board/live").text
    assert part.strip() in whole and 'hx-swap="outerMorph"' in part and 'hx-trigger="every 15s"' in part


def test_a_name_on_the_board_is_never_run(room: Room, client_as: ClientAs) -> None:
    from app.db.engine import transaction
    from app.domain.stages import Stage
    from app.services.room import add_cabinet, add_stack

    with transaction(room.database) as session:
        add_cabinet(session, "<script>M9</script>", Stage.READY, room.now)
        add_stack(session, "<b>P9</b>", room.now)
    for path in ("/board", "/cabinets", "/press", "/room"):
        text = client_as("manager").get(path).text
        assert "<script>M9" not in text and "<b>P9" not in text, path


def test_the_board_names_no_person(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_mounted()
    room.wait(hours=2)
    text = client_as("reader").get("/board/live").text
    assert number[:3] in text
    for name in ("Olwen Tarrant", "Piet Lindqvist", "Rosamund Ashgill", "Hedda Brackwater"):
        assert name not in text


def test_the_board_of_an_empty_room_says_what_to_do(client_as: ClientAs) -> None:
    said = words(client_as("reader").get("/board"))
    assert "There is no sheet here yet." in said and "Nothing needs a person now." in said
