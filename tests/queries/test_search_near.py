"""Finding a plant whose name was typed with a letter wrong, against every name measured the slow way; places and hands."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, select

from app.db.engine import Database, reading, transaction
from app.db.models import NearName, table_of
from app.db.near import near_plants
from app.domain.folding import folded_plant
from app.domain.stages import Step
from app.queries.house import patterns_now
from app.queries.search import find
from app.queries.search_places import places_like
from app.services.desk import ScanRequest
from app.services.made_anew import make_anew, to_be_made
from app.services.naming import Names, learn_plants
from app.services.opening import open_desk
from app.services.registering import plant_name_id
from tests.databases import Rooms
from tests.domain.test_nearness import PLANTS, distance, slips
from tests.queries.looking import found_by, label
from tests.room import LONDON, Room

NEAR = "plant name, one letter different"
KEYS = {folded_plant(name): name for name in PLANTS}


@pytest.fixture(scope="module")
def flora(rooms: Rooms, tmp_path_factory: pytest.TempPathFactory) -> Database:
    """A room that knows the plants' names, and nothing else."""
    database = rooms.open(tmp_path_factory.mktemp("flora") / "flora.sqlite3")
    with transaction(database) as session:
        learn_plants(session, Names(), [(name, "", "") for name in PLANTS])
    return database


def _near(database: Database, key: str) -> set[str]:
    from app.db.models import PlantName

    with reading(database) as session:
        rows = near_plants(session, key, 50)
        return set(session.execute(select(PlantName.search_key).where(PlantName.id.in_(rows))).scalars())


@st.composite
def mistyped(draw: st.DrawFn) -> str:
    """A real name as it is typed with one slip, in one of its words."""
    words = draw(st.sampled_from(sorted(KEYS))).split()
    at = draw(st.integers(0, len(words) - 1))
    words[at] = draw(slips(st.just(words[at])))
    return " ".join(filter(None, words))


@given(mistyped())
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_whole_name_with_one_slip_finds_all_that_brute_force_finds(flora: Database, typed: str) -> None:
    words = typed.split()
    if len(words) == 1 or min(map(len, words)) < 2:
        return
    brute = {
        key for key in KEYS
        if len(key.split()) == len(words) and sum(distance(*pair) for pair in zip(key.split(), words, strict=True)) <= 1
    }  # fmt: skip
    assert brute <= _near(flora, typed)
    assert all(_one_slip(key, words) for key in _near(flora, typed))


def test_the_wrong_letter_may_be_in_any_word_beside_words_that_are_only_begun(flora: Database) -> None:
    assert _near(flora, "car viridla oed") == {"carex viridula subsp oedocarpa"}
    assert _near(flora, "cxr viridula oed") == set(), "of a short word that is only begun no letter is doubted"


def test_every_letter_of_every_name_may_be_missing_or_swapped_with_the_next(flora: Database) -> None:
    missed = []
    for key in KEYS:
        for at, letter in enumerate(key):
            missing, swapped = key[:at] + key[at + 1 :], key[:at] + key[at + 1 : at + 2] + letter + key[at + 2 :]
            if " " not in (letter, key[at + 1 : at + 2]):
                missed += [(key, typed) for typed in (missing, swapped) if key not in _near(flora, typed)]
    assert missed == []


def _one_slip(key: str, words: list[str]) -> bool:
    """That all words but one begin words of the name, and one is a slip away from a word, or from how one begins."""
    return any(
        all(any(name.startswith(word) for name in key.split()) for place, word in enumerate(words) if place != at)
        and any(distance(name[:size], words[at]) <= 1 for name in key.split() for size in range(len(name) + 1))
        for at in range(len(words))
    )


@pytest.fixture
def fells(room: Room) -> Room:
    for plant in ("Geranium sylvaticum", "Salix × rubens", "Poa annua", "Alchemilla glabra"):
        label(room, room.sheet_ready(), plant=plant, collector="A. Brackwater", record_number="7")
    return room


@pytest.mark.parametrize(
    ("typed", "plant", "why"),
    [
        ("geranium sylvaticum", "Geranium sylvaticum", "plant name"),
        ("sylvat", "Geranium sylvaticum", "words of the plant name"),
        ("Geranuim sylvaticum", "Geranium sylvaticum", NEAR),
        ("gernium", "Geranium sylvaticum", NEAR),
        ("geranuim syl", "Geranium sylvaticum", NEAR),
        ("salix x rubens", "Salix × rubens", "plant name"),
        ("Salix rubans", "Salix × rubens", NEAR),
        ("Pao annua", "Poa annua", NEAR),
        ("alchemila", "Alchemilla glabra", NEAR),
    ],
)
def test_a_plant_is_found_and_it_is_said_by_what(fells: Room, typed: str, plant: str, why: str) -> None:
    assert [(hit.plant, hit.why) for hit in found_by(fells, typed)] == [(plant, why)]


