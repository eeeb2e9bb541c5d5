"""Reading a list of sheets from a file: CSV by RFC 4180, each row with the line on which it begins."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from itertools import islice

from app.domain.cells import unguarded
from app.domain.language import mark, say, say_n
from app.domain.mapping import Ways, columns_of, straight
from app.domain.own_columns import is_own
from app.domain.source import Data, Source, as_source, begins
from app.domain.table_cells import Form, cells_of, records
from app.domain.table_faults import BadRow, BadTable, clipped
from app.domain.table_letters import Letters, lettered
from app.domain.terms import NUMBER_TERM, term_for

MOST_BYTES = 64 * 1024 * 1024
MOST_ROWS = 200_000
MOST_COLUMNS = 400
LONGEST_CELL = 10_000
SAMPLES = 3

_SEPARATORS = {",": mark("commas"), ";": mark("semicolons"), "\t": mark("tabs")}

__all__ = ["NUMBER_TERM", "BadRow", "BadTable", "Row", "Table", "clipped", "open_table"]


@dataclass(frozen=True, slots=True)
class Row:
    """The cells of one row as they came, and the line of the file on which it begins.

    `more` is what else belongs to it by name, from other files of an archive; `file` is the archive's file it stands in.
    """

    line: int
    cells: tuple[str, ...]
    more: tuple[tuple[str, str], ...] = ()
    file: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A file whose headings were read: what they say, and by `columns` what each column is to the room.

    A column is a Darwin Core term, or a heading as it came, or empty where it is left out.
    """

    letters: Letters
    form: Form
    headings: tuple[str, ...]
    columns: tuple[str, ...]
    title: str = ""

    def rows(self) -> Iterator[Row | BadRow]:
        """Every row under the headings, or what is wrong with it; rows without any text are passed over.

        BadTable where nothing after it can be trusted: a quotation mark out of place, or more than MOST_ROWS rows.
        """
        found, guarded = 0, is_own(self.headings)
        for line, text in islice(records(self.letters.lines(), self.form), 1, None):
            cells = cells_of(line, text, self.form, self.columns)
            cells = tuple(map(unguarded, cells)) if guarded else cells
            if not "".join(cells).strip():
                continue
            found += 1
            if found > MOST_ROWS:
                raise BadTable(
                    line,
                    "",
                    say("There are more than {most:,} rows: part the file into several.", most=MOST_ROWS),
                )
            yield row_of(line, cells, self.columns, self.headings)
        if not found:
            raise BadTable(0, "", say("The file has headings and no row under them: there is nothing to import."))

    def samples(self) -> tuple[tuple[str, ...], ...]:
        """The first few rows that can be read, for somebody who has to say what the columns are."""
        return samples_of(self.rows())


def samples_of(rows: Iterator[Row | BadRow]) -> tuple[tuple[str, ...], ...]:
    """The cells of the first few of these rows that can be read."""
    with suppress(BadTable):
        return tuple(islice((row.cells for row in rows if isinstance(row, Row)), SAMPLES))
    return ()


def open_table(data: Data, ways: Ways | None = None) -> Table:
    """Read the headings of a CSV file; BadTable, in one sentence, where it is no such file or they cannot be read.

    With `ways` the columns are what somebody said they are; without, what their headings say.
    """
    letters, line, form, headings = _headings(as_source(data))
    if ways is not None:
        return Table(letters, form, headings, columns_of(line, headings, ways))
    columns = straight(line, headings)
    _check_separators(line, form.separator, columns)
    return Table(letters, form, headings, columns)


def open_unmapped(data: Data) -> Table:
    """A file whose columns nobody has named yet: every heading stands for itself. BadTable as `open_table`."""
    letters, _, form, headings = _headings(as_source(data))
    return Table(letters, form, headings, headings)


