"""Real occurrence records in an archive: no field that the room keeps is lost, and the rest is kept as it came.

The records are those of tests/records/occurrence.csv (CC BY 4.0; see the licence beside them), in an archive made here of their own
columns: only a number of the room is added to each, because observations have none.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

from sqlalchemy import select

from app.db.engine import reading
from app.db.models import PlantName, Sheet
from tests.domain.test_archive_rows import read, theirs
from tests.room import Room
from tests.services.archives import DWC, archive, part
from tests.services.bringing import bring
from tests.services.parcels import consign, number

RECORDS = Path(__file__).resolve().parents[1] / "records" / "occurrence.csv"
# What Blotter has a place of its own for; of these records it is the name, the date and the number.
OWN = {"catalogNumber", "scientificName", "eventDate"}


def records() -> list[dict[str, str]]:
    with RECORDS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def numbered() -> bytes:
    """The records in an archive, with the room's numbers in a last column. Their own ids are the ids of the core."""
    rows = records()
    terms = [*rows[0], "catalogNumber"]
    out = io.StringIO()
    told = csv.writer(out, lineterminator="\n")
    told.writerow(terms)
    told.writerows([*row.values(), number(place)] for place, row in enumerate(rows))
    # dcterms, not dwc, by the quick reference guide of Darwin Core.
    other = {name: f"http://purl.org/dc/terms/{name}" for name in ("type", "language", "license", "rightsHolder")}
    fields = [(place, other.get(term, DWC + term), None) for place, term in enumerate(terms)]
    core = part(
        "core",
        fields,
        ["occurrence.csv"],
        key=terms.index("occurrenceID"),
        fieldsTerminatedBy=",",
        fieldsEnclosedBy='"',
    )
    return archive(core, {"occurrence.csv": out.getvalue()})


def test_real_records_are_read_as_python_dwca_reader_reads_them(tmp_path: Path) -> None:
    ours, data = read(numbered()), numbered()
    assert len(ours) == len(records()) == 16
    short = [{term.rpartition("/")[2]: text for term, text in row.items()} for row in theirs(data, tmp_path)]
    # The reader tells the id of the core a second time.
    assert all(row.pop("id") == row["occurrenceID"] for row in short)
    assert [{term.rpartition("/")[2]: text for term, text in row.items()} for row in ours] == short


def test_no_field_of_real_records_is_lost(room: Room) -> None:
    consign(room, "REAL", kind="gift")
    assert bring(room, numbered(), "REAL").new == 16
    with reading(room.database) as session:
        asked = select(Sheet.number, Sheet.event_date, Sheet.kept, PlantName.name).join(
            PlantName, PlantName.id == Sheet.plant_name_id
        )
        kept = {row.number: row for row in session.execute(asked)}
    for place, record in enumerate(records()):
        row = kept[number(place)]
        assert (row.name, row.event_date) == (record["scientificName"], record["eventDate"])
        said = {term.rpartition("/")[2]: text for term, text in row.kept.items()}
        assert {term: text for term, text in record.items() if text and term not in OWN} == {
            term: text for term, text in said.items() if term in record
        }
