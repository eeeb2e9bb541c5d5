"""Reading scans and typed numbers: however it is written, never a different sheet."""

import time
import unicodedata

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_2

from app.domain.numbers import CODES, COMMANDS, Kind, Pattern, shown
from app.domain.reading import Exact, Misread, Partial, Unreadable, read

TQX = Pattern("TQX", 6)
OLD = Pattern("QM", 7, check=False)
ROOM = [TQX, OLD]
RUN = [TQX.spell(serial) for serial in range(3900, 4400)]
SHEET = Exact(Kind.SHEET, "TQX0042171")


@pytest.mark.parametrize(
    ("typed", "could_be"),
    [
        ("4217", ("TQX0042171", "QM0004217")),
        ("TQX4217", ("TQX0042171",)),
        ("TQX004217", ("TQX0042171",)),
        ("tqx 42171", ("TQX042171C", "TQX0042171")),
        ("004217-1", ("TQX0042171", "QM0042171")),
        ("QM 4217", ("QM0004217",)),
        ("QM1", ("QM0000001",)),
    ],
)
def test_what_was_left_out_is_supplied_only_as_a_question(typed: str, could_be: tuple[str, ...]) -> None:
    reading = read(typed, ROOM)
    assert isinstance(reading, Partial)
    assert reading.could_be == could_be


def test_a_text_that_fits_two_patterns_is_asked_about() -> None:
    # TQO with three digits and TQ with four: the letter O and the figure 0 look alike.
    two = [Pattern("TQO", 3, check=False), Pattern("TQ", 4, check=False)]
    assert read("TQO123", two) == Partial("TQO123", ("TQ0123", "TQO123"))
    assert read("TQ0123", two) == Exact(Kind.SHEET, "TQ0123")


def test_an_older_number_without_check_character_reads_when_it_has_all_its_digits() -> None:
    assert read("qm 0004217", ROOM) == Exact(Kind.SHEET, "QM0004217")
    assert isinstance(read("QM00042170", ROOM), Unreadable)


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_a_command_card_reads_in_every_room(command: str) -> None:
    assert read(COMMANDS[command].lower() + "\t", []) == Exact(Kind.COMMAND, COMMANDS[command])


@pytest.mark.parametrize(
    "typed",
    [
        "TQX0042171",
        "tqx0042171",
        "  Tqx 004217 1 ",
        "TQX.004217.1",
        "TQX 004217·1",
        "TQX\u00a0004217\u20221",
        "ＴＱＸ００４２１７１",
        "ｔｑｘ　００４２１７－１",
        "TQXOO42l71",
        "tqxoo42i71",
        "TQX0042171\r\n",
        "TQX0042171\r",
        "TQX0042171\t",
        "]C0TQX0042171",  # AIM identifiers as ISO/IEC 15424 gives them, from memory: Code 128, QR, Data Matrix, Code 39
        "]Q1TQX0042171\r",
        "]d2tqx-004217-1\n",
        "]A0TQX 004217 1",
        "\ufeffTQX\u200b0042171\u200e",
        "\u202aTQX0042171\u202c",
        "T-Q-X-0-0-4-2-1-7-1",
    ],
)
def test_the_same_number_reads_the_same_however_it_is_written(typed: str) -> None:
    assert read(typed, ROOM) == SHEET


def test_every_dash_and_space_of_unicode_may_stand_between() -> None:
    between = [c for c in map(chr, range(0x11000)) if unicodedata.category(c) in ("Pd", "Zs")]
    assert len(between) > 30
    for mark in between:
        assert read(f"TQX{mark}004217{mark}1", ROOM) == SHEET, hex(ord(mark))


def test_letters_are_taken_for_digits_only_among_the_digits() -> None:
    lo = Pattern("LOI", 4)
    number = lo.spell(101)
    assert read("LOIoiOl" + number[-1], [lo]) == Exact(Kind.SHEET, number)
    assert not isinstance(read("10I0101" + number[-1], [lo]), Exact)
    with_one = next(n for n in RUN if n.endswith("1"))
    with_nought = next(n for n in RUN if n.endswith("0"))
    assert isinstance(read(with_one[:-1] + "l", ROOM), Misread)
    assert isinstance(read(with_nought[:-1] + "O", ROOM), Misread)


