"""Where the room's data lies and how it is opened: from the environment, with defaults that need nothing set."""

from __future__ import annotations

import os
import secrets
import sys
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

HOME = Path(__file__).resolve().parent.parent


@dataclass(frozen=True)
class Config:
    """One room: its folder, its database, its time zone and the key that signs its cookies."""

    data: Path
    database_url: str
    zone: ZoneInfo
    secret_key: str
    secure_cookies: bool = False
    trusted_hosts: tuple[str, ...] = ()


def load_config(data: Path | None = None) -> Config:
    """Read the room's configuration and make its folder; ValueError with a sentence for a zone that does not exist."""
    folder = (data or Path(os.environ.get("BLOTTER_DATA") or _data_home())).expanduser().resolve()
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    url = os.environ.get("BLOTTER_DATABASE_URL") or f"sqlite:///{folder / 'blotter.sqlite3'}"
    hosts = tuple(filter(None, os.environ.get("BLOTTER_HOSTS", "").split(",")))
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


def _secret_key(folder: Path) -> str:
    path = folder / "secret-key"
    if not path.exists():
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w") as file:
            file.write(secrets.token_hex(32))
    return path.read_text().strip()