def test_what_fits_stands_before_what_nearly_fits(room: Room) -> None:
    for plant in ("Rosa canina", "Rosa caninna", "Carosa canina"):
        label(room, room.sheet_ready(), plant=plant)
    found = [(hit.plant, hit.why) for hit in found_by(room, "rosa canina")]
    assert found[0] == ("Rosa canina", "plant name") and found[-1] == ("Rosa caninna", NEAR)


def test_a_name_that_is_new_at_the_desk_is_found_with_a_slip_at_once(room: Room) -> None:
    with transaction(room.database) as session:
        desk, _ = open_desk(session, ScanRequest("x", ""), room.occasion)
        first = plant_name_id(desk, "Crepis × præmorsa")
        assert plant_name_id(desk, "Crepis × præmorsa") == first
        assert near_plants(session, "crepis praemorza", 5) == [first]


def test_an_upgraded_room_has_its_names_made_ready_when_it_is_opened(fells: Room) -> None:
    with transaction(fells.database) as session:
        session.execute(delete(table_of(NearName)))
        assert "ready for the search" in to_be_made(session)
    assert found_by(fells, "gernium") == []
    with transaction(fells.database) as session:
        make_anew(session, LONDON)
        assert to_be_made(session) == ""
    assert [hit.plant for hit in found_by(fells, "gernium")] == ["Geranium sylvaticum"]


def test_a_bundle_a_stack_a_cabinet_and_a_shelf_find_what_is_in_them(fells: Room) -> None:
    fells.weights("off", "P2")
    pressed = fells.sheet_in("P2")
    on_one = {hit.number for hit in found_by(fells, "M1, shelf 1")}
    assert (
        len(on_one) == 4 and pressed not in on_one and {hit.why for hit in found_by(fells, "cabinet m1")} == {"cabinet"}
    )
    for typed in ("P2", "stack p2", fells.code("on", "P2")):
        assert [(hit.number, hit.why) for hit in found_by(fells, typed)] == [(pressed, "stack")], typed
    assert found_by(fells, "M1, shelf 2") == [] and found_by(fells, "P3") == []
    assert len(found_by(fells, fells.code("shelf", "M1/1"))) == 4


def test_a_cabinet_and_a_stack_show_the_way_to_their_pages(room: Room) -> None:
    with reading(room.database) as session:
        assert [(hit.kind, hit.name) for hit in places_like(session, "m1")] == [("cabinet", "M1")]
        assert [hit.name for hit in places_like(session, "stack p")] == ["P1", "P2", "P3"]
        assert places_like(session, "") == [] and places_like(session, "geranium") == []


def test_last_hands_find_what_nobody_has_had_since_and_only_for_those_who_may_know(room: Room) -> None:
    mine, passed_on, undone = room.sheet_ready(), room.sheet_ready(), room.sheet_ready()
    for number in (mine, passed_on, undone):
        room.wait(minutes=1)
        last = room.scans(number, "table-1", step=Step.TAKE_UP)
    assert last.entry is not None
    room.undoes(last.entry)
    room.wait(minutes=1)
    room.scans(room.code("shelf", "M1/2"), "table-1")
    room.scans(passed_on, step=Step.PUT_BACK, who="piet", cabinet="M1", shelf="2")
    assert [(hit.number, hit.why) for hit in _by_hands(room, "Olwen")] == [(mine, "last hands")]
    assert [hit.number for hit in _by_hands(room, "tarrant")] == [mine]
    assert found_by(room, "Olwen") == []


def test_the_sheets_of_one_specimen_come_together(room: Room) -> None:
    number = room.sheet_ready()
    room.scans(number, "table-1", step=Step.TAKE_UP)
    room.scans(number, "table-1", step=Step.ANOTHER_SHEET)
    hits = found_by(room, number)
    assert [(hit.part, hit.why) for hit in hits] == [("1 of 2", "number"), ("2 of 2", "same specimen")]
    assert len(found_by(room, number, limit=1)) == 1


def _by_hands(room: Room, q: str) -> list[object]:
    with reading(room.database) as session:
        return find(session, q, patterns_now(session), by_hands=True)
