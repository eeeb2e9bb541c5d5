"""A Darwin Core archive of sheets on its way out: its metafile, the file that describes it, and the lines of its tables.

Source: Biodiversity Information Standards (TDWG), Darwin Core text guide, section 2, and its schema tdwg_dwc_text.xsd.
What Darwin Core takes from Dublin Core stands in the namespace of its terms.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote
from xml.sax.saxutils import escape, quoteattr

from app.domain.archive_meta import short
from app.domain.archive_rows import MOST_OF_ONE
from app.domain.cells import csv_row
from app.domain.out_table import FIRST, heading_of
from app.domain.out_told import ROOMS_OWN, Told
from app.domain.own_columns import ADDRESS, AS_KEPT, OWN, SAID_HERE
from app.domain.terms import term_for

DWC, DC = "http://rs.tdwg.org/dwc/terms/", "http://purl.org/dc/terms/"
_DUBLIN = {
    "type",
    "modified",
    "language",
    "license",
    "rightsHolder",
    "accessRights",
    "bibliographicCitation",
    "references",
}
CORE, ROW_TYPE = "occurrence.txt", DWC + "Occurrence"
# What an extension's rows are kept under: their kind, their place among the rows of one sheet, and the term.
_ADDED = re.compile(r"([A-Za-z]+) ([1-9][0-9]{0,2}): (.+)", re.ASCII | re.DOTALL)
_KINDS = {
    "MeasurementOrFact": DWC + "MeasurementOrFact", "ResourceRelationship": DWC + "ResourceRelationship",
    "Identification": DWC + "Identification", "Multimedia": "http://rs.gbif.org/terms/1.0/Multimedia",
}  # fmt: skip
_AN_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:[^\s<>\"{}|\\^`]+", re.ASCII)
_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")


@dataclass(frozen=True, slots=True)
class Shape:
    """What an archive has: the columns of its core, and by kind the terms of each extension."""

    core: tuple[str, ...]
    extensions: Mapping[str, tuple[str, ...]]

    @property
    def files(self) -> tuple[str, ...]:
        """Its files of data, the core first."""
        return (CORE, *(f"{kind.lower()}.txt" for kind in self.extensions))


def shape_of(kept: Iterable[str], more: Sequence[str] = ()) -> Shape:
    """The columns of an archive of sheets with which these columns came: what was in extensions goes back into them."""
    plain, added = [], dict[str, dict[str, None]]()
    for name in kept:
        if (found := _added(name)) is None:
            plain.append(heading_of(name))
        else:
            added.setdefault(found[0], {})[found[2]] = None
    core = (*FIRST, *SAID_HERE, *more, *ROOMS_OWN, *plain)
    return Shape(core, {kind: tuple(terms) for kind, terms in added.items()})


def core_lines(shape: Shape, sheets: Iterable[tuple[str, Told]]) -> Iterator[str]:
    """The headings, then a line for each sheet, which comes with the id of its row."""
    yield _line(("id", *shape.core))
    for key, told in sheets:
        yield _line((key, *(told.cell(column) for column in shape.core)))


def extension_lines(shape: Shape, kind: str, sheets: Iterable[tuple[str, Told]]) -> Iterator[str]:
    """The headings of an extension, then each of its rows with the id of its sheet, in their order."""
    terms = shape.extensions[kind]
    yield _line(("coreid", *terms))
    for key, told in sheets:
        rows: dict[int, dict[str, str]] = {}
        for name, text in told.kept.items():
            found = _added(name)
            if found is not None and found[0] == kind:
                rows.setdefault(found[1], {})[found[2]] = text
        for place in range(1, max(rows, default=0) + 1):
            yield _line((key, *(rows.get(place, {}).get(term, "") for term in terms)))


def meta_xml(shape: Shape) -> str:
    """The metafile."""
    parts = [_part("core", "id", ROW_TYPE, CORE, shape.core)]
    parts += [
        _part("extension", "coreid", _KINDS[kind], file, terms)
        for (kind, terms), file in zip(shape.extensions.items(), shape.files[1:], strict=True)
    ]
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<archive xmlns="http://rs.tdwg.org/dwc/text/" metadata="eml.xml">\n{"".join(parts)}</archive>\n'
    )


def eml_xml(title: str, about: str, made_by: str, day: date) -> str:
    """What describes the archive, in the Ecological Metadata Language 2.1.1 (from memory, read back by a reader of archives)."""
    who = f"<organizationName>{_text(made_by)}</organizationName>"
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<eml:eml xmlns:eml="eml://ecoinformatics.org/eml-2.1.1" packageId='
        f'{quoteattr(f"{ADDRESS}{quote(title)}/{day.isoformat()}")} system="{ADDRESS}archive" scope="system" xml:lang="eng">\n'
        f"<dataset><title>{_text(title)}</title><creator>{who}</creator>"
        f"<metadataProvider>{who}</metadataProvider><pubDate>{day.isoformat()}</pubDate>"
        f"<abstract><para>{_text(about)}</para></abstract><contact>{who}</contact></dataset>\n</eml:eml>\n"
    )


def address_of(column: str) -> str:
    """The address of a column's term: Darwin Core's or Dublin Core's, the one under which it came, or one of the room's own."""
    if column.startswith(AS_KEPT) and _is_address(name := column.removeprefix(AS_KEPT)):
        return name
    if column.startswith(OWN):
        return ADDRESS + quote(column.removeprefix(OWN), safe=":")
    if term_for(column) == column:
        return (DC if column in _DUBLIN else DWC) + column
    return column if _is_address(column) else ADDRESS + quote(AS_KEPT.removeprefix(OWN) + column, safe=":")


def _added(name: str) -> tuple[str, int, str] | None:
    found = _ADDED.fullmatch(name)
    if found is None or found[1] not in _KINDS or int(found[2]) > MOST_OF_ONE:
        return None
    # A term that no metafile can name is given with the sheet itself.
    return None if address_of(found[3]).startswith(ADDRESS) else (found[1], int(found[2]), found[3])


def _is_address(name: str) -> bool:
    """Whether a name is an address that is found again by itself."""
    return bool(_AN_ADDRESS.fullmatch(name)) and not name.startswith((OWN, ADDRESS)) and short(name) == name


def _part(tag: str, key: str, row_type: str, file: str, columns: Sequence[str]) -> str:
    fields = "".join(
        f"    <field index={quoteattr(str(at))} term={quoteattr(address_of(name))}/>\n"
        for at, name in enumerate(columns, 1)
    )
    return (
        f'  <{tag} encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" fieldsEnclosedBy="&quot;"'
        f' ignoreHeaderLines="1" rowType={quoteattr(row_type)}>\n'
        f"    <files><location>{escape(file)}</location></files>\n"
        f'    <{key} index="0"/>\n{fields}  </{tag}>\n'
    )


def _line(cells: Sequence[str]) -> str:
    return csv_row((cell.replace("\0", "") for cell in cells), "\n")


def _text(text: str) -> str:
    return escape(_NOT_IN_XML.sub("\N{REPLACEMENT CHARACTER}", text))
