"""Finding a sheet by what is at hand: its number or a part of it, the plant, the collector and field number."""

from __future__ import annotations

import pytest

from app.domain.numbers import mint
from app.domain.stages import Step
from tests.queries.looking import found_by, label
from tests.room import TQX, Room


@pytest.fixture
def fells(room: Room) -> dict[str, str]:
    """Some sheets of one survey, with their labels."""
    sheets = {}
    for plant, collector, record in (
        ("Geranium sylvaticum", "A. Brackwater", "118"),
        ("Geranium robertianum", "A. Brackwater", "119"),
        ("Rumex acetosa", "Tamsin Oxley", "118"),
        ("Alchemilla glabra", "Tamsin Oxley", "31a"),
        ("Crepis paludosa", "Jón Sigurðsson", "7"),
    ):
        sheets[plant] = number = room.sheet_ready()
        label(
            room, number, plant=plant, collector=collector, record_number=record, consignment="Fell meadow survey 2026"
        )
    return sheets


def _plants(room: Room, q: str) -> list[str]:
    return [hit.plant for hit in found_by(room, q)]


@pytest.mark.parametrize("written", ["TQX 000001·N", "tqx000001n", "TQX-000001-N", " 000001N ", "TQX000001"])
def test_a_number_is_found_however_it_is_written(room: Room, fells: dict[str, str], written: str) -> None:
    assert [hit.plant for hit in found_by(room, written)] == ["Geranium sylvaticum"]


def test_a_whole_number_finds_that_sheet_and_no_other(room: Room, fells: dict[str, str]) -> None:
    hits = found_by(room, fells["Rumex acetosa"])
    assert [(hit.number, hit.why) for hit in hits] == [(fells["Rumex acetosa"], "number")]
    assert (hits[0].place, hits[0].stage_words) == ("M1, shelf 1", "Ready for mounting")


def test_a_part_of_a_number_finds_those_that_begin_with_it_behind_the_zeros(room: Room) -> None:
    numbers = {serial: mint(TQX, serial - 1)[1] for serial in (42, 4217, 42170, 421700, 214217)}
    for number in numbers.values():
        room.scans(number, "intake", step=Step.TAKE_IN)
    assert [hit.number for hit in found_by(room, "421")] == [numbers[serial] for serial in (4217, 42170, 421700)]
    assert {hit.number for hit in found_by(room, "TQX 0042")} >= {numbers[4217]}
    assert numbers[214217] not in {hit.number for hit in found_by(room, "4217")}


def test_what_the_digits_name_exactly_stands_before_what_they_begin(room: Room) -> None:
    numbers = {serial: mint(TQX, serial - 1)[1] for serial in (4217, 42170)}
    for number in reversed(list(numbers.values())):
        room.scans(number, "intake", step=Step.TAKE_IN)
    assert [hit.number for hit in found_by(room, "4217")] == [numbers[4217], numbers[42170]]


@pytest.mark.parametrize(
    ("typed", "plants"),
    [
        ("Geranium sylvaticum", ["Geranium sylvaticum"]),
        ("geranium", ["Geranium robertianum", "Geranium sylvaticum"]),
        ("sylv", ["Geranium sylvaticum"]),
        ("ger syl", ["Geranium sylvaticum"]),
        ("CREPIS PALUDOSA", ["Crepis paludosa"]),
        ("syl ger", []),
        ("ranium", []),
        ("geranium sylvestre", []),
    ],
)
def test_a_plant_is_found_by_the_beginnings_of_its_words(
    room: Room, fells: dict[str, str], typed: str, plants: list[str]
) -> None:
    assert sorted(_plants(room, typed)) == plants


@pytest.mark.parametrize("typed", ["Brackwater 118", "A. Brackwater 118", "brackwater no. 118"])
def test_collector_and_field_number_find_one_sheet(room: Room, fells: dict[str, str], typed: str) -> None:
    assert _plants(room, typed) == ["Geranium sylvaticum"]


def test_a_field_number_alone_finds_those_of_every_collector(room: Room, fells: dict[str, str]) -> None:
    assert sorted(_plants(room, "118")) == ["Geranium sylvaticum", "Rumex acetosa"]
    assert _plants(room, "31a") == ["Alchemilla glabra"]


def test_a_collector_is_found_by_either_name_and_without_accents(room: Room, fells: dict[str, str]) -> None:
    assert sorted(_plants(room, "oxley")) == ["Alchemilla glabra", "Rumex acetosa"]
    assert _plants(room, "jon") == ["Crepis paludosa"]


def test_a_consignment_is_found_by_its_name(room: Room, fells: dict[str, str]) -> None:
    assert {hit.why for hit in found_by(room, "fell meadow")} == {"consignment"}
    assert len(found_by(room, "fell meadow")) == 5


def test_no_more_than_was_asked_for_is_found(room: Room, fells: dict[str, str]) -> None:
    assert len(found_by(room, "geranium", limit=1)) == 1
    assert len(found_by(room, "meadow", limit=3)) == 3


def test_a_common_name_does_not_hide_the_others(room: Room) -> None:
    for plant in ["Geranium robertianum"] * 6 + ["Geranium sylvaticum"]:
        label(room, room.sheet_ready(), plant=plant)
    assert "Geranium sylvaticum" in [hit.plant for hit in found_by(room, "geranium", limit=4)]


@pytest.mark.parametrize("typed", ["", "   ", "zzz", "%", "_", "' OR 1=1 --", "\x00", "x" * 5000, "no.", "\u00b7"])
def test_nothing_sensible_finds_nothing(room: Room, fells: dict[str, str], typed: str) -> None:
    assert found_by(room, typed) == []
