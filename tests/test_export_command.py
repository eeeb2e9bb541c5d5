"""blotter export: the same files as on the page, written whole or not at all."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from app.cli import main
from app.db.engine import transaction
from app.services.room import add_consignment
from tests.queries.looking import filed, label
from tests.room import Room
from tests.services.going_out import hands_over, table, told_in
from tests.test_cli import refused, runs


@pytest.fixture
def folder(room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("BLOTTER_ZONE", "Europe/London")
    return str(tmp_path)


def test_a_table_of_the_sheets_is_written(
    room: Room, folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    done = filed(room)
    label(room, done, locality="by the well", is_sensitive=True)
    room.sheet_ready()
    file = tmp_path / "sheets.csv"
    status, out, wrong = runs(capsys, "export", "sheets", str(file), "--data", folder)
    assert (status, wrong) == (0, "") and f"Written to {file}: {file.stat().st_size:,} bytes." in out
    assert file.read_bytes() == table(room) and b"the well" not in file.read_bytes()
    runs(capsys, "export", "sheets", str(file), "--stage", "filed", "--cabinet", "F1", "--shelf", "1", "--no-mark", "--exact-places", "--data", folder)  # fmt: skip
    rows = file.read_text().splitlines()
    assert len(rows) == 2 and rows[1].startswith(done) and "by the well" in rows[1]


def test_an_archive_that_was_written_is_imported_again(
    room: Room, folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    filed(room)
    file = tmp_path / "out.zip"
    assert runs(capsys, "export", "archive", str(file), "--title", "Quillmoor", "--data", folder)[0] == 0
    with transaction(room.database) as session:
        add_consignment(session, "QF", "Parcel", kind="gift")
    status, _, said = runs(capsys, "import", str(file), "--consignment", "QF", "--dry-run", "--data", folder)
    # The sheet is here already: the archive was read, and its one row held against the room.
    assert status == 1 and "line 2, catalogNumber" in said and "is in use for another sheet" in said


def test_the_log_is_written(room: Room, folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    filed(room)
    file = tmp_path / "log.xes"
    runs(
        capsys, "export", "log", str(file), "--from", "2026-11-25", "--to", "2026-11-25", "--workers", "--data", folder
    )
    assert len(ElementTree.parse(file).findall("trace/event")) == 4 and "org:resource" in file.read_text()
    runs(capsys, "export", "log", str(file), "--from", "2026-11-26", "--data", folder)
    assert ElementTree.parse(file).find("trace") is None


def test_a_hand_over_is_made_and_written_and_written_again(
    room: Room, folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    csv, packed = tmp_path / "one.csv", tmp_path / "one.zip"
    assert "Nothing was handed over yet" in refused(capsys, "export", "hand-over", str(csv), "--data", folder)
    assert "Nothing was filed or changed" in refused(
        capsys, "export", "hand-over", str(csv), "--new", "Ida", "--data", folder
    )
    filed(room)
    status, out, wrong = runs(capsys, "export", "hand-over", str(csv), "--new", "Ida Thwaite", "--data", folder)
    assert status == 0 and wrong == "Hand-over 1 is made.\n" and "Written to" in out
    assert csv.read_bytes() == told_in(room, 1)[0].encode()
    filed(room)
    hands_over(room)
    runs(capsys, "export", "hand-over", str(packed), "--number", "1", "--title", "The room", "--data", folder)
    assert packed.read_bytes() == told_in(room, 1)[1]
    runs(capsys, "export", "hand-over", str(csv), "--data", folder)
    assert csv.read_bytes() == told_in(room, 2)[0].encode()
    assert "no hand-over 7" in refused(capsys, "export", "hand-over", str(csv), "--number", "7", "--data", folder)


@pytest.mark.parametrize("argv, said", [
    (["sheets", "--consignment", "NONE"], "There is no consignment called NONE"), (["archive", "--cabinet", "Z9"], "There is no cabinet called Z9"),
    (["log", "--from", "2026-11-02", "--to", "2026-11-01"], "before the first"), (["sheets", "--new", "Ida"], "With --new a hand-over is made")])  # fmt: skip
def test_what_cannot_be_leaves_no_file(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], argv: list[str], said: str
) -> None:
    file = tmp_path / "out.file"
    assert said in refused(capsys, "export", *argv[:1], str(file), *argv[1:], "--data", folder)
    assert not [each.name for each in tmp_path.iterdir() if each.name.startswith("out.file")]


def test_a_file_that_cannot_be_written_is_said_so(
    room: Room, folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for file in (tmp_path / "no-folder" / "x.csv", tmp_path / "blotter.sqlite3" / "x.csv"):
        assert "cannot be written" in refused(capsys, "export", "sheets", str(file), "--data", folder)


@pytest.mark.parametrize("argv", [["export"], ["export", "posters", "x"], ["export", "log", "x", "--from", "yesterday"],
                                  ["export", "hand-over", "x", "--number", "0"]], ids=" ".join)  # fmt: skip
def test_wrong_use_is_status_2(capsys: pytest.CaptureFixture[str], argv: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(argv)
    assert ended.value.code == 2 and "usage: blotter" in capsys.readouterr().err
