"""Cells of a table that other programs open: text stays text, whatever it begins with."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from io import StringIO

# What a spreadsheet may take for the beginning of a formula, or strip and then look at what follows: OWASP, "CSV
# Injection" (=, +, -, @, tab, carriage return; the wide forms and the line feed from memory), and ASVS 5.0, 1.2.10 (NUL).
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")  # noqa: RUF001
BOM = "\ufeff"
_ASKED = frozenset((*FORMULA_SIGNS, "'"))


def safe_cell(text: str) -> str:
    """The text of a cell so that no spreadsheet takes it for a formula: an apostrophe before what could begin one."""
    return f"'{text}" if text.startswith(FORMULA_SIGNS) else text


def guarded(text: str) -> str:
    """The text of a cell made safe so that `unguarded` finds it again, whatever it begins with."""
    # Nearly all cells begin with a letter or a digit.
    return f"'{text}" if text[:1] in _ASKED and text.lstrip("'").startswith(FORMULA_SIGNS) else text


def unguarded(text: str) -> str:
    """The text that a guarded cell holds."""
    return text[1:] if text.startswith("'") and text[1:].lstrip("'").startswith(FORMULA_SIGNS) else text


def kept_line(cells: Iterable[str]) -> str:
    """One line of a CSV file as `csv_line`, its cells guarded so that they are found again; NUL, which no file may hold, is
    left out.
    """
    return csv_row(guarded(cell.replace("\0", "")) for cell in cells)


def csv_line(cells: Iterable[str]) -> str:
    """One line of a CSV file by RFC 4180, with its line end, each cell made safe."""
    return csv_row(safe_cell(cell) for cell in cells)


def csv_row(cells: Iterable[str], line_end: str = "\r\n") -> str:
    """One line of a CSV file, its cells as they are."""
    line = StringIO()
    csv.writer(line, lineterminator=line_end).writerow(cells)
    return line.getvalue()
