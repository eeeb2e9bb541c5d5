"""From pages: a sheet without a number, one number twice, two plants in one fold, and one specimen on two sheets."""

from __future__ import annotations

from app.db.engine import transaction
from app.domain.numbers import COMMANDS
from app.domain.stages import Step
from app.services.room import add_consignment
from tests.queries.looking import label, page_of
from tests.room import Room
from tests.services.days import differences
from tests.web.conftest import ClientAs, send, words


def test_a_sheet_without_a_number_is_looked_for_and_led_to(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    label(room, number, plant="Poa annua")
    browser = client_as("volunteer")
    assert "A sheet without a number" in words(browser.get("/no-number"))
    found = browser.get("/no-number?on_label=Poa+anua")
    assert f'href="/sheets/{number}"' in found.text and "Is it one of these?" in words(found)
    # To give a number away is the trainer's, from a page; at a station whoever has the sheet in the hand may.
    assert "None of these" not in found.text and send(browser, "/no-number", on_label="Poa").status_code == 403
    nothing = words(client_as("trainer").get("/no-number?on_label=Viola"))
    assert "No sheet here is like that." in nothing and "Give it a number" in nothing


def test_one_that_is_none_of_them_is_given_a_number_in_its_consignment(room: Room, client_as: ClientAs) -> None:
    with transaction(room.database) as session:
        consignment = add_consignment(session, "QF", "Quillmoor Fells")
    given = send(client_as("trainer"), "/no-number", on_label="Viola 7", consignment=str(consignment), scan_id="once")
    assert given.status_code == 302
    number = given.location.rsplit("/", 1)[1]
    row = room.row(number)
    assert (row["holds"], row["consignment_id"], row["record_number"]) == ("number-query", consignment, "7")
    page = client_as("trainer").get(given.location)
    assert "On its label: Viola 7" in words(page) and f"/print/slips?numbers={number}" in page.text
    again = send(client_as("trainer"), "/no-number", on_label="Viola 7", consignment=str(consignment), scan_id="once")
    assert again.location == given.location
    assert differences(room.database) == []


def test_a_label_left_empty_or_too_long_is_asked_for_again(client_as: ClientAs) -> None:
    trainer = client_as("trainer")
    assert send(trainer, "/no-number", on_label="").status_code == 422
    long = send(trainer, "/no-number", on_label="x" * 300)
    assert long.status_code == 422 and "x" * 300 in long.text


def test_a_room_that_mints_nothing_says_so_on_the_page(room: Room, client_as: ClientAs) -> None:
    from sqlalchemy import update

    from app.db.models import NumberPattern

    with transaction(room.database) as session:
        session.execute(update(NumberPattern).values(mints=False))
    refused = send(client_as("trainer"), "/no-number", on_label="Viola")
    assert refused.status_code == 422 and "This room mints no numbers of its own." in words(refused)


def test_two_with_one_number_are_told_apart_on_the_page(room: Room, client_as: ClientAs) -> None:
    number, trainer = room.sheet_ready(), client_as("trainer")
    missing = send(trainer, f"/sheets/{number}/tell-apart", known="no", reason="")
    assert missing.status_code == 422 and "Say why" in words(missing)
    told = send(trainer, f"/sheets/{number}/tell-apart", known="no", reason="two slips")
    assert told.status_code == 302 and "both are held" in words(trainer.get(told.location))
    assert room.row(number)["holds"] == "number-query" and room.log(number)[-1]["reason"] == "two slips"


def test_two_plants_in_a_fold_are_parted_and_glued_ones_noted(room: Room, client_as: ClientAs) -> None:
    fold, glued, trainer = room.sheet_ready(), room.sheet_mounted(), client_as("trainer")
    assert "with the same gathering" in words(trainer.get(f"/sheets/{fold}"))
    assert "they are not cut apart" in words(trainer.get(f"/sheets/{glued}"))
    parted = send(trainer, f"/sheets/{fold}/divide", plant="Poa alpina")
    assert "The other plant, Poa alpina, is TQX" in words(trainer.get(parted.location))
    noted = send(trainer, f"/sheets/{glued}/divide", plant="")
    assert "Do not cut them apart." in words(trainer.get(noted.location))
    assert room.row(glued)["holds"] == "name-query" and room.row(fold)["holds"] == ""


def test_two_sheets_are_joined_to_one_specimen_on_the_page(room: Room, client_as: ClientAs) -> None:
    first, second, trainer = room.sheet_ready(), room.sheet_ready(), client_as("trainer")
    for typed, said in (
        ("rubbish", "not a whole number"),
        (first, "finds this sheet itself"),
        (room.new_number(), "No sheet here"),
    ):
        refused = send(trainer, f"/sheets/{first}/same-specimen", other=typed)
        assert refused.status_code == 422 and said in words(refused), typed
    joined = send(trainer, f"/sheets/{first}/same-specimen", other=second)
    assert joined.status_code == 302 and page_of(room, second).part_words == "2 of 2"
    assert "Other sheets of this specimen" in words(trainer.get(f"/sheets/{first}"))
    found = words(trainer.get("/search?q=TQX"))
    assert "1 of 2" in found and "2 of 2" in found


def test_at_a_station_the_slip_of_a_new_number_is_a_button_away(room: Room, station_client: ClientAs) -> None:
    browser = station_client("table-1")
    code = COMMANDS["no-number"]
    sent = {"code": code, "facts.on_label": "Viola 7", "facts.is": "new"}
    answer = send_at_station(browser, **sent)
    assert "Print its slip" in words(answer) and "number-query" in str(room.row("TQX000001N")["holds"])
    assert browser.get("/print/slips?numbers=TQX000001N").status_code == 200


def test_the_suggestions_say_why_where_it_cannot_be_seen(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    label(room, number, plant="Poa annua")
    reader = client_as("reader")
    assert "one letter different" in words(reader.get("/search/suggest?q=poa+anua"))
    assert "plant name" not in words(reader.get("/search/suggest?q=poa+annua"))
    assert 'href="/cabinets/M1"' in reader.get("/search/suggest?q=m1").text
    assert 'href="/press/P1"' in reader.get("/search?q=stack+p1").text


def test_whose_hands_it_were_is_found_and_told_only_where_names_are_shown(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    found = client_as("manager").get("/search?q=Tarrant")
    assert f'href="/sheets/{number}"' in found.text and "last hands" in words(found)
    assert f'href="/sheets/{number}"' not in client_as("volunteer").get("/search?q=Rosamund").text
    walk = "On Mounting table 1; before that in M1, shelf 1; last in hand at Mounting table 1, 09:00"
    assert f"{walk}, by Olwen Tarrant." in words(client_as("trainer").get(f"/sheets/{number}"))
    assert f"{walk}." in words(client_as("reader").get(f"/sheets/{number}"))


def send_at_station(browser, **data: str):  # type: ignore[no-untyped-def]
    from tests.web.conftest import token

    return browser.post("/station/scan", data={"csrf_token": token(browser, "/station"), **data})
