"""Rows of text parted into cells: by RFC 4180, or by another separator and quotation mark that a metafile names."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

from app.domain.language import say
from app.domain.table_faults import BadTable


@dataclass(frozen=True, slots=True)
class Form:
    """How the cells of a file are parted: one character, and the mark that encloses a cell; no mark, no enclosing."""

    separator: str = ","
    quote: str = '"'


def records(text_lines: Iterable[str], form: Form) -> Iterator[tuple[int, str]]:
    """Every row of a text without its line end, and the line on which it begins; a cell in quotes may go over lines.

    Blank lines are passed over.
    """
    begun, lines, is_open, mark = 0, list[str](), False, form.quote
    for number, text in enumerate(text_lines, 1):
        if not lines and text.isspace():
            continue
        odd = bool(mark) and mark in text and text.count(mark) % 2 == 1
        if not lines and not odd:
            yield number, _without_end(text)
            continue
        begun = begun if lines else number
        lines.append(text)
        is_open ^= odd
        if not is_open:
            yield begun, _without_end("".join(lines))
            lines = []
    if lines:
        # A quotation mark too many; which one it is shows when the row is parted into cells.
        yield begun, _without_end("".join(lines))


def cells_of(line: int, text: str, form: Form, columns: tuple[str, ...]) -> tuple[str, ...]:
    """The cells of one row; BadTable for a quotation mark or a line end out of place."""
    mark = form.quote
    if not mark or (mark not in text and "\r" not in text):
        return tuple(text.split(form.separator))
    cells, place, pattern = [], 0, _pattern(form)
    while (found := pattern.match(text, place)) is not None:
        quoted, plain, more = found.groups()
        cells.append(plain if quoted is None else quoted.replace(mark * 2, mark))
        if more is None:
            return tuple(cells)
        place = found.end()
    column = columns[len(cells)] if len(cells) < len(columns) else ""
    raise BadTable(line, column, _quoting_fault(text, place, form))


@lru_cache(maxsize=64)
def _pattern(form: Form) -> re.Pattern[str]:
    """One cell and what ends it: in quotation marks, with doubled ones inside, or without any."""
    sep, mark = re.escape(form.separator), re.escape(form.quote)
    return re.compile(
        rf"(?:{mark}([^{mark}]*(?:{mark}{mark}[^{mark}]*)*){mark}|([^{mark}{sep}\r\n]*))(?:({sep})|\Z)", re.DOTALL
    )


def _without_end(text: str) -> str:
    return text.removesuffix("\n").removesuffix("\r")


def _quoting_fault(text: str, place: int, form: Form) -> str:
    mark = re.escape(form.quote)
    whole = re.compile(rf"{mark}[^{mark}]*(?:{mark}{mark}[^{mark}]*)*{mark}")
    if text[place] == form.quote and not whole.match(text, place):
        return say("A quotation mark that opens in this row is never closed: close it, or take it out.")
    if text[place] == form.quote:
        return say("More text follows the closing quotation mark: double a quotation mark that is part of the text.")
    before = text[place:].split(form.quote)[0].split(form.separator)[0]
    if "\r" in before or "\n" in before:
        return say(
            "A line ends with CR alone, as no program of today writes it: save the file with line ends CRLF or LF."
        )
    return say(
        "A quotation mark stands inside a cell that has none around it: quote the whole cell and double the mark."
    )
