"""Cells that no spreadsheet takes for a formula, and lines of a CSV file that read back as they were."""

from __future__ import annotations

import csv
from io import StringIO

import pytest

from app.domain.cells import csv_line, safe_cell

# OWASP, "CSV Injection" (owasp.org/www-community/attacks/CSV_Injection): equals, plus, minus, at, tab 0x09, carriage
# return 0x0D; line feed and the wide forms from memory. NUL: OWASP ASVS 5.0, 1.2.10.
LEADING = ["=", "+", "-", "@", "\x09", "\x0d", "\x0a", "\x00", "\uff1d", "\uff0b", "\uff0d", "\uff20"]


@pytest.mark.parametrize("sign", LEADING)
def test_what_could_begin_a_formula_is_made_text(sign: str) -> None:
    assert safe_cell(f"{sign}cmd|' /C calc'!A0") == f"'{sign}cmd|' /C calc'!A0"
    assert safe_cell(sign) == f"'{sign}"


@pytest.mark.parametrize(
    "text", ["", "Carex nigra", "× Salix", "118-a", "a=b", "A. Brackwater", "'quoted'", " 12", "“=1”"]
)
def test_all_else_stays_as_it_is(text: str) -> None:
    assert safe_cell(text) == text


def test_a_safe_cell_is_not_made_safe_twice() -> None:
    assert safe_cell(safe_cell("=1+1")) == "'=1+1"


# RFC 4180, 2: lines end in CRLF; cells with comma, quotation mark or line break stand in quotation marks, those doubled.
def test_a_line_is_written_as_the_standard_says() -> None:
    assert csv_line(["a", "b,c", 'd"e', "f\ng", "-5"]) == 'a,"b,c","d""e","f\ng",\'-5\r\n'


@pytest.mark.parametrize("cells", [["x", ""], ['",=1,"', "\r\n=2"], ["a\tb", "é", "𝄞"], ["", ""]])
def test_a_line_reads_back_as_it_was_but_for_the_apostrophe(cells: list[str]) -> None:
    read = next(csv.reader(StringIO(csv_line(cells), newline="")))
    assert read == [safe_cell(cell) for cell in cells]
