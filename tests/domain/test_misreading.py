"""Misreading: a slip of eye or hand on a number that exists never does anything to another sheet."""

import random
from collections.abc import Callable, Iterator

import pytest
from stdnum.iso7064 import mod_37_2

from app.domain.numbers import CODES, Kind, Pattern, mint, mint_code
from app.domain.reading import Exact, Misread, Partial, read

Slips = Callable[[str], Iterator[str]]

TYPED = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
TQX = Pattern("TQX", 6)
OLD = Pattern("QM", 7, check=False)
ROOM = [TQX, OLD]


def a_dense_run(pattern: Pattern, first: int, many: int) -> list[str]:
    numbers, serial = [], first - 1
    for _ in range(many):
        serial, number = mint(pattern, serial)
        numbers.append(number)
    return numbers


EXISTING = a_dense_run(TQX, 3900, 500)
SOME = random.Random(7064).sample(EXISTING, 60)
CARDS = [mint_code(kind, 41)[1] for kind in CODES]


def one_character_wrong(number: str) -> Iterator[str]:
    for i, old in enumerate(number):
        yield from (number[:i] + new + number[i + 1 :] for new in TYPED if new != old)


def two_neighbours_swapped(number: str) -> Iterator[str]:
    for i in range(len(number) - 1):
        if number[i] != number[i + 1]:
            yield number[:i] + number[i + 1] + number[i] + number[i + 2 :]


def one_left_out(number: str) -> Iterator[str]:
    yield from (number[:i] + number[i + 1 :] for i in range(len(number)))


def one_put_in(number: str) -> Iterator[str]:
    yield from (number[:i] + new + number[i:] for i in range(len(number) + 1) for new in TYPED)


@pytest.mark.parametrize("slips", [one_character_wrong, two_neighbours_swapped])
@pytest.mark.parametrize("numbers", [SOME, CARDS], ids=["sheets", "cards"])
def test_a_wrong_or_swapped_character_never_reads_as_another_number(slips: Slips, numbers: list[str]) -> None:
    for number in numbers:
        for typed in slips(number):
            reading = read(typed, ROOM)
            assert not isinstance(reading, Exact) or reading.text == number, (number, typed)
            assert isinstance(reading, Exact) or number in getattr(reading, "could_be", ()), (number, typed)


@pytest.mark.parametrize("slips", [one_left_out, one_put_in])
@pytest.mark.parametrize("numbers", [SOME, CARDS], ids=["sheets", "cards"])
def test_a_number_too_short_or_too_long_is_never_done(slips: Slips, numbers: list[str]) -> None:
    for number in numbers:
        for typed in slips(number):
            reading = read(typed, ROOM)
            assert not isinstance(reading, Exact), (number, typed)
            assert isinstance(reading, Partial) or number in getattr(reading, "could_be", ()), (number, typed)


def test_a_forgotten_check_character_asks_which_one_and_names_the_number() -> None:
    for number in EXISTING:
        reading = read(number[:-1], ROOM)
        assert isinstance(reading, Partial)
        assert reading.could_be[0] == number
        assert all(mod_37_2.is_valid(other) for other in reading.could_be)


def test_digits_one_short_that_happen_to_check_out_are_named_beside_the_forgotten_check_character() -> None:
    # About 2.9 % of the numbers typed without their check character check out one digit short.
    twice = [n for n in EXISTING if mod_37_2.is_valid("TQX0" + n[3:-1])]
    assert twice
    for number in twice:
        assert read(number[:-1], [TQX]) == Partial(number[:-1], (number, "TQX0" + number[3:-1]))


def test_a_wrong_check_character_names_only_numbers_that_check_out() -> None:
    reading = read("tqx 004217.9", ROOM)
    assert isinstance(reading, Misread)
    assert reading.typed == "TQX0042179"
    assert "TQX0042171" in reading.could_be
    assert all(mod_37_2.is_valid(number) for number in reading.could_be)
    assert len(set(reading.could_be)) == len(reading.could_be)


def test_a_cabinet_typed_without_its_zeros_is_asked_about_and_without_its_check_character_is_misread() -> None:
    code = CODES[Kind.CABINET].spell(12)
    assert read("KC12" + code[-1], ROOM) == Partial("KC12" + code[-1], (code,))
    reading = read(code[:-1], ROOM)
    assert isinstance(reading, Misread)
    assert code in reading.could_be


def test_a_room_with_very_many_patterns_is_offered_three_hundred_candidates_at_most() -> None:
    many = [Pattern("TQ" + a + b, 6) for a in "ABCDEFGHIJKLMNOPQRST" for b in "ABCDEFGHIJKLMNOPQRST"]
    wrong = read("0042179", [pattern for pattern in many if not pattern.spell(4217).endswith("9")])
    assert isinstance(wrong, Misread)
    assert len(wrong.could_be) == 300
    short = read("4217", many)
    assert isinstance(short, Partial)
    assert len(short.could_be) == 300
