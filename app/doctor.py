"""Looking over a room and the computer on which it runs: one line for each thing, with what is to be done about it."""

from __future__ import annotations

import json
import os
import shutil
import socket
import sqlite3
import ssl
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from app.config import Config
from app.db.fitness import file_of
from app.db.lock import is_used, told_last
from app.doctor_room import BAD, GOOD, LOOK, Finding, look_at_room
from app.domain.certificate import holds_until
from app.room_files import on_share

MEGABYTE = 1_000_000
# SQLite, "RETURNING": it came with 3.35.
OLDEST_SQLITE = (3, 35, 0)
SOON = timedelta(days=21)
# What a computer is set to where nobody set it.
NO_ZONE = ("UTC", "Etc/UTC", "Etc/UCT", "UCT", "Zulu", "Etc/Zulu", "Universal", "Etc/Universal")


@dataclass(frozen=True, slots=True)
class Looked:
    """How the room is, or will be, served: at which address and port, and with which certificate and key."""

    host: str
    port: int
    tls: tuple[Path, Path] | None = None


def look_over(config: Config, now: datetime, looked: Looked) -> list[Finding]:
    """Everything that can be wrong, in the order in which it is put right."""
    return [*_computer(config), *_time(config), *look_at_room(config, now), *_doors(config, now, looked)]


def _computer(config: Config) -> Iterator[Finding]:
    said = ".".join(map(str, sys.version_info[:3]))
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        yield Finding(
            BAD, "Python", f"{said} comes with SQLite {sqlite3.sqlite_version}, too old. Install a newer Python."
        )
    else:
        yield Finding(GOOD, "Python", f"{said} with SQLite {sqlite3.sqlite_version}.")
    yield _folder(config)
    yield _disk(config)


def _folder(config: Config) -> Finding:
    what, folder = "Folder", config.data
    about = folder.stat()
    if words := on_share(config):
        return Finding(BAD, what, f"{words} Move it to a disk of this computer.")
    if not os.access(folder, os.W_OK | os.X_OK):
        return Finding(BAD, what, f"{folder} cannot be written in. Give it to the user that runs Blotter.")
    if os.name == "posix" and about.st_mode & 0o077:
        return Finding(LOOK, what, f"Others on this computer may look into {folder}. Close it with: chmod 700 {folder}")
    if os.name == "posix" and about.st_uid != os.geteuid():
        return Finding(
            LOOK, what, f"{folder} belongs to another user. Run Blotter as that one, or give the folder to this one."
        )
    return Finding(GOOD, what, f"{folder}, its owner's alone.")


def _disk(config: Config) -> Finding:
    file = file_of(config.database_url)
    size = file.stat().st_size if file is not None and file.exists() else 0
    free = shutil.disk_usage(config.data).free
    said = f"{free / MEGABYTE:,.0f} MB are free, and the room has {size / MEGABYTE:,.0f} MB."
    if free < 2 * size + 100 * MEGABYTE:
        return Finding(BAD, "Disk", f"{said} Make room on it: a backup, an upgrade or a day's work may not find space.")
    if free < 10 * size + 1000 * MEGABYTE:
        return Finding(LOOK, "Disk", f"{said} Two weeks of backups may fill it. Make room on it.")
    return Finding(GOOD, "Disk", said)


def _time(config: Config) -> Iterator[Finding]:
    key = config.zone.key
    if key in NO_ZONE and not os.environ.get("BLOTTER_ZONE"):
        yield Finding(
            LOOK,
            "Time zone",
            "UTC, because this computer names no other. Set BLOTTER_ZONE to a name like Europe/London.",
        )
    else:
        yield Finding(GOOD, "Time zone", f"{key}.")


def _doors(config: Config, now: datetime, looked: Looked) -> Iterator[Finding]:
    told = told_last(config.database_url) if is_used(config.database_url) else {}
    certificate = looked.tls[0] if looked.tls else Path(told["certificate"]) if told.get("certificate") else None
    if certificate is not None:
        yield _certificate(certificate, now)
    yield _running(told["address"]) if told.get("address") else _port(looked)
    if not (looked.host.startswith("127.") or looked.host in ("localhost", "::1")):
        yield from _network(config, looked)


def _certificate(path: Path, now: datetime) -> Finding:
    what = "Certificate"
    try:
        until = holds_until(ssl.PEM_cert_to_DER_cert(_first_of(path.read_text(encoding="ascii"))))
    except OSError as error:
        return Finding(BAD, what, f"{path} cannot be read: {error.strerror}.")
    except ValueError:
        return Finding(BAD, what, f"{path} is no certificate in PEM.")
    said = f"holds until {until:%Y-%m-%d}"
    if until <= now:
        return Finding(
            BAD, what, f"{path} held until {until:%Y-%m-%d}. Put a new one in its place and start Blotter again."
        )
    if until - now < SOON:
        return Finding(LOOK, what, f"{path} {said}. Have a new one made before that.")
    return Finding(GOOD, what, f"It {said}.")


def _first_of(text: str) -> str:
    """The first certificate of a file: the room's own; those behind it belong to who signed it."""
    end = "-----END CERTIFICATE-----"
    return text[text.index("-----BEGIN CERTIFICATE-----") : text.index(end) + len(end)]


def _running(address: str) -> Finding:
    try:
        # Whose certificate it is does not matter here: only whether the room answers.
        unproven = ssl._create_unverified_context()  # noqa: S323
        with urllib.request.urlopen(f"{address}api/health", timeout=10, context=unproven) as answer:
            is_well = json.loads(answer.read()).get("ok") is True
    except (OSError, ValueError) as error:
        return Finding(BAD, "Address", f"Blotter runs, and does not answer at {address} ({error}). Start it again.")
    if not is_well:
        return Finding(
            BAD, "Address", f"Blotter answers at {address} that it is not well. See its log, and start it again."
        )
    return Finding(GOOD, "Address", f"Blotter answers at {address}; open it in a browser.")


def _port(looked: Looked) -> Finding:
    at = f"Port {looked.port} of {looked.host}"
    try:
        family, kind, _, _, where = socket.getaddrinfo(looked.host, looked.port, type=socket.SOCK_STREAM)[0]
        with closing(socket.socket(family, kind)) as door:
            if os.name == "posix":
                door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            door.bind(where)
    except OSError as error:
        return Finding(
            BAD, "Address", f"{at} cannot be opened: {error.strerror}. Stop what holds it, or name another with --port."
        )
    return Finding(GOOD, "Address", f"{at} is free. Blotter does not run at the moment.")


def _network(config: Config, looked: Looked) -> Iterator[Finding]:
    if not config.trusted_hosts:
        yield Finding(
            LOOK, "Names", "Any name is answered. Set BLOTTER_HOSTS to the names by which browsers call this computer."
        )
    if looked.tls is None:
        yield Finding(LOOK, "Network", f"Over {looked.host} passwords are sent as they are typed. Add --tls CERT KEY.")
