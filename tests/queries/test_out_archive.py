"""The Darwin Core archive on its way out: by the schema's rules, read back by another program's reader, and nobody's secret in it."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from dwca.read import DwCAReader

from app.domain.archive_out import address_of, meta_xml, shape_of
from app.domain.numbers import shown
from app.domain.out_table import heading_of
from app.domain.own_columns import own_column
from app.domain.stages import Step
from app.domain.terms import TERMS, term_for
from tests.queries.looking import filed, label
from tests.room import TQX, Room
from tests.services.going_out import archived, renumbers
from tests.services.parcels import consign, listed, number, run
from tests.services.test_away import sends

DWC, DC, TEXT = "http://rs.tdwg.org/dwc/terms/", "http://purl.org/dc/terms/", "{http://rs.tdwg.org/dwc/text/}"
# TDWG's schema tdwg_dwc_text.xsd (repository tdwg/dwc, docs/text, commit 6e645c9), put down here as rules, because no package
# carries the file: of each element its attributes (True: it must be there), and its children in order (fewest, most).
ATTRIBUTES = {
    "archive": {"metadata": False},
    "core": {"rowType": True, **dict.fromkeys(("linesTerminatedBy", "fieldsTerminatedBy", "fieldsEnclosedBy", "ignoreHeaderLines",
                                               "encoding", "dateFormat"), False)},
    "files": {}, "location": {}, "id": {"index": False}, "coreid": {"index": False},
    "field": {"term": True, "index": False, "default": False, "vocabulary": False, "delimitedBy": False},
}  # fmt: skip
ATTRIBUTES["extension"] = ATTRIBUTES["core"]
CHILDREN = {
    "archive": (("core", 1, 1), ("extension", 0, 99)), "core": (("files", 1, 1), ("id", 0, 1), ("field", 1, 999)),
    "extension": (("files", 1, 1), ("coreid", 1, 1), ("field", 1, 999)), "files": (("location", 1, 99),),
}  # fmt: skip


def faults(element: Any) -> list[str]:
    """What the schema would find wrong with an element and all within it."""
    name, found = element.tag.removeprefix(TEXT), []
    if not element.tag.startswith(TEXT) or name not in ATTRIBUTES:
        return [f"no such element: {element.tag}"]
    allowed = ATTRIBUTES[name]
    found += [f"{name}: no such attribute: {each}" for each in element.attrib if each not in allowed]
    found += [f"{name}: {each} is missing" for each, must in allowed.items() if must and each not in element.attrib]
    found += [f"{name}: {each} is no whole number" for each in ("index", "ignoreHeaderLines")
              if not re.fullmatch(r"-?[0-9]+", element.get(each, "0"))]  # fmt: skip
    found += [
        f"{name}: a space in an address" for each in ("term", "vocabulary") if re.search(r"\s", element.get(each, ""))
    ]
    order, names = CHILDREN.get(name, ()), [child.tag.removeprefix(TEXT) for child in element]
    for child, fewest, most in order:
        found += [] if fewest <= names.count(child) <= most else [f"{name}: {names.count(child)} times {child}"]
    places = [
        [child for child, _, _ in order].index(each) if each in [child for child, _, _ in order] else -1
        for each in names
    ]
    found += [] if places == sorted(places) and -1 not in places else [f"{name}: children out of order: {names}"]
    return found + [fault for child in element for fault in faults(child)]


def read_back(data: bytes, tmp_path: Path) -> tuple[list[dict[str, str]], Any]:
    """The rows of an archive by the short names of their terms, as python-dwca-reader reads them, and its metadata."""
    path = tmp_path / "out.zip"
    path.write_bytes(data)
    with DwCAReader(str(path)) as reader:
        rows = [{"id": row.id, **{term.rpartition("/")[2]: text for term, text in row.data.items()},
                 "extensions": [each.data for each in row.extensions]} for row in reader]  # fmt: skip
        return rows, reader.metadata


def test_the_metafile_is_as_the_schema_asks(room: Room) -> None:
    consign(room)
    run(room, listed([[number(1), "fen", "7", "x"]], ("catalogNumber", "habitat", "my own column é", "a&b <c>")))
    with zipfile.ZipFile(io.BytesIO(archived(room))) as archive:
        assert archive.namelist() == ["meta.xml", "eml.xml", "occurrence.txt"] and archive.testzip() is None
        root = ElementTree.fromstring(archive.read("meta.xml"))
    assert faults(root) == []
    broken = meta_xml(shape_of(["MeasurementOrFact 1: measurementType"]))
    assert faults(ElementTree.fromstring(broken)) == []
    for was, wrong in (
        ("rowType", "rowtype"),
        ("<core", "<cores"),
        ('index="1"', 'index="one"'),
        ("term=", "turm="),
        ("<coreid", "<id"),
    ):
        other = (
            broken.replace(was, wrong).replace("</core>", "</cores>")
            if wrong == "<cores"
            else broken.replace(was, wrong)
        )
        assert faults(ElementTree.fromstring(other)), wrong


def test_every_column_has_an_address_that_finds_it_again() -> None:
    names = [*TERMS, "Van", "Recorder by", "my own column é", "http://rs.gbif.org/terms/1.0/x", "blotter:stage", "a:b", "id", " x",
             "dwc:habitat", "urn:x-blotter:stage", "n" * 300, "two\nlines", "%20"]  # fmt: skip
    from app.domain.archive_meta import short

    for name in names:
        heading = heading_of(name)
        again = short(address_of(heading))
        kept = own_column(again, in_own_file=True)
        assert (again if kept is None else kept) == name, (name, heading, address_of(heading))
        assert not re.search(r"\s", address_of(heading)), name
    # Darwin Core's own are not called anything else.
    assert (
        address_of("habitat") == f"{DWC}habitat" and address_of("modified") == f"{DC}modified" and term_for("habitat")
    )


def test_another_program_s_reader_finds_every_sheet_with_its_terms(room: Room, tmp_path: Path) -> None:
    consign(room)
    run(room, listed([[number(1), 'Carex "nigra"', "Fen, by the path", "two\nlines", "fen"]],
                     ("catalogNumber", "scientificName", "locality", "occurrenceRemarks", "habitat")))  # fmt: skip
    done = filed(room)
    rows, metadata = read_back(archived(room), tmp_path)
    by_number = {row["catalogNumber"]: row for row in rows}
    listed_one, filed_one = by_number[number(1)], by_number[done]
    assert listed_one["scientificName"] == 'Carex "nigra"' and listed_one["locality"] == "Fen, by the path"
    assert listed_one["occurrenceRemarks"] == "two\nlines" and listed_one["habitat"] == "fen"
    assert (listed_one["disposition"], filed_one["disposition"]) == ("being prepared", "in collection")
    assert filed_one["preparations"] == "herbarium sheet" and filed_one["basisOfRecord"] == "PreservedSpecimen"
    assert filed_one["occurrenceID"] == filed_one["materialEntityID"] == filed_one["id"] == done
    assert metadata.find("./dataset/title").text == "Sheets of the room"


def test_a_sheet_keeps_its_id_when_it_is_given_another_number(room: Room, tmp_path: Path) -> None:
    first, second = filed(room), room.new_number()
    called = first
    for now_called in (second, first, second):
        renumbers(room, called, now_called)
        called = now_called
        (row,), _ = read_back(archived(room), tmp_path)
        assert (row["id"], row["occurrenceID"], row["catalogNumber"]) == (first, first, now_called)
    assert row["otherCatalogNumbers"] == first and shown(first, (TQX,))


def test_sheets_of_one_specimen_are_one_material_entity(room: Room, tmp_path: Path) -> None:
    number_of_first = room.sheet_ready()
    room.scans(number_of_first, "table-1", step=Step.TAKE_UP)
    second = room.scans(number_of_first, "table-1", step=Step.ANOTHER_SHEET).slip
    rows, _ = read_back(archived(room), tmp_path)
    assert {row["catalogNumber"]: row["materialEntityID"] for row in rows} == dict.fromkeys(
        (number_of_first, second), number_of_first
    )
    assert {row["occurrenceID"] for row in rows} == {number_of_first, second}
    assert [row["associatedOccurrences"] for row in rows] == [
        f'"same specimen":"{each}"' for each in (second, number_of_first)
    ]


def test_disposition_says_where_it_is(room: Room, tmp_path: Path) -> None:
    here, missing, gone, away, waits = filed(room), filed(room), filed(room), room.sheet_ready(), room.sheet_ready()
    told = {"who": "hedda", "manages": True}
    answers = [
        room.scans(missing, step=Step.PUT_HOLD, reason="looked for", facts={"hold": "not-found"}, **told),
        room.scans(gone, step=Step.BRING_BACK, reason="damage was seen", **told),
        room.scans(gone, step=Step.WITHDRAW, reason="destroyed: mould", **told),
        sends(room, away),
    ]
    assert {answer.kind for answer in answers} == {"done"}
    rows, _ = read_back(archived(room, withdrawn=True), tmp_path)
    assert {row["catalogNumber"]: row["disposition"] for row in rows} == {
        here: "in collection", missing: "missing", gone: "destroyed", away: "elsewhere for a time", waits: "being prepared"}  # fmt: skip


def test_the_place_of_a_sensitive_plant_stays_here_unless_the_manager_says_otherwise(
    room: Room, tmp_path: Path
) -> None:
    done, open_one = filed(room), filed(room)
    told = {"country": "Norway", "decimalLatitude": "61.2", "verbatimLocality": "the well", "my map": "p. 7", "MeasurementOrFact 1: measurementType": "at the well"}  # fmt: skip
    label(room, done, "Drosera anglica", locality="by the well", notes="left of the well", is_sensitive=True, kept=told)
    # Another sheet has the same columns, so that they are there.
    label(room, open_one, locality="the moor", kept={name: "open" for name in told})
    withheld = archived(room)
    with zipfile.ZipFile(io.BytesIO(withheld)) as archive:
        whole = b"".join(archive.read(name) for name in archive.namelist())
    assert b"well" not in whole and b"61.2" not in whole and b"p. 7" not in whole and b"the moor" in whole
    row = next(row for row in read_back(withheld, tmp_path)[0] if row["catalogNumber"] == done)
    assert (
        row["scientificName"] == "Drosera anglica"
        and row["country"] == "Norway"
        and "sensitive" in row["informationWithheld"]
    )
    exact = next(
        row for row in read_back(archived(room, exact_places=True), tmp_path)[0] if row["catalogNumber"] == done
    )
    assert (exact["locality"], exact["decimalLatitude"], exact["informationWithheld"]) == ("by the well", "61.2", "")
    assert [list(each.values()) for each in exact["extensions"]] == [["at the well"]]


def test_what_came_with_a_sheet_goes_before_what_the_room_would_say(room: Room, tmp_path: Path) -> None:
    done = filed(room)
    label(
        room,
        done,
        kept={
            "preparations": "packet of seeds",
            "occurrenceID": "urn:catalog:X:1",
            "disposition": "on loan",
            "modified": "1931",
        },
    )
    (row,), _ = read_back(archived(room), tmp_path)
    assert (row["preparations"], row["occurrenceID"], row["id"]) == ("packet of seeds", "urn:catalog:X:1", done)
    # Where it is, and when it was last touched, the room knows better.
    assert row["disposition"] == "in collection" and row["modified"].startswith("2026-")
    assert row["urn:x-blotter:kept:disposition"] == "on loan"
