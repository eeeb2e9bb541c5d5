"""The page of holds, ticking in lists, and the form for many."""

from __future__ import annotations

from urllib.parse import urlencode

from tests.room import Room
from tests.web.conftest import ClientAs, send, words


def test_ticked_in_a_list_they_stand_in_the_form_and_are_held_together(room: Room, client_as: ClientAs) -> None:
    one, two = room.sheet_ready(), room.sheet_ready()
    trainer = client_as("trainer")
    for address in ("/sheets?stage=ready-for-mounting", "/cabinets/M1"):
        assert trainer.get(address).text.count('name="number" value="') == 2
        assert 'name="number"' not in client_as("volunteer").get(address).text
    form = trainer.get("/holds/many?" + urlencode({"number": [one, two]}, doseq=True)).text
    assert f"{one}\r\n{two}" in form or f"{one}\n{two}" in form
    answer = send(
        trainer, "/holds/many", numbers=f"{one}\n{two}\nnonsense", deed="put", hold="name-query", reason="which mint?"
    )
    assert answer.status_code == 302 and answer.location == "/holds?kind=name-query"
    assert room.row(one)["holds"] == room.row(two)["holds"] == "name-query"
    page = words(trainer.get(answer.location))
    assert (
        "Name query: 2 sheets held." in page
        and "nonsense: no sheet here has this number." in page
        and "which mint?" in page
    )


def test_what_is_missing_is_asked_for_and_what_was_typed_is_kept(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready()
    answer = send(client_as("trainer"), "/holds/many", numbers=number, deed="put", hold="name-query", reason="")
    assert answer.status_code == 422 and number in answer.text and "Say why" in answer.text
    answer = send(
        client_as("trainer"), "/holds/many", numbers="nonsense", deed="lift", hold="name-query", reason="named"
    )
    assert (
        answer.status_code == 422 and "no sheet here has this number" in answer.text and 'value="named"' in answer.text
    )


def test_the_list_is_narrowed_and_saved_as_a_table(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready(label=False)
    reader = client_as("reader")
    assert (
        number in reader.get("/holds?kind=label-to-come").text
        and "Nothing is held like that" in reader.get("/holds?kind=quarantine").text
    )
    assert reader.get("/holds?kind=nonsense").status_code == 422
    table = reader.get("/holds.csv?kind=label-to-come")
    assert table.mimetype == "text/csv" and f"{number},,label-to-come," in table.text
    assert reader.get("/holds.csv?kind=nonsense").status_code == 422


def test_lifted_by_ticking(room: Room, client_as: ClientAs) -> None:
    number = room.sheet_ready(label=False)
    trainer = client_as("trainer")
    form = trainer.get(f"/holds/many?deed=lift&hold=label-to-come&number={number}").text
    assert 'value="lift"' in form and "checked" in form
    answer = send(trainer, "/holds/many", numbers=number, deed="lift", hold="label-to-come", reason="printed")
    assert answer.status_code == 302 and room.row(number)["holds"] == ""
