"""Reading a CSV file: what RFC 4180 says, what the csv module reads, and one clear sentence for all that is broken."""

from __future__ import annotations

import csv
import io

import pytest
from dwca.darwincore.terms import TERMS as OLD_TERMS
from dwca.darwincore.utils import qualname
from hypothesis import example, given
from hypothesis import strategies as st

from app.domain import table
from app.domain.parcel import USED
from app.domain.table import BadRow, BadTable, Row, open_table
from app.domain.terms import TERMS, nearest, term_for

HEAD = "catalogNumber,recordedBy,locality\r\n"


def rows(text: str | bytes) -> list[Row | BadRow]:
    return list(open_table(text.encode() if isinstance(text, str) else text).rows())


def cells(text: str | bytes) -> list[tuple[str, ...]]:
    return [row.cells for row in rows(text) if isinstance(row, Row)]


def fault(text: str | bytes) -> BadRow:
    with pytest.raises(BadTable) as raised:
        rows(text)
    return raised.value.bad


# RFC 4180 (Y. Shafranovich, October 2005), section 2: the examples of its rules 1 to 7, under headings of ours.
RFC_4180 = {
    "1. each record on a line of its own": ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [("aaa", "bbb", "ccc"), ("zzz", "yyy", "xxx")]),
    "2. the last record without a line break": ("aaa,bbb,ccc\r\nzzz,yyy,xxx", [("aaa", "bbb", "ccc"), ("zzz", "yyy", "xxx")]),
    "4. fields parted by commas": ("aaa,bbb,ccc", [("aaa", "bbb", "ccc")]),
    "4. spaces are part of a field": ("aaa, bbb ,ccc", [("aaa", " bbb ", "ccc")]),
    "5. fields with or without double quotes": ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [("aaa", "bbb", "ccc"), ("zzz", "yyy", "xxx")]),
    "6. a line break within double quotes": (
        '"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [("aaa", "b\r\nbb", "ccc"), ("zzz", "yyy", "xxx")],
    ),
    "7. a double quote within double quotes": ('"aaa","b""bb","ccc"', [("aaa", 'b"bb', "ccc")]),
}  # fmt: skip


@pytest.mark.parametrize(("text", "expected"), RFC_4180.values(), ids=RFC_4180.keys())
def test_the_examples_of_rfc_4180_read_as_it_says(text: str, expected: list[tuple[str, ...]]) -> None:
    assert cells(HEAD + text) == expected


def test_rule_3_of_rfc_4180_the_header_line_names_the_fields() -> None:
    columns = open_table(b"catalogNumber,field_name,field_name_too\r\naaa,bbb,ccc").columns
    assert columns == ("catalogNumber", "field_name", "field_name_too")


A_CELL = st.text(st.characters(exclude_characters="\0", codec="utf-8"), max_size=12)
LISTS = st.lists(st.tuples(A_CELL, A_CELL, A_CELL), min_size=1, max_size=8).filter(
    lambda each: any("".join(row).strip() for row in each)
)


# With LF alone the csv module leaves a CR without quotation marks, which no reader can tell from a line end.
WAYS = [(csv.QUOTE_MINIMAL, "\r\n"), (csv.QUOTE_ALL, "\r\n"), (csv.QUOTE_ALL, "\n")]


@given(LISTS, st.sampled_from(WAYS))
@example([("=cmd|' /C calc'!A0", "+1", "@SUM(A1)")], WAYS[0])
@example([("Salix ×multinervis", "é\u0301", "\u2028")], WAYS[0])
def test_what_the_csv_module_writes_is_read_back_as_it_was(
    written: list[tuple[str, str, str]], way: tuple[int, str]
) -> None:
    text = io.StringIO(newline="")
    csv.writer(text, quoting=way[0], lineterminator=way[1]).writerows(written)
    assert cells(HEAD + text.getvalue()) == [row for row in written if "".join(row).strip()]


@given(st.text(st.sampled_from('",ab\n'), max_size=40))
def test_whatever_is_read_the_csv_module_in_its_strict_form_reads_too(text: str) -> None:
    """One way only: the csv module lets a quotation mark stand within a cell without any, which RFC 4180 forbids."""
    try:
        ours = rows(HEAD + text)
    except BadTable:
        return
    theirs = [each for each in csv.reader(io.StringIO(HEAD + text, newline=""), strict=True) if "".join(each).strip()]
    assert [row.cells for row in ours if isinstance(row, Row)] == [tuple(each) for each in theirs[1:] if len(each) == 3]
    assert len(ours) == len(theirs) - 1


def test_a_row_is_known_by_the_line_on_which_it_begins_also_after_cells_over_several_lines() -> None:
    read = rows(HEAD + '1,"a\nb\nc",x\r\n\r\n2,"d\r\ne",y\n3,f,z\n')
    assert [row.line for row in read] == [2, 6, 8]


