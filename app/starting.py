"""Starting the room with the computer: a unit for systemd, made for this checkout and this room's folder."""

from __future__ import annotations

import getpass
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from app.config import HOME
from app.room_files import Failed

NAME = "blotter.service"
UNIT = """\
[Unit]
Description=Blotter, the day-book of a herbarium preparation room
Documentation={readme}
After=network-online.target
Wants=network-online.target

[Service]
Type=simple
ExecStart={command}
WorkingDirectory={home}
{environment}Restart=on-failure
RestartSec=5
# A scan that is being written is written to its end.
KillSignal=SIGTERM
TimeoutStopSec=30
UMask=0077
NoNewPrivileges=yes
{system}
[Install]
WantedBy={target}
"""
# Only where the system starts it: a user's own systemd may not be able to.
SYSTEM = """\
User={user}
ProtectSystem=full
PrivateTmp=yes
"""
# What the room takes from its environment, and so has to find there again.
CARRIED = ("BLOTTER_DATABASE_URL", "BLOTTER_ZONE", "BLOTTER_HOSTS")


@dataclass(frozen=True, slots=True)
class Started:
    """What is started: the room's folder, its address, the certificate and key if any, whether by the system itself,
    and whether its folder may lie on a network share.
    """

    data: Path
    host: str
    port: int
    tls: tuple[Path, ...] = ()
    by_system: bool = False
    on_share: bool = False


def unit(started: Started) -> str:
    """The unit, in the words of systemd.service(5)."""
    words = [sys.executable, "-m", "app", "serve", "--data", str(started.data), "--host", started.host, "--port", str(started.port),
             *(["--tls", *map(str, started.tls)] if started.tls else []), *["--on-share"] * started.on_share]  # fmt: skip
    carried = [f"Environment={_quoted(f'{name}={os.environ[name]}')}\n" for name in CARRIED if os.environ.get(name)]
    return UNIT.format(
        readme=(HOME / "README.md").as_uri().replace("%", "%%"), command=" ".join(map(_quoted, words)), home=_path(HOME),
        environment="".join(carried),
        system=SYSTEM.format(user=_user()) if started.by_system else "",
        target="multi-user.target" if started.by_system else "default.target",
    )  # fmt: skip


def place_of_unit(started: Started) -> Path:
    """Where systemd looks for it."""
    if started.by_system:
        return Path("/etc/systemd/system") / NAME
    home = Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config")
    return home / "systemd" / "user" / NAME


def shown(started: Started) -> str:
    """The unit, after a line that says where it belongs. Failed on a computer that does not start things so."""
    _only_linux()
    return f"# {place_of_unit(started)}\n{unit(started)}"


def install(started: Started) -> list[str]:
    """Write the unit, have systemd start it now and with the computer, and say what was done. Failed with what went wrong."""
    _only_linux()
    if shutil.which("systemctl") is None:
        raise Failed("There is no systemctl on this computer. Start Blotter by its own way of starting programs.")
    path = place_of_unit(started)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(unit(started), encoding="utf-8")
        path.chmod(0o600 if not started.by_system else 0o644)
    except OSError as error:
        raise Failed(
            f"{path} cannot be written: {error.strerror}. With --system this is for the administrator (sudo)."
        ) from error
    for words in (["daemon-reload"], ["enable", "--now", NAME]):
        _systemctl(started, words, path)
    said = [f"Written to {path}, started, and started with the computer from now on."]
    if not started.by_system:
        said.append(f"To start it before anybody signs in here: loginctl enable-linger {_user()}")
    return said


def _systemctl(started: Started, words: list[str], path: Path) -> None:
    whose = [] if started.by_system else ["--user"]
    done = subprocess.run(["systemctl", *whose, *words], capture_output=True, text=True, timeout=120, check=False)
    if done.returncode:
        why = (done.stderr.strip() or done.stdout.strip() or "no reason given").splitlines()[-1].rstrip(".")
        raise Failed(f"Written to {path}, but systemd does not take it: {why}.")


def _only_linux() -> None:
    if not sys.platform.startswith("linux"):
        raise Failed("This is for Linux. For macOS and Windows see the README, “For the person who installs it”.")


def _user() -> str:
    """Whoever runs it: with sudo, the one who asked for it and not the administrator."""
    return os.environ.get("SUDO_USER") or getpass.getuser()


def _quoted(word: str) -> str:
    """One word of a command, as systemd.service(5), "Command lines", and systemd.unit(5), "Specifiers", want it."""
    if any(sign in word for sign in "\n\r\0"):
        raise Failed("A path with a line break in it cannot be started.")
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return f'"{escaped}"'


def _path(path: Path) -> str:
    """A path where the unit takes one as it stands, without quotes."""
    return str(path).replace("%", "%%")