def checked_letters(source: Source) -> Letters:
    """The file as text; BadTable where it is too large, of another kind, or in no encoding that is read."""
    if source.size > MOST_BYTES:
        size = say(
            "{size:.1f} MB; up to {most} MB are read",
            size=source.size / 1024 / 1024,
            most=MOST_BYTES // 1024 // 1024,
        )
        raise BadTable(0, "", say("The file has {size}: part it into several.", size=size))
    first = begins(source, 8)
    for start, words in _OTHER_KINDS.items():
        if first.startswith(start):
            raise BadTable(
                0, "", say("This is {what}, not a CSV file: save the list as “CSV UTF-8” first.", what=words)
            )
    return lettered(source)


def row_of(line: int, cells: tuple[str, ...], columns: tuple[str, ...], headings: tuple[str, ...] = ()) -> Row | BadRow:
    """One row, or what is wrong with it: too few or too many cells, one that is too long, or the headings once more."""
    if len(cells) != len(columns):
        return _miscounted(line, cells, columns)
    if max(map(len, cells)) > LONGEST_CELL:
        longest = max(cells, key=len)
        words = say(
            "The cell has {letters:,} characters; up to {most:,} are kept: shorten it.",
            letters=len(longest),
            most=LONGEST_CELL,
        )
        return BadRow(line, columns[cells.index(longest)], words)
    if cells[-1] == (headings[-1] if headings else None) and _is_head(cells, headings):
        return BadRow(
            line, "", say("The headings stand here once more, as when two files are put together: take this line out.")
        )
    return Row(line, cells)


def _headings(source: Source) -> tuple[Letters, int, Form, tuple[str, ...]]:
    letters = checked_letters(source)
    line, text = next(records(letters.lines(), Form()), (0, ""))
    if not line:
        raise BadTable(0, "", say("The file is empty: choose the one with the list."))
    form = Form(_separator(text))
    headings = cells_of(line, text, form, ())
    headings = tuple(map(unguarded, headings)) if is_own(headings) else headings
    if len(headings) > MOST_COLUMNS:
        raise BadTable(
            line,
            "",
            say(
                "There are {columns:,} columns; up to {most} are read: take some out.",
                columns=len(headings),
                most=MOST_COLUMNS,
            ),
        )
    return letters, line, form, headings


def _is_head(cells: tuple[str, ...], headings: tuple[str, ...]) -> bool:
    return (cells[0].removeprefix("\ufeff"), *cells[1:]) == headings


def _separator(text: str) -> str:
    """What parts the headings: that by which there is a column for the numbers, else that which comes most often."""
    for separator in _SEPARATORS:
        if NUMBER_TERM in _terms(text, separator):
            return separator
    return max(_SEPARATORS, key=text.count)


def _terms(text: str, separator: str) -> list[str]:
    return [term for part in text.split(separator) if (term := term_for(part.strip('" '))) is not None]


def _miscounted(line: int, cells: tuple[str, ...], columns: tuple[str, ...]) -> BadRow:
    many = say_n(
        "{n} cell, the headings {headings}", "{n} cells, the headings {headings}", len(cells), headings=len(columns)
    )
    if len(cells) < len(columns):
        return BadRow(line, columns[len(cells)], say("The row is too short: it has {counts}.", counts=many))
    words = say(
        "The row is too long: it has {counts}; put a cell with a separator in it in quotation marks.", counts=many
    )
    return BadRow(line, columns[-1], words)


def _check_separators(line: int, separator: str, columns: tuple[str, ...]) -> None:
    for other in _SEPARATORS.keys() - {separator}:
        if mixed := [column for column in columns if other in column and _terms(column, other)]:
            words = say(
                "The headings are parted by {one} and by {other}: use commas alone.",
                one=_SEPARATORS[separator],
                other=_SEPARATORS[other],
            )
            raise BadTable(line, clipped(mixed[0]), words)


# How files begin that people save in place of a CSV file.
_OTHER_KINDS: dict[bytes, str] = {
    b"PK\x03\x04": mark("a spreadsheet or a zip archive"),
    b"\xd0\xcf\x11\xe0": mark("an old spreadsheet"),
    b"%PDF": mark("a PDF"),
    b"\x1f\x8b": mark("a compressed file"),
    b"\x89PNG": mark("a picture"),
    b"\xff\xd8\xff": mark("a picture"),
}
