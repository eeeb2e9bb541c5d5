"""The cards of bundles and of stations: of those in use, each with its own code."""

from __future__ import annotations

import pytest
from sqlalchemy import update

from app.db.engine import reading, transaction
from app.db.models import Bundle, Station, table_of
from app.queries.printed_places import bundle_cards, station_cards
from app.services.room import add_bundle
from tests.room import STATIONS, Room


def test_every_bundle_in_use_has_a_card_tray_2_before_tray_10(room: Room) -> None:
    with transaction(room.database) as session:
        for name in ("Tray 10", "Tray 2", "Emptied"):
            add_bundle(session, name, "tray")
        mine = table_of(Bundle).c.name == "Emptied"
        session.execute(update(table_of(Bundle)).where(mine).values(closed_at=room.now))
    with reading(room.database) as session:
        cards = bundle_cards(session)
        (one,) = bundle_cards(session, cards[1].code)
    assert [each.name for each in cards] == ["Tray 2", "Tray 10"]
    assert (
        cards[0].code == room.code("bundle", "Tray 2")
        and cards[0].shown == f"KB {cards[0].code[2:8]}·{cards[0].code[8]}"
    )
    assert (one.name, one.kind) == ("Tray 10", "tray")


def test_a_bundle_that_is_not_in_use_is_refused_in_a_sentence(room: Room) -> None:
    with reading(room.database) as session, pytest.raises(ValueError, match="no bundle with the code KB0000"):
        bundle_cards(session, "KB0000")


def test_every_station_in_use_has_a_card_that_says_what_is_done_there(room: Room) -> None:
    with transaction(room.database) as session:
        mine = table_of(Station).c.slug == "drying"
        session.execute(update(table_of(Station)).where(mine).values(closed_at=room.now))
    with reading(room.database) as session:
        cards = station_cards(session)
        (press,) = station_cards(session, "press")
    assert {each.name for each in cards} == {name for slug, (name, _) in STATIONS.items() if slug != "drying"}
    assert press.code == room.station_row("press")["code"] and "take out" in press.steps_words
    with reading(room.database) as session, pytest.raises(ValueError, match="no station called drying"):
        station_cards(session, "drying")


def test_a_stations_card_says_which_it_is_and_a_bundle_that_moves_nowhere_is_counted_and_left_alone(room: Room) -> None:
    own, other = (room.station_row(slug)["code"] for slug in ("press", "intake"))
    assert room.scans(own, "press").lines[0] == "This screen is the one of this card."
    told = room.scans(other, "press")
    assert (told.kind, told.word, told.lines[0]) == ("done", "Intake.", "This screen is Press.")
    with transaction(room.database) as session:
        add_bundle(session, "Tray 4")
    card, number = room.code("bundle", "Tray 4"), room.new_number()
    room.scans(card, "intake")
    room.scans(number, "intake")
    answer = room.scans(card, "press")
    assert answer.kind == "done" and answer.lines == ("Tray 4: 1 sheet. Nothing is done to all of it here.",)
    assert "left out" not in " ".join(room.scans(number, "press").lines)
