"""The sheets of a Darwin Core archive: each row of its core with what its extensions add, nothing of it left out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from app.domain.archive import Archive, open_archive
from app.domain.archive_meta import META, Meta, Part, read_meta
from app.domain.archive_xml import read_xml
from app.domain.mapping import Ways, columns_of, straight
from app.domain.table import MOST_ROWS, Row, Table, open_table, open_unmapped, row_of, samples_of
from app.domain.table_cells import cells_of, records
from app.domain.table_faults import BadRow, BadTable
from app.domain.table_letters import UTF_8, Letters, in_encoding

MOST_ADDED = 500_000
MOST_OF_ONE = 500
ID = "id"
More = Mapping[str, tuple[tuple[str, str], ...]]


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
        return Letters(b"", self.meta.core.encoding or UTF_8)

    def rows(self) -> Iterator[Row | BadRow]:
        """Every row of the core with what the extensions add, or what is wrong with it. BadTable as `Table.rows`."""
        more = _added(self.archive, self.meta.extensions)
        found, met, key = 0, set[str](), self.meta.core.key
        for file, line, cells in _raw_rows(self.archive, self.meta.core):
            found += 1
            if found > MOST_ROWS:
                raise BadTable(
                    line, "", f"There are more than {MOST_ROWS:,} rows: part the archive into several.", file
                )
            row = self._row(file, line, cells)
            own = cells[key] if key is not None and key < len(cells) else ""
            if self.meta.extensions and own in met:
                yield BadRow(
                    line, ID, "Another row of the core has this id, and rows of extensions are found by it.", file
                )
                continue
            met.add(own)
            yield row if isinstance(row, BadRow) or own not in more else Row(row.line, row.cells, more[own], file)
        if not found:
            raise BadTable(0, "", "The archive has no row in its core: there is nothing to import.")
        yield from _orphans(self.archive, self.meta.extensions, met)

    def samples(self) -> tuple[tuple[str, ...], ...]:
        """The first few rows that can be read."""
        return samples_of(self.rows())

    def _row(self, file: str, line: int, cells: tuple[str, ...]) -> Row | BadRow:
        core = self.meta.core
        if len(cells) < core.width:
            words = f"The row is too short: it has {len(cells)} cells, the metafile names {core.width}."
            return BadRow(line, "", words, file)
        told = _told(core, cells)
        found = row_of(line, tuple(told[heading] for heading in self.headings), self.columns)
        if isinstance(found, BadRow):
            return BadRow(line, found.column, found.reason, file)
        return Row(line, found.cells, (), file)


def open_listed_archive(data: bytes, ways: Ways | None = None, *, unmapped: bool = False) -> ArchiveTable | Table:
    """Read the metafile of an archive, or the headings of its only file where it has none (text guide, section 1.1).

    BadTable, in one sentence, where it is no such archive. With `ways` the columns are what somebody said they are.
    """
    archive = open_archive(data)
    if META not in archive.files:
        return _without_meta(archive, ways, unmapped=unmapped)
    meta = read_meta(read_xml(archive.read(META), META))
    headings = tuple(_told(meta.core, ()))
    title = _title(archive, meta)
    if unmapped:
        return ArchiveTable(archive, meta, headings, headings, title)
    columns = straight(0, headings) if ways is None else columns_of(0, headings, ways)
    return ArchiveTable(archive, meta, headings, columns, title)


def _without_meta(archive: Archive, ways: Ways | None, *, unmapped: bool) -> Table:
    tables = [name for name in archive.files if name.lower().endswith((".csv", ".txt", ".tsv", ".tab"))]
    if "[Content_Types].xml" in archive.files:
        raise BadTable(0, "", "This is a spreadsheet, not a list as text: save it as “CSV UTF-8” first.")
    if len(tables) != 1:
        words = "The archive has no meta.xml: this is no Darwin Core archive, nor a single table of text."
        raise BadTable(0, "", words)
    data = archive.read(tables[0])
    try:
        return open_unmapped(data) if unmapped else open_table(data, ways)
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
            for line, cells in _of_file(archive.read(file), part):
                yield file, line, cells
        except BadTable as fault:
            raise BadTable(fault.bad.line, fault.bad.column, fault.bad.reason, file) from None


def _of_file(data: bytes, part: Part) -> Iterator[tuple[int, tuple[str, ...]]]:
    text = in_encoding(data, part.encoding)
    if part.ends == "\r" and b"\n" not in text:
        text = text.replace(b"\r", b"\n")
    # Header lines are lines, whatever quotation marks stand in them.
    text, passed = _after_lines(text, part.skipped)
    names = tuple(_told(part, ()))
    for line, row in records(text, part.form):
        cells = cells_of(line + passed, row, part.form, names)
        if "".join(cells).strip():
            yield line + passed, cells


def _after_lines(text: bytes, skipped: int) -> tuple[bytes, int]:
    at = 0
    for _ in range(skipped):
        found = text.find(b"\n", at)
        at = found + 1 if found >= 0 else len(text)
    return (text[at:], skipped) if at else (text, 0)


def _added(archive: Archive, extensions: tuple[Part, ...]) -> More:
    """What the rows of the extensions say, by the id of the core's row: each under its kind, its place and its term."""
    found: dict[str, list[tuple[str, str]]] = {}
    total = 0
    for part in extensions:
        places: dict[str, int] = {}
        for file, line, cells in _raw_rows(archive, part):
            total += 1
            _check_added(part, file, line, cells, total)
            key = cells[part.key or 0]
            place = places[key] = places.get(key, 0) + 1
            if place > MOST_OF_ONE:
                raise BadTable(line, "", f"More than {MOST_OF_ONE} rows belong to one row of the core.", file)
            told = _told(part, cells)
            found.setdefault(key, []).extend(
                (f"{part.kind} {place}: {term}", text) for term, text in told.items() if text and term != ID
            )
    return {key: tuple(pairs) for key, pairs in found.items()}


def _check_added(part: Part, file: str, line: int, cells: tuple[str, ...], total: int) -> None:
    if total > MOST_ADDED:
        raise BadTable(line, "", f"The extensions have more than {MOST_ADDED:,} rows: part the archive.", file)
    if len(cells) < part.width:
        words = f"The row is too short: it has {len(cells)} cells, the metafile names {part.width}."
        raise BadTable(line, "", words, file)


def _orphans(archive: Archive, extensions: tuple[Part, ...], met: set[str]) -> Iterator[BadRow]:
    """Rows of extensions that belong to no row of the core: they would be lost."""
    for part in extensions:
        for file, line, cells in _raw_rows(archive, part):
            if cells[part.key or 0] not in met:
                yield BadRow(
                    line, "coreid", "No row of the core has this id: take the row out, or put the id right.", file
                )


def _title(archive: Archive, meta: Meta) -> str:
    """What the metadata call the whole; empty where there are none, or none that can be read."""
    if meta.metadata not in archive.files:
        return ""
    root = read_xml(archive.read(meta.metadata), meta.metadata)
    found = next((each.text for each in root.iter("title") if each.text and each.text.strip()), "")
    return " ".join((found or "").split())[:200]