def test_rows_without_any_text_are_passed_over() -> None:
    assert [row.line for row in rows(HEAD + '\r\n,,\r\n"","",\r\n  , ,\r\n1,a,b\r\n\r\n')] == [6]


@pytest.mark.parametrize("line_end", ["\r\n", "\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_a_byte_order_mark_and_either_line_end_make_no_difference(mark: bytes, line_end: str) -> None:
    text = line_end.join(["catalogNumber,recordedBy,locality", "1,Séguin,Moss", "2,Hölm,Fell"])
    assert cells(mark + text.encode()) == [("1", "Séguin", "Moss"), ("2", "Hölm", "Fell")]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_semicolons_or_tabs_are_read_where_only_so_there_is_a_column_for_the_numbers(separator: str) -> None:
    lines = ["catalogNumber,recordedBy,locality", "1,Séguin,Moss"]
    text = "\n".join(line.replace(",", separator) for line in lines) + f'\n2{separator}"a{separator}b"{separator}c'
    assert cells(text) == [("1", "Séguin", "Moss"), ("2", f"a{separator}b", "c")]


# -- headings -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("heading", [
    "catalogNumber", "CATALOGNUMBER", "catalognumber", "dwc:catalogNumber", "DWC:CatalogNumber", "  catalogNumber ",
    "http://rs.tdwg.org/dwc/terms/catalogNumber",
])  # fmt: skip
def test_a_term_is_known_in_any_case_and_with_its_namespace(heading: str) -> None:
    assert term_for(heading) == "catalogNumber"


def test_what_is_no_term_keeps_the_heading_that_it_came_with() -> None:
    columns = open_table(b"catalogNumber,Tray in the van,dwc:habitat\n1,2,3").columns
    assert columns == ("catalogNumber", "Tray in the van", "habitat")


@pytest.mark.parametrize(("heading", "meant"), [
    ("catalogNumer", "catalogNumber"), ("catalog number", "catalogNumber"), ("catalog_number", "catalogNumber"),
    ("recordedby:", "recordedBy"), ("scientificNames", "scientificName"), ("famly", "family"), ("localty", "locality"),
    ("colour of the corolla", None), ("", None), ("x" * 5000, None),
])  # fmt: skip
def test_a_slip_in_a_heading_is_known_by_the_term_it_is_nearest_to(heading: str, meant: str | None) -> None:
    assert nearest(heading) == meant


def test_no_term_is_taken_for_a_slip_of_another() -> None:
    assert [term for term in TERMS if term_for(term) != term] == []
    assert len(TERMS) == len(set(TERMS)) == len({term.casefold() for term in TERMS})


def test_the_terms_that_the_room_reads_are_darwin_cores_own() -> None:
    """python-dwca-reader 0.17.1 carries an older list, in which materialEntityRemarks (2023) is not yet."""
    known = [term for term in USED if term != "materialEntityRemarks"]
    assert [qualname(term) for term in known] == [f"http://rs.tdwg.org/dwc/terms/{term}" for term in known]
    with pytest.raises(StopIteration):
        qualname("materialEntityRemarks")


def test_every_term_of_the_older_list_is_still_known_but_for_classes_and_those_that_were_dropped() -> None:
    old = {term.rsplit("/", 1)[1] for term in OLD_TERMS}
    assert old - set(TERMS) == {"Event", "Occurrence", "Taxon", "individualID", "occurrenceDetails", "rights", "source"}


# -- bounds ---------------------------------------------------------------------------------------------------------
def test_a_cell_is_kept_up_to_its_limit_and_not_one_character_longer() -> None:
    for length, kind in ((table.LONGEST_CELL - 1, Row), (table.LONGEST_CELL, Row), (table.LONGEST_CELL + 1, BadRow)):
        (row,) = rows(HEAD + f"1,{'a' * length},b")
        assert type(row) is kind
    assert row == BadRow(2, "recordedBy", "The cell has 10,001 characters; up to 10,000 are kept: shorten it.")


@pytest.mark.parametrize(("many", "is_read"), [(199_999, True), (200_000, True), (200_001, False)])
def test_as_many_rows_as_the_limit_are_read_and_not_one_more(many: int, is_read: bool) -> None:
    text = "catalogNumber\n" + "1\n" * many
    if is_read:
        assert sum(1 for _ in open_table(text.encode()).rows()) == many
    else:
        assert fault(text) == BadRow(200_002, "", "There are more than 200,000 rows: part the file into several.")


