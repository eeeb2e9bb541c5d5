"""What starts the room with the computer: a unit that systemd itself takes, whatever its paths are called."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from app import starting
from app.cli import main
from app.starting import Started, place_of_unit, unit

posix = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="systemd is on Linux only")
HOSTILE = "the room \"of\" 100 % \\ $HOME and 'more'"


def verified(path: Path, *more: str) -> str:
    """What systemd says of a unit; empty where it takes it."""
    tool = shutil.which("systemd-analyze")
    if tool is None:
        pytest.skip("systemd-analyze is not installed here")
    # Where nobody is signed in there is no folder of the user's for what runs; any will do.
    where = {"XDG_RUNTIME_DIR": str(path.parent), **os.environ}
    done = subprocess.run([tool, *more, "verify", str(path)], capture_output=True, text=True, env=where)
    # Of other units of this computer, or of a manager that does not run, nothing is asked.
    return "\n".join(line for line in (done.stderr + done.stdout).splitlines() if path.name in line)


@posix
@pytest.mark.parametrize("by_system", [False, True])
@pytest.mark.parametrize("name", ["room", HOSTILE])
def test_systemd_takes_the_unit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, by_system: bool, name: str) -> None:
    data = tmp_path / name
    data.mkdir()
    monkeypatch.setenv("BLOTTER_HOSTS", "room.example,100%.example")
    path = tmp_path / "blotter.service"
    started = Started(data, "0.0.0.0", 8765, (tmp_path / "cert.pem", tmp_path / "key.pem"), by_system)
    path.write_text(unit(started), encoding="utf-8")
    assert verified(path, *([] if by_system else ["--user"])) == ""
    # What `verify` does not look at: systemd.service(5), "Command lines", and systemd.unit(5), "Specifiers".
    assert (name == "room") or r"/the room \"of\" 100 %% \\ $$HOME and " in unit(started)
    # And one that it does not take is told.
    path.write_text(unit(started).replace("ExecStart=", "ExecStart=no-path "), encoding="utf-8")
    assert "no-path" in verified(path, *([] if by_system else ["--user"]))


@posix
def test_what_it_starts_is_this_room_as_it_is_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BLOTTER_ZONE", "Europe/London")
    monkeypatch.delenv("BLOTTER_HOSTS", raising=False)
    said = unit(Started(tmp_path, "127.0.0.1", 9000))
    assert f'"-m" "app" "serve" "--data" "{tmp_path}" "--host" "127.0.0.1" "--port" "9000"\n' in said
    assert '"BLOTTER_ZONE=Europe/London"' in said and "BLOTTER_HOSTS" not in said
    assert "Restart=on-failure" in said and "UMask=0077" in said and "User=" not in said
    assert "User=" in unit(Started(tmp_path, "127.0.0.1", 9000, (), True))


@posix
def test_it_is_shown_with_the_place_where_it_belongs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    assert main(["service", "--data", str(tmp_path)]) == 0
    assert capsys.readouterr().out.startswith(f"# {tmp_path}/config/systemd/user/blotter.service\n[Unit]\n")
    assert main(["service", "--system", "--data", str(tmp_path)]) == 0
    assert capsys.readouterr().out.startswith("# /etc/systemd/system/blotter.service\n")
    assert not (tmp_path / "config").exists()


@posix
def test_it_is_set_up_by_the_computer_s_own_tool_and_a_refusal_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    tools, told = tmp_path / "tools", tmp_path / "told"
    tools.mkdir()
    tool = tools / "systemctl"
    tool.write_text(
        f'#!/bin/sh\necho "$@" >> {told}\nif [ -e {tmp_path}/refuses ]; then echo "Failed to connect to bus" >&2; exit 1; fi\n'
    )
    tool.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tools}:/usr/bin:/bin")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    assert main(["service", "--install", "--data", str(tmp_path / "room")]) == 0
    assert "loginctl enable-linger" in capsys.readouterr().out
    path = place_of_unit(Started(tmp_path, "", 0))
    assert f'"{tmp_path / "room"}"' in path.read_text() and path.stat().st_mode & 0o077 == 0
    assert told.read_text() == "--user daemon-reload\n--user enable --now blotter.service\n"
    (tmp_path / "refuses").touch()
    assert main(["service", "--install", "--data", str(tmp_path / "room")]) == 1
    assert "systemd does not take it: Failed to connect to bus." in capsys.readouterr().err


def test_elsewhere_it_is_said_where_to_read_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(starting.sys, "platform", "darwin")
    assert main(["service", "--data", str(tmp_path)]) == 1
    assert "README" in capsys.readouterr().err
