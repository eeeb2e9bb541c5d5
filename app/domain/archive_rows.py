"""The sheets of a Darwin Core archive: each row of its core with what its extensions add, nothing of it left out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from app.domain.archive import Archive, open_archive
from app.domain.archive_added import Added
from app.domain.archive_meta import META, Meta, Part, read_meta
from app.domain.archive_xml import MOST_BYTES as MOST_OF_XML
from app.domain.archive_xml import read_xml
from app.domain.language import say, say_n
from app.domain.mapping import Ways, columns_of, straight
from app.domain.source import Source
from app.domain.table import MOST_ROWS, Row, Table, open_table, open_unmapped, row_of, samples_of
from app.domain.table_cells import cells_of, records
from app.domain.table_faults import BadRow, BadTable
from app.domain.table_letters import UTF_8, Letters, in_encoding

MOST_ADDED = 500_000
MOST_OF_ONE = 500
ID = "id"


@dataclass(frozen=True, slots=True)
class ArchiveTable:
    """An archive whose metafile was read: `headings` are the terms of its core, `columns` what each is to the room."""

    archive: Archive
    meta: Meta
    headings: tuple[str, ...]
    columns: tuple[str, ...]
    title: str

    @property
    def letters(self) -> Letters:
        """In which encoding it is; a metafile says it, so that nothing is guessed."""
        return Letters(self.archive.source, self.meta.core.encoding or UTF_8)

    def rows(self) -> Iterator[Row | BadRow]:
        """Every row of the core with what the extensions add, or what is wrong with it. BadTable as `Table.rows`."""
        with Added() as added:
            _lay(added, self.archive, self.meta.extensions)
            yield from self._rows_with(added)
            for file, line in added.orphans():
                # They would be lost.
                words = say("No row of the core has this id: take the row out, or put the id right.")
                yield BadRow(line, "coreid", words, file)

    def samples(self) -> tuple[tuple[str, ...], ...]:
        """The first few rows that can be read."""
        return samples_of(self.rows())

    def _rows_with(self, added: Added) -> Iterator[Row | BadRow]:
        found, key, extends = 0, self.meta.core.key, bool(self.meta.extensions)
        for file, line, cells in _raw_rows(self.archive, self.meta.core):
            found += 1
            if found > MOST_ROWS:
                raise BadTable(
                    line,
                    "",
                    say("There are more than {most:,} rows: part the archive into several.", most=MOST_ROWS),
                    file,
                )
            row = self._row(file, line, cells)
            yield (
                row
                if not extends
                else self._with_more(row, cells[key] if key is not None and key < len(cells) else "", added)
            )
        if not found:
            raise BadTable(0, "", say("The archive has no row in its core: there is nothing to import."))

    def _with_more(self, row: Row | BadRow, own: str, added: Added) -> Row | BadRow:
        """A row with what the extensions add to it."""
        if not added.meet(own):
            words = say("Another row of the core has this id, and rows of extensions are found by it.")
            return BadRow(row.line, ID, words, row.file)
        return row if isinstance(row, BadRow) else Row(row.line, row.cells, added.of(own), row.file)

    def _row(self, file: str, line: int, cells: tuple[str, ...]) -> Row | BadRow:
        core = self.meta.core
        if len(cells) < core.width:
            words = _too_short(len(cells), core.width)
            return BadRow(line, "", words, file)
        told = _told(core, cells)
        found = row_of(line, tuple(told[heading] for heading in self.headings), self.columns)
        if isinstance(found, BadRow):
            return BadRow(line, found.column, found.reason, file)
        return Row(line, found.cells, (), file)


def open_listed_archive(source: Source, ways: Ways | None = None, *, unmapped: bool = False) -> ArchiveTable | Table:
    """Read the metafile of an archive, or the headings of its only file where it has none (text guide, section 1.1).

    BadTable, in one sentence, where it is no such archive. With `ways` the columns are what somebody said they are.
    """
    archive = open_archive(source)
    if META not in archive.files:
        return _without_meta(archive, ways, unmapped=unmapped)
    meta = read_meta(read_xml(archive.read(META, MOST_OF_XML), META))
    headings = tuple(_told(meta.core, ()))
    title = _title(archive, meta)
    if unmapped:
        return ArchiveTable(archive, meta, headings, headings, title)
    columns = straight(0, headings) if ways is None else columns_of(0, headings, ways)
    return ArchiveTable(archive, meta, headings, columns, title)


def _without_meta(archive: Archive, ways: Ways | None, *, unmapped: bool) -> Table:
    tables = [name for name in archive.files if name.lower().endswith((".csv", ".txt", ".tsv", ".tab"))]
    if "[Content_Types].xml" in archive.files:
        raise BadTable(0, "", say("This is a spreadsheet, not a list as text: save it as “CSV UTF-8” first."))
    if len(tables) != 1:
        words = say("The archive has no meta.xml: this is no Darwin Core archive, nor a single table of text.")
        raise BadTable(0, "", words)
    member = archive.member(tables[0])
    try:
        return open_unmapped(member) if unmapped else open_table(member, ways)
    except BadTable as fault:
        raise BadTable(fault.bad.line, fault.bad.column, fault.bad.reason, tables[0]) from None


def _told(part: Part, cells: tuple[str, ...]) -> dict[str, str]:
    """What a row says by its terms, with the defaults; of a key that is no field itself, under ID."""
    found = {}
    if part.key is not None and part.key not in {each.index for each in part.fields}:
        found[ID] = cells[part.key] if cells else ""
    for each in part.fields:
        text = cells[each.index] if cells and each.index is not None else ""
        found[each.term] = text or each.default
    return found


def _raw_rows(archive: Archive, part: Part) -> Iterator[tuple[str, int, tuple[str, ...]]]:
    """Every row of the files of a part that has any text: the file, the line, the cells."""
    for file in part.files:
        try:
            for line, cells in _of_file(archive.member(file), part):
                yield file, line, cells
        except BadTable as fault:
            raise BadTable(fault.bad.line, fault.bad.column, fault.bad.reason, file) from None


def _of_file(source: Source, part: Part) -> Iterator[tuple[int, tuple[str, ...]]]:
    lines = _lines(in_encoding(source, part.encoding), part.ends)
    # Header lines are lines, whatever quotation marks stand in them.
    passed = sum(1 for _ in islice(lines, part.skipped))
    names = tuple(_told(part, ()))
    for line, row in records(lines, part.form):
        cells = cells_of(line + passed, row, part.form, names)
        if "".join(cells).strip():
            yield line + passed, cells


def _lines(letters: Letters, ends: str) -> Iterator[str]:
    """The lines of a file; they end at CR alone where a metafile says so and no other line end is found."""
    if ends != "\r" or any("\n" in line for line in letters.lines("\r")):
        return letters.lines()
    return (line.replace("\r", "\n") for line in letters.lines("\r"))


def _lay(added: Added, archive: Archive, extensions: tuple[Part, ...]) -> None:
    """Lay down what the rows of the extensions say."""
    total = 0
    for nth, part in enumerate(extensions):
        for file, line, cells in _raw_rows(archive, part):
            total += 1
            _check_added(part, file, line, cells, total)
            told = [(term, text) for term, text in _told(part, cells).items() if text and term != ID]
            added.lay(nth, part.kind, file, line, cells[part.key or 0], told)
    if extensions and (too_many := added.all_are_laid(MOST_OF_ONE)) is not None:
        words = say("More than {most} rows belong to one row of the core.", most=MOST_OF_ONE)
        raise BadTable(too_many[1], "", words, too_many[0])


def _check_added(part: Part, file: str, line: int, cells: tuple[str, ...], total: int) -> None:
    if total > MOST_ADDED:
        raise BadTable(
            line,
            "",
            say("The extensions have more than {most:,} rows: part the archive.", most=MOST_ADDED),
            file,
        )
    if len(cells) < part.width:
        words = _too_short(len(cells), part.width)
        raise BadTable(line, "", words, file)


def _title(archive: Archive, meta: Meta) -> str:
    """What the metadata call the whole; empty where there are none, or none that can be read."""
    if meta.metadata not in archive.files:
        return ""
    root = read_xml(archive.read(meta.metadata, MOST_OF_XML), meta.metadata)
    found = next((each.text for each in root.iter("title") if each.text and each.text.strip()), "")
    return " ".join((found or "").split())[:200]


def _too_short(cells: int, width: int) -> str:
    return say_n(
        "The row is too short: it has {n} cell, the metafile names {width}.",
        "The row is too short: it has {n} cells, the metafile names {width}.",
        cells, width=width,
    )  # fmt: skip
