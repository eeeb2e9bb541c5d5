"""A room on a network share is not served, with ways out of it; whoever knows better says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from app import commands, room_files
from app.cli import main
from app.config import Config
from app.room_files import on_share
from tests.room import LONDON


@pytest.fixture
def mounted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder on a share, by what this computer says of its mounts."""
    folder = tmp_path / "our rooms"
    folder.mkdir()
    mounts = tmp_path / "mounts"
    place = str(folder).replace(" ", "\\040")
    mounts.write_text(f"/dev/sda1 / ext4 rw 0 0\n//office/rooms {place} cifs rw 0 0\n", encoding="utf-8")
    monkeypatch.setattr(room_files, "MOUNTS", mounts)
    monkeypatch.delenv("BLOTTER_DATABASE_URL", raising=False)
    return folder


def test_a_room_on_a_share_is_not_served_and_three_ways_out_are_named(
    mounted: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[Config] = []
    monkeypatch.setattr(commands, "run_room", lambda config, *_: opened.append(config))
    folder = mounted / "blotter"
    assert main(["serve", "--data", str(folder)]) == 1
    said = capsys.readouterr().err
    assert said.startswith(f"{folder} lies on a network share (cifs)") and "Traceback" not in said
    assert all(way in said for way in ("--data", "BLOTTER_DATABASE_URL", "--on-share"))
    assert opened == [] and not (folder / "blotter.sqlite3").exists()
    assert main(["serve", "--data", str(folder), "--on-share"]) == 0 and len(opened) == 1
    # Beside the share all is well.
    assert main(["serve", "--data", str(mounted.parent / "here")]) == 0 and len(opened) == 2


def test_it_is_the_database_that_counts(mounted: Path) -> None:
    here = mounted.parent / "here"
    at = {each: Config(here, each, LONDON, "key") for each in (
        f"sqlite:///{here}/blotter.sqlite3", f"sqlite:///{mounted}/blotter.sqlite3", "postgresql://localhost/room")}  # fmt: skip
    assert [bool(on_share(config)) for config in at.values()] == [False, True, False]
    assert not on_share(Config(mounted, "postgresql://localhost/room", LONDON, "key"))


def test_a_computer_that_does_not_tell_refuses_nothing(mounted: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room_files, "MOUNTS", mounted.parent / "nowhere")
    assert on_share(Config(mounted, f"sqlite:///{mounted}/blotter.sqlite3", LONDON, "key")) == ""


def test_what_starts_with_the_computer_is_refused_too_and_carries_the_option(
    mounted: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["service", "--data", str(mounted)]) == 1
    assert "network share" in capsys.readouterr().err
    assert main(["service", "--data", str(mounted), "--on-share"]) == 0
    (command,) = [line for line in capsys.readouterr().out.splitlines() if line.startswith("ExecStart=")]
    assert command.endswith('"--on-share"')