@pytest.mark.parametrize(("over", "is_read"), [(-1, True), (0, True), (1, False)])
def test_a_file_is_read_up_to_its_limit_and_not_one_byte_larger(
    over: int, is_read: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert table.MOST_BYTES == 64 * 1024 * 1024
    text = "catalogNumber\n1\n"
    monkeypatch.setattr(table, "MOST_BYTES", len(text) - over)
    if is_read:
        assert cells(text) == [("1",)]
    else:
        assert "part it into several" in fault(text).reason


@pytest.mark.parametrize(("many", "is_read"), [(399, True), (400, True), (401, False)])
def test_as_many_columns_as_the_limit_are_read_and_not_one_more(many: int, is_read: bool) -> None:
    text = (
        ",".join(["catalogNumber", *(f"box {number:04}" for number in range(many - 1))])
        + "\n"
        + "1," * (many - 1)
        + "1"
    )
    if is_read:
        assert len(cells(text)[0]) == many
    else:
        assert fault(text).reason == "There are 401 columns; up to 400 are read: take some out."


# -- broken rows ----------------------------------------------------------------------------------------------------
def test_a_row_with_too_few_or_too_many_cells_is_named_and_the_next_is_read() -> None:
    quote = "put a cell with a separator in it in quotation marks"
    assert rows(HEAD + "1,a\n2,b,c,d\n3,e,f") == [
        BadRow(2, "locality", "The row is too short: it has 2 cells, the headings 3."),
        BadRow(3, "locality", f"The row is too long: it has 4 cells, the headings 3; {quote}."),
        Row(4, ("3", "e", "f")),
    ]


QUOTES: dict[str, tuple[str, int, str, str]] = {
    "never closed": ('1,a,b\n2,"c,d\n3,e,f\n', 3, "recordedBy", "never closed"),
    "within a cell": ('1,a 5" pot "b",c', 2, "recordedBy", "stands inside a cell"),
    "after the closing one": ('1,"a" b,c', 2, "recordedBy", "follows the closing quotation mark"),
    "a stray one, closed by the next row": ('1,"a,b\n2,"c",d\n3,"e",f"', 2, "recordedBy", "follows the closing"),
    "inches, and no quotation mark after it": ('1,a 5" pot,b\n2,c,d', 2, "recordedBy", "stands inside a cell"),
    "after a space": ('1, "a",b', 2, "recordedBy", "stands inside a cell"),
    "a lone CR": ("1,a\rb,c\n", 2, "recordedBy", "CR alone"),
}


@pytest.mark.parametrize(("text", "line", "column", "words"), QUOTES.values(), ids=QUOTES.keys())
def test_a_quotation_mark_or_line_end_out_of_place_is_named_with_its_line(
    text: str, line: int, column: str, words: str
) -> None:
    bad = fault(HEAD + text)
    assert (bad.line, bad.column) == (line, column) and words in bad.reason


def test_windows_1252_is_read_said_and_shown_by_its_first_letter_that_is_not_plain() -> None:
    text = HEAD.encode() + "1,Holloway,Moss\n2,Séguin,Fell\n3,Döll “Beck”,€".encode("cp1252")
    letters = open_table(text).letters
    assert (letters.encoding, letters.look_line) == ("Windows-1252", 3) and "Séguin" in letters.look
    assert cells(text)[1:] == [("2", "Séguin", "Fell"), ("3", "Döll “Beck”", "€")]


def test_a_file_that_is_partly_utf_8_is_not_guessed_at() -> None:
    text = (HEAD + "1,Séguin,Moss\n").encode() + "2,Döll,Fell".encode("cp1252")
    assert fault(text) == BadRow(3, "", "It is not UTF-8 (byte F6 at place 4): save the list as “CSV UTF-8”.")


@pytest.mark.parametrize("codec", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_is_read_by_its_mark_and_refused_without(codec: str) -> None:
    text = HEAD + "1,Séguin,Skarn Tarn ☂\n"
    mark = {"utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}.get(codec, b"")
    assert cells(mark + text.encode(codec)) == [("1", "Séguin", "Skarn Tarn ☂")]
    assert open_table(mark + text.encode(codec)).letters.encoding == "UTF-16"
    if mark:
        assert fault(text.encode(codec)).reason.startswith("This looks like text in UTF-16 without its mark")


def is_a_sentence(words: str) -> bool:
    return words[0].isupper() or words[0] == "“" and words.endswith(".") and "\n" not in words


@given(st.binary(max_size=300))
@example("\u00a0".encode())
@example(b"\x1c\x1d")
@example(b"\xef\xbb\xbf\xef\xbb\xbf")
@example(b'"')
@example(b"catalogNumber\r")
@example(b"catalogNumber;\tfamily,\n1")
def test_any_bytes_are_read_or_answered_with_one_sentence(data: bytes) -> None:
    for text in (data, HEAD.encode() + data, b"catalogNumber;family\n" + data):
        try:
            assert all(isinstance(row, Row) or is_a_sentence(row.reason) for row in open_table(text).rows())
        except BadTable as raised:
            assert is_a_sentence(raised.bad.reason)
            assert raised.bad.line <= text.count(b"\n") + 1
