"""The command that takes a file in: dry first, by a map, with every bad row on standard error."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.cli import main
from app.db.engine import open_database, reading, sqlite_url, transaction
from app.db.upgrade import upgrade
from app.queries.files import files
from app.services.room import add_consignment
from tests.room import Room
from tests.services.archives import archive, part, table
from tests.services.parcels import counts, listed, number, rows


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A room's folder, with the cast in it and a parcel just come."""
    monkeypatch.setenv("BLOTTER_ZONE", "Europe/London")
    monkeypatch.delenv("BLOTTER_DATABASE_URL", raising=False)
    home = tmp_path / "room"
    home.mkdir()
    url = sqlite_url(home / "blotter.sqlite3")
    upgrade(url)
    database = open_database(url)
    Room(database)
    with transaction(database) as session:
        add_consignment(session, "GIFT-1", "A gift", source="S. Harrowgill", kind="gift")
    database.engine.dispose()
    return home


def imports(folder: Path, data: bytes, *more: str, name: str = "list.csv") -> int:
    path = folder.parent / name
    path.write_bytes(data)
    return main(["import", "--data", str(folder), str(path), "--consignment", "GIFT-1", *more])


def sheets(folder: Path) -> int:
    database = open_database(sqlite_url(folder / "blotter.sqlite3"))
    found = counts(database)["sheet"]
    database.engine.dispose()
    return found


def test_dry_it_says_what_it_would_do_and_then_does_it_once(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = listed(rows(30))
    assert imports(folder, data, "--dry-run") == 0 and sheets(folder) == 0
    assert capsys.readouterr().out == "30 new, 0 already here. Nothing is written yet.\n"
    assert imports(folder, data) == 0 and capsys.readouterr().out == "30 new, 0 already here.\n"
    assert imports(folder, data) == 0 and capsys.readouterr().out == "0 new, 30 already here.\n"
    assert sheets(folder) == 30


def test_every_bad_row_is_named_and_the_status_is_1(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    some = rows(3)
    some[0][0], some[2][6] = "TQX000000", "2024-02-31"
    for more in ((), ("--dry-run",)):
        assert imports(folder, listed(some), *more) == 1
        said = capsys.readouterr().err.strip().splitlines()
        assert said[0].startswith("Line 2, catalogNumber: ") and said[1].startswith("Line 4, eventDate: "), said
        assert said[-1].startswith("Nothing is imported: ") and "Traceback" not in "\n".join(said)
    assert sheets(folder) == 0


def test_a_map_says_what_columns_are_and_is_known_the_next_time(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = (f"Barcode,Van\n{number(place)},7\n".encode() for place in range(2))
    told = folder.parent / "map.json"
    told.write_text(json.dumps({"Barcode": "catalogNumber", "Van": "leave"}))
    assert imports(folder, first) == 1 and "No column is headed catalogNumber" in capsys.readouterr().err
    assert imports(folder, first, "--map", str(told)) == 0
    capsys.readouterr()
    assert imports(folder, second) == 0
    assert "as they were the last time" in capsys.readouterr().err and sheets(folder) == 2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[", "no JSON object"),
        ('["a"]', "no JSON object"),
        ('{"Barcode": 7}', "no JSON object"),
        ('{"Boat": "keep"}', "does not have it"),
        ('{"Barcode": "catalogNumer"}', "no term of Darwin Core"),
        ('{"Barcode": "keep"}', "Say which column has the sheets' numbers"),
    ],
)
def test_a_map_that_fits_nothing_is_told_in_one_sentence(
    folder: Path, capsys: pytest.CaptureFixture[str], text: str, words: str
) -> None:
    told = folder.parent / "map.json"
    told.write_text(text)
    assert imports(folder, f"Barcode,Van\n{number(0)},7\n".encode(), "--map", str(told)) == 1
    said = capsys.readouterr().err
    assert words in said and "Traceback" not in said and sheets(folder) == 0


def test_an_archive_is_taken_in_and_written_down_by_its_name(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    core = part("core", [(1, "catalogNumber", None), (2, "scientificName", None)])
    data = archive(core, {"occurrence.txt": table([["id", "n", "s"], ["a1", number(0), "Carex nigra"]])})
    assert imports(folder, data, name="skarn.zip") == 0
    database = open_database(sqlite_url(folder / "blotter.sqlite3"))
    with reading(database) as session:
        (found,) = files(session)
    database.engine.dispose()
    assert (found.name, found.state, found.rows, found.by) == ("skarn.zip", "in", 1, "Hedda Brackwater")


def test_windows_1252_is_said_with_a_line_to_look_at(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = f"catalogNumber,recordedBy\n{number(0)},Séguin\n".encode("cp1252")
    assert imports(folder, data) == 0
    said = capsys.readouterr().err
    assert "Read as Windows-1252." in said and "line 2" in said and "Séguin" in said
