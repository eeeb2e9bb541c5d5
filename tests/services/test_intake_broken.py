"""Broken lists: each is answered with clear sentences that name line and column, and writes nothing at all."""

from __future__ import annotations

import io
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.db.engine import transaction
from app.domain.errors import Refused
from app.domain.numbers import CODES, Kind
from app.domain.table_faults import BadRow
from app.services.intake import ImportPlan, bad_rows, run_import
from tests.room import Room
from tests.services.parcels import EXAMPLE, HEAD, consign, counts, listed, number, plan, rows, run


def changed(line: int, column: str, text: str) -> bytes:
    """A right list of five rows, with one cell changed; line 2 is the first row."""
    some = rows(5)
    some[line - 2][HEAD.index(column)] = text
    return listed(some)


def headed(*head: str) -> bytes:
    """The right list under other headings."""
    return listed(rows(5), head)


def zipped() -> bytes:
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/worksheets/sheet1.xml", "<worksheet/>")
    return kept.getvalue()


GOOD = listed(rows(5))
ONE = GOOD.split(b"\r\n")[1].decode()
HERE, CARD = number(5000), CODES[Kind.STACK_OFF].spell(2)

# What is broken: the file, the line, the column, and words of the reason.
BROKEN: dict[str, tuple[bytes, int, str, str]] = {
    "nothing at all": (b"", 0, "", "The file is empty"),
    "a byte order mark and nothing else": (b"\xef\xbb\xbf\r\n", 0, "", "The file is empty"),
    "only blank lines": (b"\r\n\r\n  \r\n", 0, "", "The file is empty"),
    "only spaces that no keyboard has": ("\u00a0\u2003".encode(), 0, "", "The file is empty"),
    "headings and no row": (GOOD.split(b"\r\n")[0], 0, "", "no row under them"),
    "headings and empty rows": (GOOD.split(b"\r\n")[0] + b"\r\n,,,,,,,,,\r\n", 0, "", "no row under them"),
    "a spreadsheet": (zipped(), 0, "", "This is a spreadsheet"),
    "an old spreadsheet": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + GOOD, 0, "", "an old spreadsheet"),
    "a PDF": (b"%PDF-1.7\n" + GOOD, 0, "", "a PDF"),
    "a compressed file": (b"\x1f\x8b\x08" + GOOD, 0, "", "a compressed file"),
    "UTF-16 cut in a letter": (GOOD.decode().encode("utf-16")[:-1], 0, "", "cut or damaged"),
    "UTF-16 without its mark": (GOOD.decode().encode("utf-16-le"), 0, "", "UTF-16 without its mark"),
    "UTF-16 without its mark, the other way round": (GOOD.decode().encode("utf-16-be"), 0, "", "UTF-16 without its mark"),
    "UTF-32": (GOOD.decode().encode("utf-32"), 0, "", "UTF-32"),
    "a NUL byte in a cell": (changed(4, "locality", "Moss\0"), 4, "", "a NUL byte"),
    "UTF-8 and Windows-1252 in one": (changed(3, "recordedBy", "Döll") + "S\xe9g".encode("cp1252"), 7, "", "not UTF-8 (byte E9"),
    "a byte of no encoding": (GOOD.replace(b"flush 2", b"\x81"), 4, "", "not UTF-8 (byte 81"),
    "a byte cut off at the end": (changed(6, "habitat", "é")[:-3], 6, "", "cut off"),
    "no headings": (GOOD.split(b"\r\n", 1)[1], 1, "", "No column is headed catalogNumber"),
    "no column of numbers": (headed("otherCatalogNumbers", *HEAD[1:]), 1, "", "No column is headed catalogNumber"),
    "a slip in its heading": (headed("catalogNumer", *HEAD[1:]), 1, "“catalogNumer”", "the nearest is catalogNumber"),
    "a space in its heading": (headed("Catalog Number", *HEAD[1:]), 1, "“Catalog Number”", "the nearest is catalogNumber"),
    "a slip in another heading": (headed(*HEAD[:7], "localty", *HEAD[8:]), 1, "“localty”", "the nearest is locality"),
    "one heading twice": (headed(*HEAD[:9], "recordedBy"), 1, "“recordedBy”", "Two columns have this heading"),
    "one heading twice, once with its namespace": (headed(*HEAD[:9], "DWC:RECORDEDBY"), 1, "“recordedBy”", "Two columns"),
    "one heading of the house's own twice": (headed(*HEAD[:8], "van", "van"), 1, "“van”", "Two columns have this heading"),
    "a column without a heading": (headed(*HEAD[:9], ""), 1, "", "Column 10 has no heading"),
    "a heading as long as a page": (headed(*HEAD[:9], "w" * 201), 1, "“" + "w" * 40 + "…”", "more than 200 characters"),
    "commas and semicolons": (b"catalogNumber,family;locality\r\n1,a;b", 1, "“family;locality”", "by commas and by semicolons"),
    "semicolons and no numbers": (b"family;locality\r\na;b", 1, "", "No column is headed catalogNumber"),
    "bars": (GOOD.replace(b",", b"|"), 1, "", "No column is headed catalogNumber"),
    "a row too short": (GOOD + b"TQX009001R,Carex\r\n", 7, "scientificNameAuthorship", "too short: it has 2 cells"),
    "a row too long": (GOOD + ONE.replace(number(0), number(8)).encode() + b",more\r\n", 7, "habitat", "too long: it has 11"),
    "a quotation mark never closed": (GOOD + b'TQX009001R,"Carex\r\n', 7, "scientificName", "is never closed"),
    "a quotation mark within a cell": (GOOD + b'TQX009001R,5" Carex\r\n', 7, "scientificName", "inside a cell"),
    "text after a quotation mark": (GOOD + b'TQX009001R,"Carex" nigra\r\n', 7, "scientificName", "follows the closing"),
    "line ends of CR alone": (GOOD.replace(b"\r\n", b"\r"), 1, "", "CR alone"),
    "a cell as long as a book": (changed(4, "occurrenceRemarks", "x" * 10_001), 4, "occurrenceRemarks", "10,001 characters"),
    "no number": (changed(3, "catalogNumber", ""), 3, "catalogNumber", "There is no number"),
    "a wrong check character": (changed(3, "catalogNumber", "TQX009001S"), 3, "catalogNumber", "check character"),
    "two digits swapped": (changed(6, "catalogNumber", "TQX090001R"), 6, "catalogNumber", "check character"),
    "no check character": (changed(2, "catalogNumber", "TQX 009001"), 2, "catalogNumber", "without its check character"),
    "no prefix": (changed(2, "catalogNumber", "009001R"), 2, "catalogNumber", "not the whole number"),
    "zeros eaten by a spreadsheet": (changed(2, "catalogNumber", "9001R"), 2, "catalogNumber", "not the whole number"),
    "a digit too many": (changed(2, "catalogNumber", "TQX0090001R"), 2, "catalogNumber", "too many or too few"),
    "another house's number": (changed(2, "catalogNumber", "ZZ 4711"), 2, "catalogNumber", "no number of this room"),
    "a stack's card": (changed(2, "catalogNumber", CARD), 2, "catalogNumber", "the code of a card or a shelf"),
    "a formula for a number": (changed(2, "catalogNumber", "=A1"), 2, "catalogNumber", "no number of this room"),
    "one number twice": (changed(5, "catalogNumber", number(1)), 5, "catalogNumber", "stands in line 3 already"),
    "one number twice, written otherwise": (changed(5, "catalogNumber", number(1).lower()), 5, "catalogNumber", "in line 3"),
    "a number in use": (changed(4, "catalogNumber", HERE), 4, "catalogNumber", "in use for another sheet, which came with OLD"),
    "a day of no calendar": (changed(4, "eventDate", "2023-02-29"), 4, "eventDate", "no day of any calendar"),
    "a month of no calendar": (changed(5, "eventDate", "2024-13-01"), 5, "eventDate", "no day of any calendar"),
    "the headings twice": (GOOD + GOOD.split(b"\r\n")[0] + b"\r\n", 7, "", "The headings stand here once more"),
    "two files put together, with their marks": (
        GOOD + b"\xef\xbb\xbf" + GOOD.split(b"\r\n")[0] + b"\r\n", 7, "", "The headings stand here once more",
    ),
    "a cell of ten megabytes": (changed(4, "occurrenceRemarks", "x" * 10_000_000), 4, "occurrenceRemarks", "10,000,000 characters"),
    "cut in the middle of a row": (GOOD[: -len(ONE) // 2], 6, "eventDate", "too short"),
    "cut in a quotation mark": (GOOD[: GOOD.rindex(b'"')], 6, "locality", "never closed"),
    "a formula that calls a program, for a number": (
        changed(2, "catalogNumber", "=cmd|'/C calc'!A0"), 2, "catalogNumber", "no number of this room",
    ),
    "a script for a number": (changed(2, "catalogNumber", "<script>"), 2, "catalogNumber", "no number of this room"),
    "mixed line ends, one of them CR": (GOOD.replace(b"\r\n", b"\r", 2).replace(b"\r\n", b"\n"), 1, "", "CR alone"),
    "a day to come": (changed(4, "eventDate", "2062-06-18"), 4, "eventDate", "is still to come"),
}  # fmt: skip


class GivenUp(Exception):
    """An import that went well is undone, so that the next list meets the same room."""


def check_sentences(found: ImportPlan) -> None:
    assert found.bad and found.new == 0
    for bad in found.bad:
        assert bad.reason.endswith(".") and "\n" not in bad.said and len(bad.said) < 260, bad


@pytest.fixture
def receiving(room: Room) -> Room:
    """A room with a parcel just come, and one sheet of an older one."""
    consign(room)
    consign(room, "OLD")
    run(room, listed([[HERE, *rows(1)[0][1:]]]), "OLD")
    return room


def test_the_list_that_is_broken_here_in_so_many_ways_is_right(receiving: Room) -> None:
    assert len(BROKEN) >= 40 and plan(receiving, GOOD).said == "5 new, 0 already here."


@pytest.mark.parametrize(("data", "line", "column", "words"), BROKEN.values(), ids=BROKEN.keys())
def test_a_broken_list_is_named_by_line_and_column_and_writes_nothing(
    receiving: Room, data: bytes, line: int, column: str, words: str
) -> None:
    before = counts(receiving.database)
    found = plan(receiving, data)
    check_sentences(found)
    (bad,) = found.bad
    assert (bad.line, bad.column) == (line, column) and words in bad.reason, bad
    with pytest.raises(Refused) as raised:
        run(receiving, data)
    (refusal,) = raised.value.refusals
    assert refusal.code == "bad-rows" and words in refusal.words
    assert counts(receiving.database) == before


def test_every_bad_row_is_named_in_the_order_of_the_lines(receiving: Room) -> None:
    some = rows(6)
    some[0][0], some[2][0], some[3][0], some[4][6] = HERE, "TQX009001S", number(1), "2062-06-18"
    found = plan(receiving, listed(some))
    assert [(bad.line, bad.column) for bad in found.bad] == [
        (2, "catalogNumber"), (4, "catalogNumber"), (5, "catalogNumber"), (6, "eventDate"),
    ]  # fmt: skip
    assert found.said == "0 new, 0 already here, 4 that cannot be imported."
    with pytest.raises(Refused) as raised:
        run(receiving, listed(some))
    assert raised.value.refusals[0].words.endswith(" 3 more cannot be imported.")


def test_the_bad_row_that_is_named_is_the_first_of_those_that_are_listed() -> None:
    # A list of several files begins at line 1 in each of them.
    bad = [
        BadRow(2, "scientificName", "It is empty.", "taxon.txt"),
        BadRow(7, "catalogNumber", "It is taken.", "core.txt"),
    ]
    assert (
        bad_rows(bad).words
        == "Nothing is imported. core.txt, line 7, catalogNumber: It is taken. 1 more cannot be imported."
    )


def test_a_row_changed_since_it_was_imported_is_not_written_over(receiving: Room) -> None:
    run(receiving, GOOD)
    found = plan(receiving, changed(4, "locality", "elsewhere"))
    assert [bad.line for bad in found.bad] == [4] and "its row was changed since" in found.bad[0].reason
    assert found.unchanged == 4


def test_a_sheet_whose_taking_in_was_taken_back_is_sent_to_the_intake_station(receiving: Room) -> None:
    run(receiving, GOOD)
    receiving.takes_back(receiving.log(number(2))[0]["id"], "not in the parcel")
    found = plan(receiving, GOOD)
    assert [bad.line for bad in found.bad] == [4] and "scan the sheet at intake" in found.bad[0].reason


def test_a_sheet_that_was_scanned_in_before_its_list_came_is_not_overwritten(receiving: Room) -> None:
    scanned = receiving.new_number()
    receiving.scans(scanned, "intake")
    found = plan(receiving, changed(2, "catalogNumber", scanned))
    assert [bad.reason.split(": ")[0].split(" ", 2)[2] for bad in found.bad] == ["is in use for another sheet"]


def test_hostile_text_in_every_cell_is_kept_as_text(receiving: Room) -> None:
    texts = [
        "<script>alert(1)</script>",
        "=cmd|'/C calc'!A0",
        "'; DROP TABLE sheet; --",
        "\u202egnirts",
        "{number}",
        "\x1b[2J",
    ]
    for place, text in enumerate(texts):
        written = [[number(100 + place), *[text] * (len(HEAD) - 1)]]
        run(receiving, listed(written))
        row = receiving.row(number(100 + place))
        assert (row["locality"], row["record_number"], row["event_date"], row["notes"]) == (text,) * 4
        assert row["kept"] == {"habitat": text}


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.binary(max_size=200), st.integers(0, len(EXAMPLE)), st.integers(0, 30))
def test_any_bytes_anywhere_in_a_list_are_imported_or_answered_and_never_half_written(
    receiving: Room, junk: bytes, at: int, over: int
) -> None:
    data = EXAMPLE[:at] + junk + EXAMPLE[at + over :]
    before = counts(receiving.database)
    found = plan(receiving, data)
    if found.bad:
        check_sentences(found)
    else:
        assert found.new + found.unchanged > 0
    with pytest.raises(Refused if found.bad else GivenUp), transaction(receiving.database) as session:
        done = run_import(session, data, "GIFT-1", receiving.occasion, ())
        assert (done.new, done.unchanged) == (found.new, found.unchanged)
        raise GivenUp
    assert counts(receiving.database) == before