@pytest.mark.parametrize("typed", ["TQX0042ı71", "TQX٠٠٤٢١٧1", "ТQX0042171", "TQX004217\u202e1", "TQX0042\x00171"])
def test_a_character_that_only_looks_alike_is_not_guessed_at(typed: str) -> None:
    assert read(typed, ROOM) == Unreadable(len(typed), None)


@pytest.mark.parametrize("word", ["oil", "lo", "I", "OOO", "", " ", "]C0", "-·.", "done", "Silene dioica", "*", "TQX"])
def test_a_word_is_never_a_number(word: str) -> None:
    assert read(word, ROOM) == Unreadable(len(word), None)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("E00123456", "E00123456"),
        ("4006381333931", "4006381333931"),
        ("TQX00421799999", "TQX00421799999"),
        ("hunter2", None),
        ("Quillmoor1984", None),
        ("Anna1984", None),
        ("ANNA1984", None),
        ("abc1234567", None),
        ("E12345", None),
        ("correct horse battery staple", None),
        ("p4$$w0rd!", None),
        ("TQX004217\n1", None),
    ],
)
def test_what_cannot_be_read_is_kept_only_where_it_cannot_be_a_secret(typed: str, kept: str | None) -> None:
    assert read(typed, ROOM) == Unreadable(len(typed), kept)


def test_a_pin_typed_where_no_pattern_could_make_a_sheet_of_it_is_not_kept() -> None:
    for pin in ("1234", "12345678"):
        assert read(pin, []) == Unreadable(len(pin), None)


@pytest.mark.parametrize(
    "text",
    ["9" * 10_000_000, "\x00" * 81, "TQX0042171" * 9, "\ufdfa" * 80],
    ids=["10 MB", "nuls", "nine scans", "grows"],
)
def test_a_text_far_too_long_is_unreadable_at_once(text: str) -> None:
    begun = time.perf_counter()
    assert read(text, ROOM) == Unreadable(len(text), None)
    assert time.perf_counter() - begun < 0.1


def test_exactly_eighty_characters_are_still_looked_at() -> None:
    assert read("TQX0042171" + "-" * 70, ROOM) == SHEET
    assert isinstance(read("TQX0042171" + "-" * 71, ROOM), Unreadable)


texts = st.one_of(st.text(st.characters()), st.text("TQXKCBVW0123456789OIl*-. ·]\u202e\x00\ud800٣", max_size=30))


@given(texts)
@settings(deadline=None)
@example("\ud800TQX0042171")
@example("TQX\x000042171")
@example("TQX٠٠٤٢١٧1")
@example("\u202e1712400XQT")
@example("TQXıß0421·1")
def test_no_text_breaks_the_reading_and_what_is_exact_checks_out(text: str) -> None:
    reading = read(text, ROOM)
    if isinstance(reading, Exact) and not reading.text.startswith("QM"):
        assert mod_37_2.is_valid(reading.text)
    could_be = getattr(reading, "could_be", ())
    assert len(could_be) <= 300
    assert all(isinstance(read(number, ROOM), Exact) for number in could_be)


@given(st.sampled_from([TQX, OLD, Pattern("OIL", 4), Pattern("ABCDEFGH", 12), Pattern("Z", 1)]), st.data())
@settings(deadline=None)
def test_a_number_shown_to_people_reads_back_as_itself(pattern: Pattern, data: st.DataObject) -> None:
    number = pattern.spell(data.draw(st.integers(0, 10**pattern.width - 1)))
    assert read(shown(number, [pattern]), [pattern]) == Exact(Kind.SHEET, number)


@given(st.sampled_from(sorted(CODES)), st.integers(0, 9999))
@settings(deadline=None)
def test_a_card_shown_to_people_reads_back_as_itself(kind: Kind, serial: int) -> None:
    code = CODES[kind].spell(serial)
    assert read(shown(code, []), ROOM) == Exact(kind, code)


def test_a_thousand_right_scans_are_read_in_a_twentieth_of_a_second() -> None:
    # Measured at 4 millionths of a second each; the bound leaves a slow machine more than ten times that.
    def seconds() -> float:
        begun = time.perf_counter()
        assert all(isinstance(read(number, ROOM), Exact) for number in RUN * 2)
        return time.perf_counter() - begun

    assert min(seconds() for _ in range(5)) < 0.05
