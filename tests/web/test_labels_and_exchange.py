"""The pages of labels to come, of duplicates, and of what goes in exchange."""

from __future__ import annotations

from app.db.engine import transaction
from app.services.room import add_hazard
from tests.queries.looking import label
from tests.room import Room
from tests.web.conftest import ClientAs, send, words


def test_labels_to_come_by_consignment_in_the_order_of_field_numbers(room: Room, client_as: ClientAs) -> None:
    ten, nine, other = (room.sheet_ready(label=False) for _ in range(3))
    room.sheet_ready()
    for number, record in ((ten, "10"), (nine, "9")):
        label(room, number, "Carex binervis", "T. Askerdale", "Fells", record_number=record)
    reader = client_as("reader")
    page = reader.get("/labels")
    assert "3 sheets wait for a label" in words(page) and "M1, shelf 1" in words(page)
    assert 'name="number"' not in page.text
    one = reader.get("/labels?consignment=FEL").text
    assert one.index(nine) < one.index(ten) and other not in one
    assert other in (rest := reader.get("/labels?consignment=").text) and nine not in rest
    assert "No sheet of it waits" in words(reader.get("/labels?consignment=nonsense"))


def test_the_labels_of_those_ticked_are_here(room: Room, client_as: ClientAs) -> None:
    one, two = room.sheet_ready(label=False), room.sheet_ready(label=False)
    trainer = client_as("trainer")
    answer = send(trainer, "/labels", number=[one])
    assert answer.status_code == 302 and room.row(one)["holds"] == "" and room.row(two)["holds"] == "label-to-come"
    assert "Label to come: 1 sheet no longer held." in words(trainer.get(answer.location))
    nothing = send(trainer, "/labels")
    assert nothing.status_code == 422 and "Tick the sheets" in nothing.text
    again = send(trainer, "/labels", number=[one])
    assert again.status_code == 422 and "It has no hold" in words(again)
    twice = {"number": [two], "scan_id": "one-id"}
    assert send(trainer, "/labels", **twice).status_code == send(trainer, "/labels", **twice).status_code == 302
    assert room.steps(two).count("lift-hold") == 1


def gathering(room: Room, many: int = 2, record: str = "118", consignment: str = "Fells") -> list[str]:
    numbers = [room.sheet_ready() for _ in range(many)]
    for number in numbers:
        label(
            room, number, "Carex binervis", "T. Askerdale", consignment, record_number=record, event_date="2024-06-11"
        )
    return numbers


def test_duplicates_of_the_room_and_of_a_consignment(room: Room, client_as: ClientAs) -> None:
    one, two = gathering(room)
    three, four = gathering(room, record="200", consignment="Tarn")
    alone = gathering(room, 1, record="300")[0]
    reader = client_as("reader")
    page = reader.get("/duplicates").text
    assert all(number in page for number in (one, two, three, four)) and alone not in page
    assert 'name="number"' not in page
    fells = reader.get("/duplicates?consignment=FEL").text
    assert one in fells and two in fells and three not in fells
    wrong = reader.get("/duplicates?consignment=nonsense")
    assert wrong.status_code == 422 and "There is no consignment called nonsense." in wrong.text


def test_a_gathering_with_part_in_a_consignment_is_shown_whole(room: Room, client_as: ClientAs) -> None:
    one, two = gathering(room)
    label(room, two, consignment="Tarn")
    page = client_as("reader").get("/duplicates?consignment=TAR").text
    assert one in page and two in page


def test_many_gatherings_go_on_page_by_page(room: Room, client_as: ClientAs) -> None:
    for each in range(31):
        gathering(room, record=f"{each:03}")
    reader = client_as("reader")
    first = reader.get("/duplicates").text
    assert "no. 029" in first and "no. 030" not in first
    mark = first.partition("after=")[2].partition('"')[0]
    second = reader.get(f"/duplicates?after={mark}").text
    assert "no. 030" in second and "no. 029" not in second
    assert "no. 000" in reader.get("/duplicates?after=x:y").text


def test_set_free_fetched_sent_and_one_kept(room: Room, client_as: ClientAs) -> None:
    numbers = gathering(room, 3)
    trainer, manager = client_as("trainer"), client_as("manager")
    assert send(trainer, "/duplicates", number=numbers[:2], why="").status_code == 422
    nothing = send(trainer, "/duplicates", why="for Brannholt")
    assert nothing.status_code == 422 and "Tick 1 to" in nothing.text and 'value="for Brannholt"' in nothing.text
    answer = send(trainer, "/duplicates", number=numbers, why="for Brannholt")
    assert answer.status_code == 302
    page = words(trainer.get(answer.location))
    assert "2 specimens set free to go in exchange." in page and "no other specimen of its gathering" in page
    assert "They are sent" not in page
    picks = words(trainer.get("/exchange/picks"))
    assert "Cabinet M1 · shelf 1 · 2 sheets" in picks
    assert send(trainer, "/exchange/keep", number=[numbers[0]], why="").status_code == 422
    assert send(trainer, "/exchange/keep", number=[numbers[0]], why="wanted here").status_code == 302
    assert send(manager, "/exchange/send", number=[numbers[1]], whom="").status_code == 422
    sent = send(manager, "/exchange/send", number=[numbers[1]], whom="Brannholt")
    assert sent.status_code == 302 and "1 sheet is withdrawn: sent in exchange to Brannholt." in words(
        manager.get("/exchange")
    )
    assert [room.row(number)["closed_as"] for number in numbers] == [None, "sent in exchange to Brannholt", None]
    stays = send(manager, "/exchange/send", number=[numbers[0]], whom="Brannholt")
    assert stays.status_code == 422


def test_a_suspected_one_is_not_set_free_without_saying_so(room: Room, client_as: ClientAs) -> None:
    one, _ = gathering(room)
    with transaction(room.database) as session:
        add_hazard(session, "historic", room.now, consignment_id=1)
    trainer = client_as("trainer")
    answer = send(trainer, "/duplicates", number=[one], why="for Brannholt")
    assert answer.status_code == 422 and "say that the receiver is told" in words(answer)
    assert send(trainer, "/duplicates", number=[one], why="for Brannholt", told="y").status_code == 302
    assert "May have been treated with mercury or arsenic" in trainer.get("/exchange").text
