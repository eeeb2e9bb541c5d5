"""What numbers and codes are made of, checked against published examples and an independent library."""

import random
import secrets

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_2

from app.domain.numbers import (
    CODES,
    COMMANDS,
    PREFIXES,
    Kind,
    Pattern,
    Shape,
    card_shapes,
    check_character,
    may_be_chosen,
    mint,
    mint_code,
    random_code,
    shown,
)
from app.domain.reading import Exact, read

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
TQX = Pattern("TQX", 6)
OLD = Pattern("QM", 7, check=False)

prefixes = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=1, max_size=8).filter(lambda p: p not in PREFIXES.values())
patterns = st.builds(Pattern, prefixes, st.integers(1, 12), st.booleans())


def test_the_blood_services_worked_example_has_the_check_character_they_print() -> None:
    # UK Blood Transfusion Services guidelines, Annex 2, Table A2.2: 148354 mod 37 = 21, 38 - 21 = 17, so H.
    assert check_character("G123498654321") == "H"


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("HB0000001", "N"),
        ("HB0000002", "L"),
        ("HB0000003", "J"),
        ("HB0012345", "M"),
        ("HB0012346", "K"),
        ("HB9999999", "X"),
    ],
)
def test_a_number_ends_in_the_character_worked_out_by_hand(body: str, expected: str) -> None:
    # Derived from the definition in ISO/IEC 7064: the sum of value times weight leaves 1 when divided by 37.
    assert check_character(body) == expected


def test_ten_thousand_numbers_agree_with_an_independent_library() -> None:
    draw = random.Random(37)
    for _ in range(10_000):
        body = "".join(draw.choices(ALPHABET, k=draw.randint(1, 20)))
        assert check_character(body) == mod_37_2.calc_check_digit(body), body


@pytest.mark.parametrize("body", ["", "tqx004217", "TQX 004217", "TQX004217*", "TQX-1", "٣", "É1", "\x00", "\ud800"])
def test_only_digits_and_capital_letters_have_a_check_character(body: str) -> None:
    with pytest.raises(ValueError, match="check character"):
        check_character(body)


@pytest.mark.parametrize("prefix", ["", "tqx", "TQ1", "T-X", "ÄB", "TQX\n", "ABCDEFGHI", "Ａ"])
def test_a_prefix_is_one_to_eight_capital_letters(prefix: str) -> None:
    with pytest.raises(ValueError, match="one to eight capital letters"):
        Pattern(prefix, 6)


@pytest.mark.parametrize("prefix", sorted(PREFIXES.values()))
def test_a_sheet_never_takes_the_prefix_of_a_card(prefix: str) -> None:
    with pytest.raises(ValueError, match=f"{prefix} is kept for the codes"):
        may_be_chosen(prefix, (TQX,))


@pytest.mark.parametrize("prefix", sorted({*PREFIXES.values()} - {PREFIXES[Kind.LOT]}))
def test_a_room_that_has_such_a_prefix_all_the_same_is_no_room_of_ours(prefix: str) -> None:
    with pytest.raises(ValueError, match=f"{prefix} is kept for the codes"):
        Pattern(prefix, 6)


# Of the length of a lot's card, of one more, of one less, and without a check character at the length of the card.
@pytest.mark.parametrize(("width", "check"), [(4, True), (5, True), (3, True), (5, False), (6, True)])
def test_a_room_whose_numbers_began_like_lots_before_lots_had_cards_reads_both(width: int, check: bool) -> None:
    older = Pattern("VG", width, check)
    may = (TQX, older)
    lot = card_shapes(may)[Kind.LOT]
    assert lot == Shape("VH", 4) and card_shapes((TQX,)) == CODES
    for serial in range(1, 300):
        assert read(older.spell(serial), may) == Exact(Kind.SHEET, older.spell(serial))
        assert read(lot.spell(serial), may) == Exact(Kind.LOT, lot.spell(serial))
    # What an older room chose for itself is kept free, and then the next is taken.
    assert card_shapes((older, Pattern("VH", 6)))[Kind.LOT].prefix == "VJ"
    with pytest.raises(ValueError, match="VH is kept"):
        may_be_chosen("VH", may)
    may_be_chosen("VH", (TQX,))
    assert shown(lot.spell(7), ()) == f"VH 0007·{lot.spell(7)[-1]}"


def test_a_serial_is_read_off_a_number_of_its_shape_only() -> None:
    assert TQX.serial_of(TQX.spell(4217)) == 4217
    assert [TQX.serial_of(text) for text in ("TQX0042172", "TQX004217", "KB0042171", "")] == [None] * 4


@pytest.mark.parametrize("width", [-1, 0, 13])
def test_a_number_has_one_to_twelve_digits(width: int) -> None:
    with pytest.raises(ValueError, match="1 to 12 digits"):
        Pattern("TQX", width)


def test_the_shortest_and_the_longest_pattern_are_allowed() -> None:
    assert Pattern("A", 1, check=False).spell(7) == "A7"
    assert Pattern("ABCDEFGH", 12, check=False).spell(7) == "ABCDEFGH000000000007"


def test_a_serial_is_spelled_as_long_as_it_fits() -> None:
    assert TQX.spell(4217) == "TQX0042171"
    assert OLD.spell(9_999_999) == "QM9999999"
    for serial in (-1, 10_000_000):
        with pytest.raises(ValueError, match="does not fit into the 7 digits"):
            OLD.spell(serial)


