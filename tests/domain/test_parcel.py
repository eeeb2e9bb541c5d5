"""One row of a list: what is taken from it, what is kept as it came, and why a number is not taken."""

from __future__ import annotations

from datetime import date

import pytest

from app.domain.numbers import CODES, Kind, Pattern
from app.domain.parcel import ListedSheet, listed_sheet, number_fault, parcel_of
from app.domain.table import BadRow, Row

TQX, OLD = Pattern("TQX", 6), Pattern("QMH", 5, check=False)
TODAY = date(2026, 11, 25)


def listed(**cells: str) -> ListedSheet | BadRow:
    return listed_sheet(Row(7, tuple(cells.values())), parcel_of(tuple(cells), (TQX, OLD), TODAY))


def sheet(**cells: str) -> ListedSheet:
    found = listed(catalogNumber=TQX.spell(9001), **cells)
    assert isinstance(found, ListedSheet), found
    return found


def test_the_rooms_own_terms_are_read_and_all_others_kept_as_they_came() -> None:
    found = sheet(
        scientificName=" Salix ×multinervis ", scientificNameAuthorship="Döll", family="Salicaceae", recordedBy="Aoife Séguin",
        recordNumber="108", fieldNumber="QF-7", eventDate="2024-06-18", locality="Sallow Beck", habitat=" beck side ",
        preparations="pressed | packet", typeStatus="", otherCatalogNumbers="QMH 117",
    )  # fmt: skip
    assert found.plant == ("Salix ×multinervis", "Döll", "Salicaceae") and found.collector == "Aoife Séguin"
    assert found.known == {
        "record_number": "108", "event_date": "2024-06-18", "locality": "Sallow Beck", "notes": None,
        "kept": {"fieldNumber": "QF-7", "habitat": " beck side ", "preparations": "pressed | packet",
                 "otherCatalogNumbers": "QMH 117"}, "is_sensitive": False,
    }  # fmt: skip


def test_both_kinds_of_remarks_become_the_notes() -> None:
    assert (
        sheet(occurrenceRemarks="In fruit.", materialEntityRemarks="Bulky root.").known["notes"]
        == "In fruit.\nBulky root."
    )
    assert sheet(occurrenceRemarks="", materialEntityRemarks="Bulky root.").known["notes"] == "Bulky root."


def test_the_same_row_in_another_order_and_with_other_line_ends_tells_the_same() -> None:
    one = sheet(locality="Lorn Tarn", occurrenceRemarks="two\r\nlines", box="4")
    assert sheet(box="4", occurrenceRemarks="two\nlines", locality=" Lorn Tarn", habitat="").content == one.content
    assert sheet(box="5", occurrenceRemarks="two\nlines", locality="Lorn Tarn").content != one.content
    assert sheet(locality="Lorn Tarn", occurrenceRemarks="two\nlines").content != one.content


@pytest.mark.parametrize(
    "text", ["=1+1", "+44", "-3", "@SUM(A1)", "<script>x()</script>", "'; DROP TABLE sheet; --", "{line}"]
)
def test_whatever_stands_in_a_cell_is_only_text(text: str) -> None:
    found = sheet(scientificName=text, recordedBy=text, locality=text, box=text)
    assert found.plant[0] == found.collector == found.known["locality"] == found.known["kept"]["box"] == text


@pytest.mark.parametrize(
    "written", ["TQX009001R", "tqx 009001·r", "TQX-009001-R", " TQX 009OO1 R\u00a0", "QMH00117", "qmh 00117"]
)
def test_a_number_is_taken_however_it_is_written(written: str) -> None:
    found = listed(catalogNumber=written)
    assert isinstance(found, ListedSheet) and found.number in ("TQX009001R", "QMH00117")


@pytest.mark.parametrize(("written", "words"), [
    ("", "There is no number"),
    ("   ", "There is no number"),
    ("TQX009001S", "The check character of “TQX009001S” does not fit"),
    ("TQX009010R", "The check character of “TQX009010R” does not fit"),
    ("TQX009001", "“TQX009001” is without its check character"),
    ("9001R", "not the whole number"),
    ("TQX 9001 R", "not the whole number"),
    ("TQX09001R", "not the whole number"),
    ("TQX0090011R", "a character too many or too few"),
    ("ABC 4711", "is no number of this room; they look like TQX 000001·"),
    ("Salix herbacea", "is no number of this room"),
    ("9,001", "is no number of this room"),
    ("x" * 5000, "is no number of this room"),
    (CODES[Kind.STACK_ON].spell(1), "is the code of a card or a shelf"),
    (CODES[Kind.SHELF].spell(3), "is the code of a card or a shelf"),
])  # fmt: skip
def test_a_number_that_does_not_read_right_is_never_taken(written: str, words: str) -> None:
    found = listed(catalogNumber=written)
    assert isinstance(found, BadRow) and (found.line, found.column) == (7, "catalogNumber")
    assert words in found.reason and found.reason.endswith(".") and len(found.reason) < 200


def test_a_room_with_one_pattern_names_it_as_the_example() -> None:
    assert number_fault("nothing", [OLD]) == "“nothing” is no number of this room; they look like QMH 00001."


@pytest.mark.parametrize(("written", "is_taken"), [
    ("2026-11-24", True), ("2026-11-25", True), ("2026-11-26", False), ("2062-06-18", False),
    ("2027", True), ("2024-06", True), ("2024-06-18/2024-06-20", True), ("18. VI. 1887", True), ("2024-02-30", False), ("2024-13-01", False), ("2024-02", True), ("24-02-30", True), ("", True),
])  # fmt: skip
def test_a_day_still_to_come_or_of_no_calendar_is_refused_and_any_other_date_is_kept_as_written(
    written: str, is_taken: bool
) -> None:
    found = listed(catalogNumber=TQX.spell(9001), eventDate=written)
    assert isinstance(found, ListedSheet) is is_taken
    if isinstance(found, ListedSheet):
        assert found.known["event_date"] == (written or None)
