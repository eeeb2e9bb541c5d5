"""Where the room's data lies and how it is opened: from the environment, with defaults that need nothing set."""

from __future__ import annotations

import os
import secrets
import sys
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

HOME = Path(__file__).resolve().parent.parent
LOOPBACK_NAMES = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True)
class Config:
    """One room: its folder, its database, its time zone and the key that signs its cookies."""

    data: Path
    database_url: str
    zone: ZoneInfo
    secret_key: str
    secure_cookies: bool = False
    trusted_hosts: tuple[str, ...] = ()

    def at(self, host: str, *, is_safe: bool) -> Config:
        """The room served at this address; on this machine only, it is asked by this machine's own names and no others."""
        own = LOOPBACK_NAMES if host in LOOPBACK_NAMES or host == "::1" else ()
        return replace(self, secure_cookies=is_safe, trusted_hosts=self.trusted_hosts or own)


def load_config(data: Path | None = None) -> Config:
    """Read the room's configuration and make its folder; ValueError with a sentence for a zone that does not exist."""
    folder = (data or Path(os.environ.get("BLOTTER_DATA") or _data_home())).expanduser().resolve()
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _keep_to_oneself(folder)
    url = os.environ.get("BLOTTER_DATABASE_URL") or f"sqlite:///{folder / 'blotter.sqlite3'}"
    hosts = tuple(filter(None, (name.strip().lower() for name in os.environ.get("BLOTTER_HOSTS", "").split(","))))
    return Config(folder, url, room_zone(), _secret_key(folder), trusted_hosts=hosts)


def room_zone() -> ZoneInfo:
    """The room's time zone: BLOTTER_ZONE, else the machine's, else UTC."""
    name = os.environ.get("BLOTTER_ZONE") or _machine_zone()
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise ValueError(f"There is no time zone called {name!r}. Use a name like Europe/London.") from error


def is_checkout() -> bool:
    """Whether the program runs from its checkout, where templates and migrations lie beside it."""
    return (HOME / "migrations").is_dir() and (HOME / "templates").is_dir()


def _data_home() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home())) / "Blotter"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "Blotter"
    return Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share") / "blotter"


def _machine_zone() -> str:
    if os.environ.get("TZ"):
        return os.environ["TZ"].lstrip(":")
    link = Path("/etc/localtime")
    parts = str(link.resolve()).split("/zoneinfo/") if link.exists() else []
    name = parts[-1] if len(parts) == 2 else "UTC"
    return name if name and not name.startswith("/") else "UTC"


def _keep_to_oneself(folder: Path) -> None:
    # Only a folder in which a room begins: one with something in it may be shared on purpose.
    if not any(folder.iterdir()):
        with suppress(OSError):
            folder.chmod(0o700)


def _secret_key(folder: Path) -> str:
    path = folder / "secret-key"
    if not path.exists() or not path.read_text().strip():
        _write_whole(path, secrets.token_hex(32))
    if path.stat().st_mode & 0o077:
        # As it may come back from a copy; whoever reads it can make a cookie for anybody.
        path.chmod(0o600)
    return path.read_text().strip()


def _write_whole(path: Path, text: str) -> None:
    """Write a file of one's own that is never there in part."""
    part = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w") as file:
        file.write(text)
    part.replace(path)
