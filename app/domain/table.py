"""Reading a list of sheets from a file: CSV by RFC 4180 in UTF-8, each row with the line on which it begins."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from itertools import islice

from app.domain.terms import nearest, term_for

MOST_BYTES = 64 * 1024 * 1024
MOST_ROWS = 200_000
MOST_COLUMNS = 400
LONGEST_CELL = 10_000
LONGEST_HEADING = 200
NUMBER_TERM = "catalogNumber"

_BOM = b"\xef\xbb\xbf"
_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_SHOWN = 40
# One cell and what ends it: in quotation marks, with doubled ones inside, or without any.
_CELLS = {
    each: re.compile(rf'(?:"([^"]*(?:""[^"]*)*)"|([^"{each}\r\n]*))(?:({each})|\Z)', re.DOTALL) for each in _SEPARATORS
}
_QUOTED = re.compile(r'"[^"]*(?:""[^"]*)*"')


@dataclass(frozen=True, slots=True)
class BadRow:
    """What is wrong with a row: the line on which it begins (0: the file as a whole), the column, and why."""

    line: int
    column: str
    reason: str

    @property
    def said(self) -> str:
        """The fault as one line of text."""
        where = [f"Line {self.line}"] if self.line else []
        where += [self.column] if self.column else []
        return ": ".join([", ".join(where), self.reason]) if where else self.reason


@dataclass(frozen=True, slots=True)
class Row:
    """The cells of one row as they came, and the line of the file on which it begins."""

    line: int
    cells: tuple[str, ...]


class BadTable(ValueError):
    """A file that cannot be read, or not any further; `bad` says where and why."""

    def __init__(self, line: int, column: str, reason: str) -> None:
        self.bad = BadRow(line, column, reason)
        super().__init__(self.bad.said)


@dataclass(frozen=True, slots=True)
class Table:
    """A file whose headings were read: the Darwin Core terms, and other headings as they came."""

    data: bytes
    separator: str
    columns: tuple[str, ...]

    def rows(self) -> Iterator[Row | BadRow]:
        """Every row under the headings, or what is wrong with it; rows without any text are passed over.

        BadTable where nothing after it can be trusted: a quotation mark out of place, or more than MOST_ROWS rows.
        """
        found = 0
        for line, text in islice(_records(self.data), 1, None):
            cells = _cells(line, text, self.separator, self.columns)
            if not "".join(cells).strip():
                continue
            found += 1
            if found > MOST_ROWS:
                raise BadTable(line, "", f"There are more than {MOST_ROWS:,} rows: part the file into several.")
            yield _row(line, cells, self.columns)
        if not found:
            raise BadTable(0, "", "The file has headings and no row under them: there is nothing to import.")


def open_table(data: bytes) -> Table:
    """Read the headings of a CSV file; BadTable, in one sentence, where it is no such file or they cannot be read."""
    _check_bytes(data)
    line, text = next(_records(data), (0, ""))
    if not line:
        raise BadTable(0, "", "The file is empty: choose the one with the list.")
    separator = _separator(text)
    headings = _cells(line, text, separator, ())
    _check_headings(line, headings)
    columns = tuple(_column(line, place, heading) for place, heading in enumerate(headings, 1))
    _check_columns(line, separator, columns)
    return Table(data, separator, columns)


def clipped(text: str) -> str:
    """A text as a sentence may quote it: on one line, and not longer than can be read at a glance."""
    shown = "".join(each if each.isprintable() else "\N{REPLACEMENT CHARACTER}" for each in text[:_SHOWN])
    return f"“{shown}…”" if len(text) > _SHOWN else f"“{shown}”"


def _check_bytes(data: bytes) -> None:
    if len(data) > MOST_BYTES:
        size = f"{len(data) / 1024 / 1024:.1f} MB; up to {MOST_BYTES // 1024 // 1024} MB are read"
        raise BadTable(0, "", f"The file has {size}: part it into several.")
    for start, words in _OTHER_KINDS.items():
        if data.startswith(start):
            raise BadTable(0, "", f"This is {words}, not a CSV file: save the list as “CSV UTF-8” first.")
    _check_text(data)


def _check_text(data: bytes) -> None:
    for line, raw in enumerate(BytesIO(data), 1):
        if b"\0" in raw:
            raise BadTable(line, "", "It holds a NUL byte, which no text does: save the list as “CSV UTF-8” again.")
        try:
            raw.decode("utf-8")
        except UnicodeDecodeError as error:
            byte = f"byte {raw[error.start]:02X}"
            words = f"It is not UTF-8 ({byte} at place {error.start + 1}): save the list as “CSV UTF-8”."
            raise BadTable(line, "", words) from None


def _records(data: bytes) -> Iterator[tuple[int, str]]:
    """Every row as text without its line end, and the line on which it begins; a cell in quotes may go over lines."""
    begun, lines, is_open = 0, list[str](), False
    for number, raw in enumerate(BytesIO(data), 1):
        text = (raw.removeprefix(_BOM) if number == 1 else raw).decode("utf-8")
        if not lines and not text.strip():
            continue
        begun = begun if lines else number
        lines.append(text)
        is_open ^= text.count('"') % 2 == 1
        if not is_open:
            yield begun, _without_end("".join(lines))
            lines = []
    if lines:
        # A quotation mark too many; which one it is shows when the row is parted into cells.
        yield begun, _without_end("".join(lines))


def _without_end(text: str) -> str:
    return text.removesuffix("\n").removesuffix("\r")


def _separator(text: str) -> str:
    """Commas, unless only with semicolons or tabs there is a column for the numbers."""
    for separator in _SEPARATORS:
        if NUMBER_TERM in _terms(text, separator):
            return separator
    return ","


def _terms(text: str, separator: str) -> list[str]:
    return [term for part in text.split(separator) if (term := term_for(part.strip('" '))) is not None]


def _cells(line: int, text: str, separator: str, columns: tuple[str, ...]) -> tuple[str, ...]:
    if '"' not in text and "\r" not in text:
        return tuple(text.split(separator))
    cells, place = [], 0
    while (found := _CELLS[separator].match(text, place)) is not None:
        quoted, plain, more = found.groups()
        cells.append(plain if quoted is None else quoted.replace('""', '"'))
        if more is None:
            return tuple(cells)
        place = found.end()
    column = columns[len(cells)] if len(cells) < len(columns) else ""
    raise BadTable(line, column, _quoting_fault(text, place, separator))


def _quoting_fault(text: str, place: int, separator: str) -> str:
    if text[place] == '"' and not _QUOTED.match(text, place):
        return "A quotation mark that opens in this row is never closed: close it, or take it out."
    if text[place] == '"':
        return "More text follows the closing quotation mark: double a quotation mark that is part of the text."
    before = text[place:].split('"')[0].split(separator)[0]
    if "\r" in before or "\n" in before:
        return "A line ends with CR alone, as no program of today writes it: save the file with line ends CRLF or LF."
    return "A quotation mark stands inside a cell that has none around it: quote the whole cell and double the mark."


def _row(line: int, cells: tuple[str, ...], columns: tuple[str, ...]) -> Row | BadRow:
    if len(cells) != len(columns):
        return _miscounted(line, cells, columns)
    longest = max(cells, key=len)
    if len(longest) > LONGEST_CELL:
        words = f"The cell has {len(longest):,} characters; up to {LONGEST_CELL:,} are kept: shorten it."
        return BadRow(line, columns[cells.index(longest)], words)
    return Row(line, cells)


def _miscounted(line: int, cells: tuple[str, ...], columns: tuple[str, ...]) -> BadRow:
    many = f"{len(cells)} cell{'s' * (len(cells) != 1)}, the headings {len(columns)}"
    if len(cells) < len(columns):
        return BadRow(line, columns[len(cells)], f"The row is too short: it has {many}.")
    why = "put a cell with a separator in it in quotation marks"
    return BadRow(line, columns[-1], f"The row is too long: it has {many}; {why}.")


def _check_headings(line: int, headings: tuple[str, ...]) -> None:
    if len(headings) > MOST_COLUMNS:
        raise BadTable(line, "", f"There are {len(headings):,} columns; up to {MOST_COLUMNS} are read: take some out.")
    if not any(NUMBER_TERM in (term_for(heading), nearest(heading)) for heading in headings):
        words = "No column is headed catalogNumber: give that heading to the column with the sheets' numbers"
        raise BadTable(line, "", f"{words}, and part the cells by commas.")


def _column(line: int, place: int, heading: str) -> str:
    term, name = term_for(heading), heading.strip()
    if term is not None:
        return term
    if not name:
        raise BadTable(line, "", f"Column {place} has no heading: give it one, or take the column out.")
    if len(name) > LONGEST_HEADING:
        raise BadTable(line, clipped(name), f"The heading has more than {LONGEST_HEADING} characters: shorten it.")
    if (meant := nearest(name)) is not None:
        words = f"Darwin Core has no such term; the nearest is {meant}: write that, or a name of your own unlike it."
        raise BadTable(line, clipped(name), words)
    return name


def _check_columns(line: int, separator: str, columns: tuple[str, ...]) -> None:
    for other in _SEPARATORS.keys() - {separator}:
        if mixed := [column for column in columns if other in column and _terms(column, other)]:
            words = (
                f"The headings are parted by {_SEPARATORS[separator]} and by {_SEPARATORS[other]}: use commas alone."
            )
            raise BadTable(line, clipped(mixed[0]), words)
    for place, column in enumerate(columns):
        if column in columns[:place]:
            raise BadTable(line, clipped(column), "Two columns have this heading: take one of them out.")


# How files begin that people save in place of a CSV file.
_OTHER_KINDS: dict[bytes, str] = {
    b"PK\x03\x04": "a spreadsheet or a zip archive",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet",
    b"%PDF": "a PDF",
    b"\xff\xfe": "text in UTF-16",
    b"\xfe\xff": "text in UTF-16",
    b"\x1f\x8b": "a compressed file",
}
