"""Cells and columns that go out are found again: whatever a cell begins with, and whatever a column is called."""

from __future__ import annotations

import csv
import io

from hypothesis import given
from hypothesis import strategies as st

from app.domain.cells import FORMULA_SIGNS, guarded, kept_line, unguarded
from app.domain.mapping import KEEP, LEAVE, columns_of, proposed, straight
from app.domain.out_table import heading_of
from app.domain.out_told import CHANGES, Told, as_kept, changes, disposition, from_kept, kept_back
from app.domain.own_columns import LEFT_OUT, SENSITIVE, is_own, own_column
from app.domain.stages import Stage
from app.domain.terms import TERMS

AWKWARD = st.text(alphabet=st.sampled_from(["'", *FORMULA_SIGNS, "a", " ", '"', ","]), max_size=6)


@given(AWKWARD | st.text(max_size=20))
def test_a_guarded_cell_begins_no_formula_and_is_found_again(text: str) -> None:
    assert not guarded(text).startswith(FORMULA_SIGNS)
    assert unguarded(guarded(text)) == text


# OWASP, "CSV Injection"; an apostrophe of the text's own stays what it is.
def test_what_is_guarded_and_what_is_not() -> None:
    for text, there in (("=1+1", "'=1+1"), ("'=1+1", "''=1+1"), ("''-", "'''-"), ("'twas", "'twas"), ("'", "'"), ("", ""), ("1-2", "1-2"),
                        ("＋1", "'＋1")):  # fmt: skip
        assert guarded(text) == there and unguarded(there) == text, text


@given(st.lists(AWKWARD, min_size=1, max_size=5))
def test_a_line_is_read_by_the_csv_reader_of_python(cells: list[str]) -> None:
    (row,) = csv.reader(io.StringIO(kept_line(cells), newline=""))
    assert [unguarded(cell) for cell in row] == [cell.replace("\0", "") for cell in cells]


@given(
    st.sampled_from([*TERMS, *LEFT_OUT, SENSITIVE, "Van", "catalognumber", "habbitat", " x ", "blotter:kept:Van"])
    | st.text(max_size=30)
)
def test_a_column_is_kept_under_its_own_name(name: str) -> None:
    heading = heading_of(name)
    kept = own_column(heading, in_own_file=True)
    if kept is None:
        kept = straight(1, ["catalogNumber", heading, SENSITIVE])[1]
    assert kept == name


def test_what_a_room_says_of_a_sheet_is_left_out_of_its_own_files_and_of_no_other() -> None:
    own = [
        "id",
        "catalogNumber",
        "preparations",
        "blotter:stage",
        "blotter:shelf",
        SENSITIVE,
        "habitat",
        "blotter:kept:preparations",
    ]
    assert is_own(own) and straight(1, own) == ("", "catalogNumber", "", "", "", SENSITIVE, "habitat", "preparations")
    assert straight(1, ["id", "catalogNumber", "preparations"]) == ("id", "catalogNumber", "preparations")
    ways = proposed(own)
    assert ways == (LEAVE, "catalogNumber", LEAVE, LEAVE, LEAVE, KEEP, "habitat", KEEP)
    assert columns_of(1, own, ways) == ("", "catalogNumber", "", "", "", SENSITIVE, "habitat", "preparations")


def test_what_is_told_otherwise_is_named_by_its_kind() -> None:
    was = Told(
        {"catalogNumber": "A", "blotter:stage": "filed", "blotter:shelf": "1", "family": "Ericaceae"}, {"Van": "7"}
    )
    assert (
        changes(was, was) == ()
        and changes(was, Told({**was.cells, "modified": "later", "blotter:since": "x"}, was.kept)) == ()
    )
    for columns, kind in (("catalogNumber", "number"), ("blotter:stage", "standing"), ("disposition", "standing"), ("family", "name"),
                          ("blotter:shelf", "shelf"), ("locality", "label")):  # fmt: skip
        assert changes(was, Told({**was.cells, columns: "other"}, was.kept)) == (kind,), columns
    assert changes(was, Told(was.cells, {"Van": "8"})) == ("label",)
    every = Told(dict.fromkeys([name for _, names in CHANGES for name in names], "other"), {})
    assert changes(was, every) == ("number", "standing", "name", "shelf", "label")


def test_what_was_told_is_kept_and_found_again() -> None:
    told = Told(
        {"catalogNumber": "A", "locality": "the well", "country": ""}, {"Van": "7", "country": "Norway"}, True, (3, 4)
    )
    assert from_kept(as_kept(told)) == told
    back = kept_back(told)
    assert (back.cell("locality"), back.cell("country"), back.cell("blotter:kept:Van")) == ("", "Norway", "")
    assert kept_back(Told(told.cells, told.kept)) == Told(told.cells, told.kept)


# Darwin Core asks under `disposition` for the state of a specimen with respect to the collection; the words are its examples'
# where it has any ("in collection", "missing", "destroyed"), else the room's own.
def test_disposition_by_where_a_sheet_stands() -> None:
    found = [disposition(*each) for each in ((Stage.FILED, None, ()), (Stage.DRY, None, ()), (Stage.FILED, None, ("out",)),
                                             (Stage.DRY, None, ("out", "not-found")), (Stage.DRY, "destroyed: mould", ()),
                                             (Stage.FILED, "sent in exchange to Oslo", ("out",)))]  # fmt: skip
    assert found == [
        "in collection",
        "being prepared",
        "elsewhere for a time",
        "missing",
        "destroyed",
        "no longer here",
    ]
