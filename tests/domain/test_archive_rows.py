"""Darwin Core archives as the text guide of TDWG describes them, and as python-dwca-reader reads the same ones.

These are made after the guide's own examples; `tests/services/test_real_records.py` has real records.
"""

from __future__ import annotations

import csv
import gc
import io
import warnings
from pathlib import Path

import pytest
from dwca.read import DwCAReader

from app.domain.listing import open_listing
from app.domain.table import BadRow, BadTable, Row
from tests.services.archives import DWC, archive, part, table, zipped

HEAD = ["id", "catalogNumber", "scientificName", "recordedBy", "country"]
ROWS = [
    ["a1", "TQX000001T", 'Carex "nigra"', "Séguin", "Nowhere"],
    ["a2", "TQX000002R", "Salix ×rubens", "", ""],
    ["a3", "TQX000003P", "Caltha palustris", "O. Tarrant | P. Lindqvist", "Nowhere"],
]
CORE = part(
    "core",
    [(1, "catalogNumber", None), (2, "scientificName", None), (3, "recordedBy", None), (4, "country", "Elsewhere")],
)


def read(data: bytes) -> list[dict[str, str]]:
    """What each row says by its columns and by what its extensions add."""
    listing, found = open_listing(data), []
    for row in listing.rows():
        assert isinstance(row, Row), row
        found.append(dict(zip(listing.columns, row.cells, strict=True)) | dict(row.more))
    return found


def theirs(data: bytes, folder: Path) -> list[dict[str, str]]:
    """The same by python-dwca-reader, with terms without their namespace and extensions told as ours are."""
    path = folder / "archive.zip"
    path.write_bytes(data)
    with warnings.catch_warnings():
        # It leaves its metafile open.
        warnings.simplefilter("ignore", ResourceWarning)
        found = by_the_reader(path)
        gc.collect()
    return found


def by_the_reader(path: Path) -> list[dict[str, str]]:
    found = []
    with DwCAReader(str(path)) as reader:
        for row in reader:
            said = {term.removeprefix(DWC): text for term, text in row.data.items()}
            places: dict[str, int] = {}
            for added in row.extensions:
                kind = added.rowtype.rpartition("/")[2]
                places[kind] = places.get(kind, 0) + 1
                said |= {
                    f"{kind} {places[kind]}: {term.removeprefix(DWC)}": text
                    for term, text in added.data.items()
                    if text
                }
            found.append({"id": row.id, **said})
    return found


IDENTIFIED = part("extension", [(1, "identifiedBy", None), (2, "dateIdentified", None)], ["identification.csv"],
                  f"{DWC}Identification", fieldsTerminatedBy=",", fieldsEnclosedBy='"', ignoreHeaderLines="1")  # fmt: skip
MEASURED = part(
    "extension",
    [(0, "measurementValue", None)],
    ["measured.txt"],
    f"{DWC}MeasurementOrFact",
    key=1,
    ignoreHeaderLines="0",
)
ADDED = {
    "identification.csv": 'coreid,by,on\r\na1,"Holloway, J.",1987\r\na3,"said ""perhaps""",\r\na1,Ashgill,2001\r\n'.replace(
        "\r", ""
    ),
    "measured.txt": "12 mm\ta3\n",
}
ARCHIVES = {
    "tabs without quotation marks": archive(CORE, {"occurrence.txt": table([HEAD, *ROWS])}),
    "no header line": archive(CORE.replace('Lines="1"', 'Lines="0"'), {"occurrence.txt": table(ROWS)}),
    "three header lines": archive(CORE.replace('Lines="1"', 'Lines="3"'), {"occurrence.txt": table([['"open'], ["x"], HEAD, *ROWS])}),
    "Latin-1": archive(
        CORE.replace("UTF-8", "ISO-8859-1"), {"occurrence.txt": table([HEAD, *ROWS]).replace("×", "x").encode("latin-1")}
    ),
    "Windows-1252": archive(CORE.replace("UTF-8", "windows-1252"), {"occurrence.txt": table([HEAD, *ROWS]).encode("cp1252")}),
    "extensions": archive(CORE, {"occurrence.txt": table([HEAD, *ROWS]), **ADDED}, IDENTIFIED, MEASURED),
    "a constant": archive(
        CORE.replace("</core>", f'<field term="{DWC}datasetID" default="urn:lsid:tim.lsid.tdwg.org:collections:1"/></core>'),
        {"occurrence.txt": table([HEAD, *ROWS])},
    ),
    "terms of other vocabularies": archive(
        CORE.replace(f"{DWC}country", "http://example.org/van"), {"occurrence.txt": table([HEAD, *ROWS])}
    ),
}  # fmt: skip


@pytest.mark.parametrize("data", ARCHIVES.values(), ids=ARCHIVES.keys())
def test_nothing_of_an_archive_is_lost_that_python_dwca_reader_finds_in_it(data: bytes, tmp_path: Path) -> None:
    assert read(data) == theirs(data, tmp_path)
    assert len(read(data)) == 3