def test_serials_that_would_end_in_a_star_or_in_i_or_o_are_passed_over() -> None:
    # The first serials of HB0000000 that end in a star, as worked out with the independent library.
    hb = Pattern("HB", 7)
    assert [n for n in range(60) if mod_37_2.calc_check_digit(f"HB{n:07d}") == "*"] == [29, 37, 45, 53]
    readable = [n for n in range(60) if mod_37_2.calc_check_digit(f"HB{n:07d}") not in "*IO"]
    before = [-1, *readable[:-1]]
    assert [mint(hb, serial) for serial in before] == [(n, hb.spell(n)) for n in readable]


def test_the_last_free_number_is_given_and_after_it_none() -> None:
    three = Pattern("QM", 3, check=False)
    assert mint(three, 998) == (999, "QM999")
    with pytest.raises(ValueError, match="3 digits of QM are used up: set up a pattern with more digits"):
        mint(three, 999)
    assert mint(three, -50) == (0, "QM000")


@given(patterns, st.integers(-5, 10**12))
@settings(deadline=None)
def test_a_minted_number_is_new_checks_out_and_ends_in_a_character_that_can_be_read(shape: Pattern, after: int) -> None:
    assume(after < 10**shape.width - 40)
    serial, number = mint(shape, after)
    assert after < serial <= max(after, -1) + 10
    assert len(number) == len(shape.prefix) + shape.width + shape.check
    if shape.check:
        assert mod_37_2.is_valid(number)
        assert number[-1] not in "*IO"


def test_every_kind_of_card_has_a_prefix_of_its_own() -> None:
    assert set(PREFIXES) == set(Kind) - {Kind.SHEET}
    assert len(set(PREFIXES.values())) == len(PREFIXES)
    assert all(len(prefix) == 2 for prefix in PREFIXES.values())


def test_a_cabinet_and_a_shelf_of_the_same_serial_have_different_codes() -> None:
    assert CODES[Kind.CABINET].spell(12)[:6] == "KC0012"
    assert CODES[Kind.SHELF].spell(12)[:6] == "KS0012"
    assert all(mod_37_2.is_valid(CODES[kind].spell(12)) for kind in PREFIXES)


def test_the_first_codes_of_a_kind_pass_over_what_cannot_be_read() -> None:
    assert mod_37_2.calc_check_digit("VC0001") == "*"
    assert mint_code(Kind.COMMAND, 0)[0] == 2
    with pytest.raises(ValueError, match="used up"):
        mint_code(Kind.CABINET, 9999)


def test_a_sheet_has_no_card_code() -> None:
    with pytest.raises(ValueError, match="ask the pattern"):
        mint_code(Kind.SHEET, 0)


def test_the_printed_command_cards_never_change() -> None:
    # These hang on walls: should this fail, cards already printed have lost their meaning.
    assert COMMANDS == {
        "undo": "VC0002Y",
        "done": "VC0003W",
        "help": "VC0004U",
        "no-number": "VC0005S",
        "another-sheet": "VC0006Q",
        "already-done": "VC0008M",
        "yes": "VC0009K",
        "no": "VC0010Y",
        "closing": "VC0011W",
        "pest": "VC0012U",
        "round": "VC0013S",
        "unmounted": "VC0014Q",
        "morning": "VC0016M",
        "whole-shelf": "VC0017K",
        "check": "VC0019G",
        "cannot-be-read": "VC0020U",
        "new-load": "VC0021S",
        "same-number": "VC0022Q",
        "two-plants": "VC0024M",
        "same-specimen": "VC0025K",
        "damp": "VC0027G",
        "danger": "VC0028E",
        "label-here": "VC0029C",
    }
    assert all(mod_37_2.is_valid(code) for code in COMMANDS.values())


def test_a_badge_has_ten_random_digits_and_can_be_read() -> None:
    codes = {random_code(Kind.BADGE, secrets.randbelow) for _ in range(300)}
    assert len(codes) == 300
    assert all(len(code) == 13 and mod_37_2.is_valid(code) and code[-1] not in "*IO" for code in codes)


def test_a_draw_that_cannot_be_read_is_drawn_again() -> None:
    bad = next(n for n in range(100) if mod_37_2.calc_check_digit(f"VB{n:010d}") in "*IO")
    drawn = iter([bad, 1_234_567_890])
    assert random_code(Kind.BADGE, lambda below: next(drawn)).startswith("VB1234567890")
    with pytest.raises(ValueError, match="stuck"):
        random_code(Kind.BADGE, lambda below: bad)


def test_numbers_are_shown_with_a_gap_and_the_check_character_apart() -> None:
    assert shown("TQX0042171", [TQX]) == "TQX 004217·1"
    assert shown("QM0004217", [TQX, OLD]) == "QM 0004217"
    assert shown("VC0002Y", []) == "VC 0002·Y"


@pytest.mark.parametrize(
    "text", ["", "TQX0042172", "TQX00421711", "TQX004217", "tqx0042171", "ZZ9", "TQX٠٠٤٢١٧1", "TQX 004217·1"]
)
def test_a_text_that_is_no_number_here_is_shown_as_it_is(text: str) -> None:
    assert shown(text, [TQX, OLD]) == text


def test_two_patterns_of_one_length_are_shown_each_in_its_own_way() -> None:
    longer = Shape("TQX", 7, check=False)
    assert shown("TQX0042171", [longer, TQX]) == "TQX 0042171"
    assert shown("TQX0042172", [TQX, longer]) == "TQX 0042172"


def test_every_code_keeps_one_length_so_that_a_lost_digit_always_shows() -> None:
    for kind, shape in CODES.items():
        assert shape.check
        assert len(CODES[kind].spell(0)) == len(CODES[kind].spell(10**shape.width - 1))