def test_the_example_of_the_text_guide_is_read_by_the_defaults_it_gives() -> None:
    """TDWG, Darwin Core text guide, section 1.1, with the file in the archive instead of at an address."""
    data = archive("", {"specimens.csv": 'ID,Species,Count\n123,"Cryptantha gypsophila Reveal & C.R. Broome",12\n124,"Buxbaumia piperi",2 \n'},
                   meta=f"""<?xml version="1.0" encoding="UTF-8"?>
<archive xmlns="http://rs.tdwg.org/dwc/text/">
	<core rowType="http://rs.tdwg.org/dwc/xsd/simpledarwincore/SimpleDarwinRecord" ignoreHeaderLines="1">
		<files><location>specimens.csv</location></files>
		<field index="0" term="{DWC}catalogNumber" /><field index="1" term="{DWC}scientificName" />
		<field index="2" term="{DWC}individualCount" />
		<field term="{DWC}datasetID" default="urn:lsid:tim.lsid.tdwg.org:collections:1"/>
	</core></archive>""")  # fmt: skip
    lsid = "urn:lsid:tim.lsid.tdwg.org:collections:1"
    assert read(data) == [
        {"catalogNumber": "123", "scientificName": "Cryptantha gypsophila Reveal & C.R. Broome", "individualCount": "12", "datasetID": lsid},
        {"catalogNumber": "124", "scientificName": "Buxbaumia piperi", "individualCount": "2 ", "datasetID": lsid},
    ]  # fmt: skip


def test_without_a_metafile_the_only_table_is_read_by_its_headings() -> None:
    """Section 1.1: understood without the metafile if the first row has the term names."""
    text = "type,catalogNumber,scientificName\nPhysicalObject,123,Buxbaumia piperi\n"
    assert read(zipped({"list.csv": text})) == [
        {"type": "PhysicalObject", "catalogNumber": "123", "scientificName": "Buxbaumia piperi"}
    ]


def test_a_core_of_two_files_is_read_one_after_the_other_each_without_its_own_headings() -> None:
    """Section 2.3: use the location element once for each file that makes up the entity."""
    core = part("core", [(1, "catalogNumber", None), (2, "scientificName", None), (3, "recordedBy", None), (4, "country", "Elsewhere")],
                ["one.txt", "two.txt"])  # fmt: skip
    data = archive(core, {"one.txt": table([HEAD, ROWS[0]]), "two.txt": table([HEAD, *ROWS[1:]])})
    assert [row["id"] for row in read(data)] == ["a1", "a2", "a3"]
    found = list(open_listing(data).rows())
    assert [(row.file, row.line) for row in found] == [("one.txt", 2), ("two.txt", 2), ("two.txt", 3)]


def test_utf_16_is_read_as_the_metafile_says() -> None:
    """python-dwca-reader 0.17.1 cannot read its line ends."""
    data = archive(CORE.replace("UTF-8", "UTF-16"), {"occurrence.txt": table([HEAD, *ROWS]).encode("utf-16")})
    assert read(data) == read(ARCHIVES["tabs without quotation marks"])


@pytest.mark.parametrize("ends", ["\r\n", "\r"])
def test_lines_may_end_at_crlf_or_cr(ends: str) -> None:
    core = CORE.replace('TerminatedBy="\\n"', f'TerminatedBy="{ends.encode("unicode_escape").decode()}"')
    assert core != CORE
    assert read(archive(core, {"occurrence.txt": table([HEAD, *ROWS]).replace("\n", ends)})) == read(
        ARCHIVES["tabs without quotation marks"]
    )


def test_cells_in_quotation_marks_may_hold_lines_and_separators() -> None:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([HEAD, ["a1", "TQX000001T", 'a "b"', "c,\nd", "e"]])
    core = CORE.replace('"\\t"', '","').replace('EnclosedBy=""', "EnclosedBy='\"'")
    assert read(archive(core, {"occurrence.txt": text.getvalue()}))[0]["recordedBy"] == "c,\nd"


def test_everything_may_lie_in_one_folder_and_beside_it_what_computers_leave_there() -> None:
    files = {
        "meta.xml": f'<archive xmlns="http://rs.tdwg.org/dwc/text/">{CORE}</archive>',
        "occurrence.txt": table([HEAD, *ROWS]),
    }
    inside = {f"dwca-v1/{name}": text for name, text in files.items()}
    assert len(read(zipped({**inside, "__MACOSX/dwca-v1/._meta.xml": b"\0\1"}))) == 3


def test_archives_within_the_archive_are_left_as_they_are() -> None:
    bomb = zipped({"zeros": b"\0" * 1_000_000})
    assert len(read(archive(CORE, {"occurrence.txt": table([HEAD, *ROWS]), "nested.zip": bomb}))) == 3


def test_the_title_of_the_whole_is_told() -> None:
    assert open_listing(ARCHIVES["extensions"]).title == "Plants of the Skarn Tarn"


def test_a_row_of_an_extension_that_belongs_to_no_row_is_named_instead_of_lost() -> None:
    data = archive(
        CORE, {"occurrence.txt": table([HEAD, *ROWS]), **ADDED, "measured.txt": "12 mm\ta9\n"}, IDENTIFIED, MEASURED
    )
    (bad,) = [row for row in open_listing(data).rows() if isinstance(row, BadRow)]
    assert bad.said.startswith("measured.txt, line 1, coreid: No row of the core has this id")


def test_two_rows_of_the_core_with_one_id_are_named_where_extensions_are_found_by_it() -> None:
    twice = [ROWS[0], ["a1", *ROWS[1][1:]], ROWS[2]]
    data = archive(CORE, {"occurrence.txt": table([HEAD, *twice]), **ADDED}, IDENTIFIED, MEASURED)
    assert [row.said for row in open_listing(data).rows() if isinstance(row, BadRow)] == [
        "occurrence.txt, line 3, id: Another row of the core has this id, and rows of extensions are found by it."
    ]


def test_an_entity_in_its_metafile_is_refused_before_it_names_anything() -> None:
    meta = f'<!DOCTYPE archive [<!ENTITY x SYSTEM "file:///etc/hostname">]><archive>{CORE}&x;</archive>'
    with pytest.raises(BadTable, match="declares a document type"):
        open_listing(archive("", {"occurrence.txt": table([HEAD, *ROWS])}, meta=meta))
